"""Borders between set-ups drawn through faces that none reaches whole: where reach ends, not where facets do.

Facets near a border are halved and asked again until they are small, then cut along it. Where the surface turns away
from the spindle the border is that very line; elsewhere it is freed of the facets' saw-teeth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.advice.setup_parts import CutFacets
from advisor.cutter.setup_cover import SetupCover
from advisor.cutter.setup_reach import AxisTool
from advisor.cutter.setup_share import crumb_mm2, owners, split_order, without_crumbs
from advisor.kernels.refine import split_edges
from advisor.kernels.topology import CROWDED_EDGE, match_half_edges
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.part.smooth import SmoothSurface

# Facets of split faces are first asked at least every so many balls, or every so much of the part's size.
_COARSE_BALLS = 1.0
_COARSE_SHARE_OF_SIZE = 0.025
# Each round halves what is too long, or asks what was not asked: this ends it.
_MOST_ROUNDS = 200
# Two rounds halve a facet both ways; what is halved moves a border that is free, which is not followed for ever.
_FREE_ROUNDS = 10
# A cut on one side of an edge splits the other side too, which then is cut in its own place; this ends it.
_MOST_CUTS = 4
# Saw-teeth are a facet deep: so many means over neighbours flatten them.
_MEANS = 4
# Corners this near the border, as a share of an edge, lie on it: no slivers.
_ON_LINE_SHARE = 0.1
# Faces are kept apart in one tree of points by a way longer than any part.
_FACES_APART_MM = 1e8
# Facets this near a border are asked at once: it may lie there instead.
_RINGS = 2

_Owner = NDArray[np.int64]


def split_along_reach(
    mesh: Mesh, smooth: SmoothSurface, cover: SetupCover, tool: AxisTool, ball_mm: float
) -> tuple[CutFacets, _Owner]:
    """Facets cut along the borders between set-ups, and the set-up of each, -1 where none.

    Parameters
    ----------
    mesh, smooth : the part
    cover : SetupCover
        Set-ups, and the faces to split.
    tool : AxisTool
        The finishing tool along the axes of the cover.
    ball_mm : float
        Its diameter: how near the border is drawn.
    """
    if not cover.is_split.any():
        same = np.tile(np.eye(3), (len(mesh.faces), 1, 1))
        return CutFacets(mesh, np.arange(len(mesh.faces), dtype=np.int32), same), cover.facet_setup
    size = mesh.reach_mm
    coarse = max(_COARSE_BALLS * ball_mm, _COARSE_SHARE_OF_SIZE * size)
    fine = max(tolerances.SETUP_BORDER_SHARE_OF_BALL * ball_mm, tolerances.SETUP_BORDER_SHARE_OF_SIZE * size)
    patch, vertex = _taken(mesh, smooth, cover)
    _halve_long(patch, coarse)
    _ask(patch, tool, patch.is_split & ~patch.is_asked)
    order = split_order(patch.face, patch.area_mm2 * patch.is_split, _wanted(patch))
    _refine(patch, tool, order, fine)
    _cut_where_it_turns_away(patch, tool, order)
    least = crumb_mm2(mesh)
    own = _tidied(patch, _owners(patch, order), least)
    own = _tidied(patch, _straightened(patch, own), least)
    return _put_back(mesh, cover, patch, vertex, own)


@dataclass
class _Patch:
    """Facets of the faces to split, and those beside them, which are cut with them.

    Attributes
    ----------
    vertices, faces : as of a ``Mesh``
    parent, weights : facet of the part and place in it, see ``CutFacets``
    normal : (r, 3, 3) normals at the corners of the parents, and ``row`` (m,) which of these each facet has
    axes : (s, 3) tool axes
    face : (m,) int32 array
    is_split : (m,) facets of faces to split
    reached : (s, m) bool array
    is_asked : (m,) whether that was asked at their own middle
    """

    vertices: Floats
    faces: Ints
    parent: Ints
    row: NDArray[np.int64]
    weights: Floats
    normal: Floats
    axes: Floats
    face: Ints
    is_split: Flags
    reached: Flags
    is_asked: Flags

    def __post_init__(self) -> None:
        self._measure()

    def _measure(self) -> None:
        corners = self.vertices[self.faces]
        self.edges_mm = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self.area_mm2 = 0.5 * np.linalg.norm(cross, axis=1)
        self.middle_mm = corners.mean(axis=1)
        self.corner_normal = self.weights @ self.normal[self.row]
        normal = self.corner_normal.sum(axis=1)
        self.middle_normal = normal / np.linalg.norm(normal, axis=1)[:, None]
        self.rise = self.axes @ self.middle_normal.T
        self.split_rows = np.flatnonzero(self.is_split)
        # one number for the corners of all facets of a face around a vertex
        key = self.faces[self.split_rows].astype(np.int64) * (int(self.face.max()) + 1)
        kept, number = np.unique(key + self.face[self.split_rows, None], return_inverse=True)
        self.corner, self.corners = number.reshape(-1, 3), len(kept)

    def split(self, at: Floats) -> tuple[Floats, Ints]:
        """Split edges; the places of the new corners in the facets before, and which of these each facet was."""
        twins = match_half_edges(self.faces, len(self.vertices))
        at = np.where(twins == CROWDED_EDGE, np.nan, at)
        local = np.tile(np.eye(3), (len(self.faces), 1, 1))
        self.vertices, self.faces, local, was = split_edges(self.vertices, self.faces, local, twins, at)
        self.is_asked = self.is_asked[was] & (np.bincount(was)[was] == 1)
        self.parent, self.row, self.face, self.is_split = (
            self.parent[was], self.row[was], self.face[was], self.is_split[was]
        )  # fmt: skip
        self.weights, self.reached = local @ self.weights[was], self.reached[:, was]
        self._measure()
        return local, was


def _taken(mesh: Mesh, smooth: SmoothSurface, cover: SetupCover) -> tuple[_Patch, Ints]:
    beside = np.zeros(len(mesh.faces), bool)
    half = np.flatnonzero(np.repeat(cover.is_split, 3) & (mesh.twins >= 0))
    beside[mesh.twins[half] // 3] = True
    rows = np.flatnonzero(cover.is_split | beside).astype(np.int32)
    vertex, faces = np.unique(mesh.faces[rows], return_inverse=True)
    _, face = np.unique(cover.face[rows], return_inverse=True)
    patch = _Patch(
        mesh.vertices[vertex], faces.reshape(-1, 3).astype(np.int32), rows, np.arange(len(rows)),
        np.tile(np.eye(3), (len(rows), 1, 1)), smooth.corner_normal[rows], cover.axes,
        face.astype(np.int32), cover.is_split[rows],
        cover.facet_reached[:, rows], np.ones(len(rows), bool),
    )  # fmt: skip
    return patch, vertex.astype(np.int32)


def _halve(patch: _Patch, chosen: Flags) -> None:
    """Chosen facets split halfway along their longest edge."""
    at = np.full((len(patch.faces), 3), np.nan)
    rows = np.flatnonzero(chosen)
    at[rows, patch.edges_mm[rows].argmax(axis=1)] = 0.5
    patch.split(at.ravel())


def _halve_long(patch: _Patch, most_mm: float) -> None:
    for _ in range(_MOST_ROUNDS):
        is_long = patch.is_split & (patch.edges_mm.max(axis=1) > most_mm)
        if not is_long.any():
            return
        _halve(patch, is_long)


def _ask(patch: _Patch, tool: AxisTool, chosen: Flags) -> None:
    rows = np.flatnonzero(chosen)
    if len(rows):
        patch.reached[:, rows] = tool.reached(patch.middle_mm[rows], patch.middle_normal[rows])
        patch.is_asked[rows] = True


def _wanted(patch: _Patch) -> Flags:
    """(s, m) what each set-up reaches and does not face away from it: the other side is another's."""
    upright = patch.rise >= -np.sin(np.radians(tolerances.ON_THRESHOLD_DEG))
    wanted: Flags = patch.reached & upright & patch.is_split
    return wanted


