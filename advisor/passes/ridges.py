"""Lines of a zone that passes must come near to: ridges where two fronts meet, and edges that a front runs out to."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.kernels.loops import border_loops
from advisor.kernels.near_segments import near_segments
from advisor.kernels.ridges import ridge_chains, ridge_crossings, sampled_chains
from advisor.part.mesh import Flags, Floats, Ints
from advisor.passes.finer import split
from advisor.passes.lines import PassLines
from advisor.passes.surface import PassSurface

# Time of a front where its first pass lies.
FIRST_PASS = 0.5
# Ends of ridges that lie so close together are one ridge.
_LINK_STEPS = 0.5
# Passes further off than a step are not asked.
_FAR_STEPS = 1.0
# Ridges nearer than this to the end of an edge run through the vertex.
_LEAST_SHARE = 0.02


@dataclass(frozen=True)
class Ridges:
    """Chains of points of the smooth surface, laid end to end. Arrays are read-only.

    Attributes
    ----------
    contact_mm, normal : (k, 3) float64 arrays
    time : (k,) float64 array
        When the front arrives, in steps.
    slowness, pull : (k,), (k, 3) float64 arrays
        The metric there: see ``kernels.march.march_with_metric``.
    beyond_mm : (k,) float64 array
        How far out of the zone.
    starts : (p + 1,) int64 array
    is_closed : (p,) bool array
        The last point repeats the first.
    """

    contact_mm: Floats
    normal: Floats
    time: Floats
    slowness: Floats
    pull: Floats
    beyond_mm: Floats
    starts: NDArray[np.int64]
    is_closed: Flags

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).setflags(write=False)

    def taken(self, index: NDArray[np.int64], starts: NDArray[np.int64], is_closed: Flags) -> Ridges:
        """Other chains of the same points."""
        return Ridges(
            self.contact_mm[index], self.normal[index], self.time[index], self.slowness[index], self.pull[index],
            self.beyond_mm[index], starts, is_closed,
        )  # fmt: skip

    def steps_to(self, lines: PassLines) -> Floats:
        """(k,) steps to the nearest of passes that lie at times k + 1/2; 0 where they are near by their time alone."""
        behind = self.time - FIRST_PASS - np.floor(self.time - FIRST_PASS)
        off = np.where(self.time >= FIRST_PASS, behind, np.inf)
        # what lies in the overlap is the neighbour's, too
        off[~np.isfinite(self.time) | (self.beyond_mm > 0.0)] = 0.0
        off[off <= tolerances.OFFSET_RUN_ON_STEPS] = 0.0
        asked = np.flatnonzero(off)
        if len(asked) == 0 or lines.count == 0:
            return np.asarray(off)
        ends_here = np.zeros(len(lines.contact_mm), bool)
        ends_here[lines.starts[1:] - 1] = True
        # a pass on the far side of a rib is no neighbour: it faces the other way
        steps = near_segments(
            self.contact_mm[asked], self.normal[asked], self.slowness[asked], self.pull[asked], lines.contact_mm,
            lines.normal, ends_here, _FAR_STEPS,
        )  # fmt: skip
        off[asked] = np.minimum(off[asked], steps)
        return np.asarray(off)

    @property
    def steps_along(self) -> Floats:
        """(k,) steps from each point to the next of its chain, 0 from the last."""
        way = np.diff(self.contact_mm, axis=0, append=self.contact_mm[-1:])
        pulled = np.einsum("kx,kx->k", way, self.pull)
        steps = np.sqrt(self.slowness**2 * np.einsum("kx,kx->k", way, way) + pulled**2)
        steps[self.starts[1:] - 1] = 0.0
        return np.asarray(steps)


def far_pieces(ridges: Ridges, lines: PassLines, only_long: bool) -> Ridges:
    """Pieces of ridges in the zone that are so far from every pass that they need one of their own.

    Parameters
    ----------
    ridges : Ridges
    lines : PassLines
    only_long : bool
        Of at least a step: when these are laid, many a short one needs no pass any more.
    """
    off = ridges.steps_to(lines)
    is_far = off > tolerances.OFFSET_CLOSED_STEPS
    far_steps = np.where(is_far, ridges.steps_along, 0.0)
    # no pass goes into the corners of a zone for their own sake
    must = (off > tolerances.OFFSET_CLOSE_FROM_STEPS) & ((ridges.time >= FIRST_PASS) | (off > _FAR_STEPS))
    runs_on = off > tolerances.OFFSET_RUN_ON_STEPS
    points, begins, closed = [np.empty(0, np.int64)], [0], []
    asked = np.logical_or.reduceat(is_far, ridges.starts[:-1]) if len(ridges.is_closed) else np.zeros(0, bool)
    for p in np.flatnonzero(asked):
        index = np.arange(ridges.starts[p], ridges.starts[p + 1])
        if ridges.is_closed[p] and not runs_on[index].all():
            # begin where nothing is needed
            begin = int(np.flatnonzero(~runs_on[index])[0])
            index = np.concatenate([index[begin:-1], index[: begin + 1]])
        turns = np.flatnonzero(np.diff(np.concatenate([[False], runs_on[index], [False]])))
        for first, last in turns.reshape(-1, 2):
            piece = index[first:last]
            if far_steps[piece].sum() > 1.0 or (not only_long and must[piece].any()):
                points.append(index[max(first - 1, 0) : last + 1])
                begins.append(begins[-1] + len(points[-1]))
                closed.append(bool(ridges.is_closed[p] and runs_on[index].all()))
    return ridges.taken(np.concatenate(points), np.array(begins, np.int64), np.array(closed, bool))


def _linked(chains: Ridges) -> Ridges:
    """Chains end to end where ends lie together, the nearest first: a ridge through a vertex falls into two."""
    open_chains = np.flatnonzero(~chains.is_closed)
    if len(open_chains) < 1:
        return chains
    first, last = chains.starts[:-1][open_chains], chains.starts[1:][open_chains] - 1
    end = np.stack([first, last], axis=1).ravel()
    place = chains.contact_mm[end]
    reach = _LINK_STEPS / np.sqrt(chains.slowness**2 + np.einsum("kx,kx->k", chains.pull, chains.pull))[end]
    pairs = cKDTree(place).query_pairs(float(reach.max()), output_type="ndarray")
    length = np.linalg.norm(place[pairs[:, 0]] - place[pairs[:, 1]], axis=1)
    near = length <= np.minimum(reach[pairs[:, 0]], reach[pairs[:, 1]])
    pairs, length = pairs[near], length[near]
    mate = np.full(len(end), -1)
    for a, b in pairs[np.lexsort((pairs[:, 1], pairs[:, 0], length))]:
        if mate[a] < 0 and mate[b] < 0 and a // 2 != b // 2:
            mate[a], mate[b] = b, a
    return _walked(chains, open_chains, mate)


def _walked(chains: Ridges, open_chains: NDArray[np.int64], mate: NDArray[np.int64]) -> Ridges:
    """Chains walked through from end to mated end; end 2 i is the first of open chain i, 2 i + 1 its last."""
    points, closed = [], []
    for p in np.flatnonzero(chains.is_closed):
        points.append(np.arange(chains.starts[p], chains.starts[p + 1]))
        closed.append(True)
    done = np.zeros(len(open_chains), bool)
    for begin in np.concatenate([np.flatnonzero(mate < 0), np.flatnonzero(mate >= 0)]):
        if done[begin // 2]:
            continue
        walk, at = [], int(begin)
        while at >= 0 and not done[at // 2]:
            done[at // 2] = True
            p = open_chains[at // 2]
            index = np.arange(chains.starts[p], chains.starts[p + 1])
            walk.append(index if at % 2 == 0 else index[::-1])
            at = int(mate[at ^ 1])
        comes_back = at >= 0
        points.append(np.concatenate(walk + ([walk[0][:1]] if comes_back else [])))
        closed.append(comes_back)
    starts = np.cumsum([0] + [len(index) for index in points])
    return chains.taken(np.concatenate(points), starts.astype(np.int64), np.array(closed, bool))


def split_along_ridges(
    surface: PassSurface, takes_part: Flags, time: Floats, way: Floats, slowness: Floats, pull: Floats
) -> tuple[PassSurface, Ints, Floats, Ridges]:
    """The surface with vertices where ridges cross its edges, for between two fronts the time is not linear.

    Parameters
    ----------
    surface : PassSurface
    takes_part : (m,) bool array
    time, way : (n,), (n, 3) float64 arrays
        Of ``kernels.march.march_with_metric``, as slowness and pull.

    Returns
    -------
    surface : PassSurface
    parent : (m',) int32 array
        Facet that each was part of.
    new_time : (j,) float64 array
        Time at the new vertices, which follow the old.
    ridges : Ridges
    """
    mesh = surface.mesh
    share, kink, at_time = ridge_crossings(mesh.vertices, mesh.faces, mesh.twins, surface.normal, time, way, takes_part)
    half_edge, starts, is_closed = ridge_chains(mesh.twins, share, kink, takes_part)
    ridges = _chains(surface, slowness, pull, half_edge, share[half_edge], at_time[half_edge], starts, is_closed)
    is_first = (mesh.twins < 0) | (np.arange(len(share)) < mesh.twins)
    new = np.flatnonzero(is_first & (share > _LEAST_SHARE) & (share < 1.0 - _LEAST_SHARE))
    finest, parent = split(surface, new, share[new])
    return finest, parent, at_time[new], ridges


def edges_of(surface: PassSurface, takes_part: Flags, time: Floats, slowness: Floats, pull: Floats) -> Ridges:
    """Rims of the facets that take part: where the part ends or turns a corner, and where the overlap ends."""
    mesh = surface.mesh
    beside = (mesh.twins >= 0) & takes_part[np.maximum(mesh.twins, 0) // 3]
    is_rim = np.repeat(takes_part, 3) & ~beside
    loop, starts = border_loops(mesh.faces, mesh.twins, is_rim, len(mesh.vertices))
    # the begin of the first half-edge, then the end of each
    at = np.insert(np.arange(len(loop)), starts[:-1], starts[:-1])
    new_starts = starts + np.arange(len(starts))
    half_edge, share = loop[at], np.ones(len(at))
    share[new_starts[:-1]] = 0.0
    f, k = np.divmod(half_edge, 3)
    vertex = mesh.faces[f, (k + share.astype(np.int64)) % 3]
    closed = np.ones(len(starts) - 1, bool)
    return _chains(surface, slowness, pull, half_edge, share, time[vertex], new_starts, closed)


def joined(parts: list[Ridges]) -> Ridges:
    """Chains of one after those of another."""
    before = np.cumsum([0] + [len(part.time) for part in parts])
    starts = [part.starts[:-1] + shift for part, shift in zip(parts, before[:-1], strict=True)]
    return Ridges(
        np.concatenate([part.contact_mm for part in parts]),
        np.concatenate([part.normal for part in parts]),
        np.concatenate([part.time for part in parts]),
        np.concatenate([part.slowness for part in parts]),
        np.concatenate([part.pull for part in parts]),
        np.concatenate([part.beyond_mm for part in parts]),
        np.concatenate([*starts, before[-1:]]).astype(np.int64),
        np.concatenate([part.is_closed for part in parts]),
    )


def _chains(
    surface: PassSurface, slowness: Floats, pull: Floats, half_edge: Ints, share: Floats, time: Floats,
    starts: NDArray[np.int64], is_closed: Flags,
) -> Ridges:  # fmt: skip
    mesh = surface.mesh
    facet, weights, at_time, new_starts = sampled_chains(
        mesh.vertices, mesh.faces, slowness, pull, half_edge, share, time, starts
    )
    contact, normal = surface.in_facets(facet, weights)
    beyond = np.where(np.isfinite(surface.beyond_mm), surface.beyond_mm, 1.0)[mesh.faces[facet]]
    out = np.einsum("kc,kc->k", weights, beyond)
    chains = Ridges(contact, normal, at_time, slowness[facet], pull[facet], out, new_starts, is_closed)
    return _linked(chains)