def _reached_owners(patch: _Patch, order: _Owner) -> _Owner:
    """(m,) set-up of each facet, the first in the order of its face that reaches it; -1 where none does."""
    own = owners(patch.face, order, _wanted(patch))
    return np.where(own < 0, owners(patch.face, order, patch.reached & patch.is_split), own)


def _owners(patch: _Patch, order: _Owner) -> _Owner:
    """The same with what is not reached given to the nearest of its face, that it does not face away from if any."""
    own = _reached_owners(patch, order)
    rows = np.flatnonzero(_is_beside_reached(patch, own))
    if len(rows) == 0:
        return own
    point = np.column_stack([patch.middle_mm, _FACES_APART_MM * patch.face.astype(np.float64)])
    nearest = np.full((len(patch.axes), len(rows)), np.inf)
    for setup in range(len(patch.axes)):
        members = np.flatnonzero(own == setup)
        if len(members):
            way, _ = cKDTree(point[members]).query(point[rows], workers=-1)
            nearest[setup] = np.where(patch.rise[setup, rows] >= 0.0, way, way + _FACES_APART_MM / 2)
    own[rows] = nearest.argmin(axis=0)
    return own


def _is_beside_reached(patch: _Patch, own: _Owner) -> Flags:
    """(m,) facets that no set-up reaches, of faces of which enough is reached to be cut at all."""
    area = patch.area_mm2 * patch.is_split
    reached, whole = np.bincount(patch.face, area * (own >= 0)), np.bincount(patch.face, area)
    beside: Flags = (own < 0) & patch.is_split & (reached >= tolerances.LEAST_REACHED_SHARE * whole)[patch.face]
    return beside


def _near_border(patch: _Patch, own: _Owner, counts: Flags) -> Flags:
    """(m,) facets with a corner at which set-ups meet within a face; only facets that count are looked at."""
    told = own[patch.split_rows]
    counts = counts[patch.split_rows]
    least, most = np.full(patch.corners, np.iinfo(np.int64).max), np.full(patch.corners, -2)
    for k in range(3):
        np.minimum.at(least, patch.corner[counts, k], told[counts])
        np.maximum.at(most, patch.corner[counts, k], told[counts])
    near = np.zeros(len(patch.faces), bool)
    near[patch.split_rows] = (least < most)[patch.corner].any(axis=1)
    return near


def _with_rings(patch: _Patch, near: Flags) -> Flags:
    """Facets with those around them, some rings wide."""
    near = near.copy()
    for _ in range(_RINGS):
        touched = np.zeros(patch.corners, bool)
        touched[patch.corner[near[patch.split_rows]]] = True
        near[patch.split_rows] = touched[patch.corner].any(axis=1)
    return near


def _near_reached_border(patch: _Patch, order: _Owner) -> Flags:
    own = _reached_owners(patch, order)
    return _near_border(patch, own, ~_is_beside_reached(patch, own))


def _refine(patch: _Patch, tool: AxisTool, order: _Owner, fine_mm: float) -> None:
    """Facets near borders asked at their own middle, and halved until none is longer."""
    for _ in range(_MOST_ROUNDS):
        near = _near_reached_border(patch, order)
        if (near & ~patch.is_asked).any():
            _ask(patch, tool, _with_rings(patch, near) & ~patch.is_asked)
            continue
        is_long = near & (patch.edges_mm.max(axis=1) > fine_mm)
        if not is_long.any():
            break
        _halve(patch, is_long)
    # borders through what none reaches are free, if no less fine: there is nothing to ask
    for _ in range(_FREE_ROUNDS):
        near = _near_border(patch, _owners(patch, order), patch.is_split)
        is_long = near & (patch.edges_mm.max(axis=1) > fine_mm)
        if not is_long.any():
            return
        _halve(patch, is_long)


def _cut_where_it_turns_away(patch: _Patch, tool: AxisTool, order: _Owner) -> None:
    """Facets near borders cut where the smooth surface turns away from a spindle: no facet lies on both sides."""
    slack = np.sin(np.radians(tolerances.ON_THRESHOLD_DEG))
    for axis in patch.axes:
        for _ in range(_MOST_CUTS):
            near = _near_reached_border(patch, order)
            rise = patch.corner_normal @ axis / np.linalg.norm(patch.corner_normal, axis=2)
            then = np.roll(rise, -1, axis=1)
            crosses = (np.minimum(rise, then) < -slack) & (np.maximum(rise, then) > slack) & near[:, None]
            if not crosses.any():
                break
            at = np.full(rise.shape, np.nan)
            at[crosses] = rise[crosses] / (rise - then)[crosses]
            patch.split(at.ravel())
            _ask(patch, tool, _near_reached_border(patch, order) & ~patch.is_asked)


def _tidied(patch: _Patch, own: _Owner, least_mm2: float) -> _Owner:
    mesh = Mesh(patch.vertices, patch.faces)
    patch.vertices, patch.faces = patch.vertices.copy(), patch.faces.copy()
    return without_crumbs(mesh, patch.face, patch.is_split, own, patch.reached, least_mm2)


def _straightened(patch: _Patch, own: _Owner) -> _Owner:
    """Owners after facets are cut along a border without saw-teeth: where two owners' shares of the surroundings meet.

    Borders at which the surface turns away from a spindle are exact already and stay.
    """
    rows, number, area = patch.split_rows, patch.corner, patch.area_mm2[patch.split_rows]
    share = _shares_around(area, number, patch.corners, own[rows], len(patch.axes))
    is_on_line = _on_turning_line(patch.rise[:, rows], number, share)
    smooth = share
    for _ in range(_MEANS):
        smooth = _means(smooth, area, number)
    smooth[is_on_line] = share[is_on_line] > 0
    smooth /= smooth.sum(axis=1)[:, None]
    at = np.full((len(patch.faces), 3), np.nan)
    at[rows] = _crossings(smooth, number, is_on_line)
    by_corner = np.zeros((len(patch.faces), 3, share.shape[1]))
    by_corner[rows] = smooth[number]
    local, was = patch.split(at.ravel())
    middle = (local @ by_corner[was]).mean(axis=1)
    return np.where(patch.is_split, middle.argmax(axis=1) - 1, own[was])


def _shares_around(area: Floats, number: NDArray[np.int64], count: int, own: _Owner, setups: int) -> Floats:
    """(c, s + 1) share of the facets around every corner that each set-up owns, those of none first."""
    share = np.zeros((count, setups + 1))
    for k in range(3):
        np.add.at(share, (number[:, k], own + 1), area)
    return np.asarray(share / np.maximum(share.sum(axis=1), 1e-300)[:, None])


def _means(share: Floats, area: Floats, number: NDArray[np.int64]) -> Floats:
    """Shares at corners as means over the facets around, which are means over their corners."""
    by_facet = share[number].mean(axis=1) * area[:, None]
    summed, weight = np.zeros_like(share), np.bincount(number.ravel(), np.repeat(area, 3), minlength=len(share))
    for k in range(3):
        np.add.at(summed, number[:, k], by_facet)
    return np.asarray(summed / np.maximum(weight, 1e-300)[:, None])


def _on_turning_line(rise: Floats, number: NDArray[np.int64], share: Floats) -> Flags:
    """(c,) corners on a border where the surface turns away from the spindle of a set-up that meets another there.

    Facets around lie on either side: on an upright wall, which turns nowhere, the border is not that line.
    """
    slack = np.sin(np.radians(tolerances.ON_THRESHOLD_DEG))
    on_line = np.zeros(len(share), bool)
    for setup, along in enumerate(rise):
        least, most = np.full(len(share), np.inf), np.full(len(share), -np.inf)
        for k in range(3):
            np.minimum.at(least, number[:, k], along)
            np.maximum.at(most, number[:, k], along)
        on_line |= (least < -slack) & (most > slack) & (share[:, setup + 1] > 0)
    return np.asarray(on_line & ((share > 0).sum(axis=1) > 1))


def _crossings(share: Floats, number: NDArray[np.int64], is_on_line: Flags) -> Floats:
    """(m, 3) place along each edge where the larger of two shares changes, NaN where it does not, or near a corner."""
    lead = share.argmax(axis=1)
    first, then = number, np.roll(number, -1, axis=1)
    one, other = lead[first], lead[then]
    ahead = share[first, one] - share[first, other]
    behind = share[then, other] - share[then, one]
    place = np.where(one != other, ahead / np.maximum(ahead + behind, 1e-300), np.nan)
    near = is_on_line.copy()
    near[first[place < _ON_LINE_SHARE]] = True
    near[then[place > 1.0 - _ON_LINE_SHARE]] = True
    return np.where(near[first] | near[then], np.nan, place)


def _put_back(mesh: Mesh, cover: SetupCover, patch: _Patch, vertex: Ints, own: _Owner) -> tuple[CutFacets, _Owner]:
    """The patch in place of its facets, all in the order of their parents."""
    added = np.arange(len(mesh.vertices), len(mesh.vertices) + len(patch.vertices) - len(vertex), dtype=np.int32)
    renumber = np.concatenate([vertex, added])
    stays = np.ones(len(mesh.faces), bool)
    stays[patch.parent] = False
    rest = np.flatnonzero(stays).astype(np.int32)
    parent = np.concatenate([rest, patch.parent])
    order = np.argsort(parent, kind="stable")
    faces = np.concatenate([mesh.faces[rest], renumber[patch.faces]])[order]
    weights = np.concatenate([np.tile(np.eye(3), (len(rest), 1, 1)), patch.weights])[order]
    setup = np.concatenate([cover.facet_setup[rest], np.where(patch.is_split, own, cover.facet_setup[patch.parent])])
    vertices = np.concatenate([mesh.vertices, patch.vertices[len(vertex) :]])
    return CutFacets(Mesh(vertices, np.ascontiguousarray(faces)), parent[order], weights), setup[order]
