"""Where zones of different set-ups meet: over what length, how, and what to do there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from advisor.advice.setup_parts import SetupPart
from advisor.model import FacetArrays, Joint, Neighbour, Zone
from advisor.part.mesh import Floats, Ints, Mesh, half_edge_ends
from advisor.words import plain_number
from advisor.zones.cut_lines import CutSurface
from advisor.zones.joints import TANGENT, bend_across_deg, joint_of_bend

_JOINTS: tuple[Joint, ...] = get_args(Joint)
# Pieces of an edge shorter than this share of it are rounding.
_SHORTEST_SHARE = 1e-9


@dataclass(frozen=True)
class SetupBorders:
    """Straight pieces of the borders between set-ups.

    Attributes
    ----------
    start_mm, end_mm : (k, 3) float64 array
    one, other : (k,) int array
        Zones on either side, by their number in the plan; -1 what the job leaves out.
    one_setup, other_setup : (k,) int array
        The set-ups they are of, the lower one first.
    joint : (k,) int8 array
        How the two meet, as ``zones.joints`` has it.
    """

    start_mm: Floats
    end_mm: Floats
    one: NDArray[np.int64]
    other: NDArray[np.int64]
    one_setup: NDArray[np.int64]
    other_setup: NDArray[np.int64]
    joint: NDArray[np.int8]

    @property
    def length_mm(self) -> Floats:
        """(k,) length, mm."""
        return np.asarray(np.linalg.norm(self.end_mm - self.start_mm, axis=1))


def setup_borders(
    whole: SetupPart, of_facet: NDArray[np.int64], own: Sequence[FacetArrays], vertex: Sequence[Ints]
) -> SetupBorders:
    """Borders between the set-ups of a part.

    Zone lines cut the edges of each set-up's facets in their own places, so both sides of every edge are laid on one
    another.

    Parameters
    ----------
    whole : SetupPart
        The part before zone lines were cut.
    of_facet : (m,) int array
        Set-up of each of its facets.
    own : sequence of FacetArrays
        Facets of each set-up as its plan has them, zones by their number in the whole plan.
    vertex : sequence of (n,) int arrays
        Which vertex of the whole each of the first vertices of a set-up's facets is.
    """
    mesh = whole.mesh
    half = np.flatnonzero(mesh.twins > np.arange(len(mesh.twins)))
    half = half[of_facet[half // 3] != of_facet[mesh.twins[half] // 3]]
    ends = np.sort(half_edge_ends(mesh.faces, half), axis=1)
    key = ends[:, 0].astype(np.int64) * len(mesh.vertices) + ends[:, 1]
    order = np.argsort(key)
    half, ends, key = half[order], ends[order], key[order]
    rows = [_rim_pieces(facets, ids, mesh, ends, key) for facets, ids in zip(own, vertex, strict=True)]
    edge, low, high, zone = (np.concatenate(columns) for columns in zip(*rows, strict=True))
    setup = np.repeat(np.arange(len(rows)), [len(row[0]) for row in rows])
    sides = np.sort(np.column_stack([of_facet[half // 3], of_facet[mesh.twins[half] // 3]]), axis=1)
    is_first = setup == sides[edge, 0]
    piece, start, end = _pieces(edge, low, high)
    middle = (start + end) / 2
    one, other = (
        _zone_at(edge[side], low[side], zone[side], piece, middle) for side in (is_first, ~is_first)
    )  # fmt: skip
    joint = joint_of_bend(bend_across_deg(_surface(whole), half)) if len(half) else np.zeros(0, np.int8)
    a, b = mesh.vertices[ends[piece, 0]], mesh.vertices[ends[piece, 1]]
    start_mm, end_mm = a + start[:, None] * (b - a), a + end[:, None] * (b - a)
    return SetupBorders(start_mm, end_mm, one, other, sides[piece, 0], sides[piece, 1], joint[piece])


def _surface(whole: SetupPart) -> CutSurface:
    return CutSurface(whole.mesh, whole.smooth.corner_normal, np.arange(len(whole.mesh.faces), dtype=np.int32))


def _rim_pieces(
    facets: FacetArrays, vertex: Ints, mesh: Mesh, ends: Ints, key: NDArray[np.int64]
) -> tuple[NDArray[np.int64], Floats, Floats, NDArray[np.int64]]:
    """Half-edges of a set-up's rim that lie on borders: number of the edge, from where to where on it, and zone."""
    own = Mesh(facets.vertices, facets.faces)
    rim = np.flatnonzero(own.twins < 0)
    first, last = half_edge_ends(own.faces, rim).T
    known = len(vertex)
    a, b = _back_to_known(first, last, known), _back_to_known(last, first, known)
    low, high = np.minimum(vertex[a], vertex[b]).astype(np.int64), np.maximum(vertex[a], vertex[b]).astype(np.int64)
    wanted = low * len(mesh.vertices) + high
    place = np.minimum(np.searchsorted(key, wanted), max(len(key) - 1, 0))
    on_border = key[place] == wanted if len(key) else np.zeros(len(wanted), bool)
    rim, place = rim[on_border], place[on_border]
    origin, along = mesh.vertices[ends[place, 0]], mesh.vertices[ends[place, 1]] - mesh.vertices[ends[place, 0]]
    size = np.einsum("kx,kx->k", along, along)
    at = [
        np.einsum("kx,kx->k", own.vertices[end[on_border]] - origin, along) / size
        for end in (first, last)
    ]  # fmt: skip
    at = [np.where(end[on_border] < known, np.round(t), t) for t, end in zip(at, (first, last), strict=True)]
    return place, np.minimum(*at), np.maximum(*at), facets.zone[rim // 3].astype(np.int64)


def _back_to_known(start: Ints, end: Ints, known: int) -> Ints:
    """(k,) first vertex below `known` on the way back along rim pieces: what cuts added lies on one edge each."""
    before = np.arange(max(int(start.max(initial=-1)), int(end.max(initial=-1))) + 1)
    before[end] = start
    at = start.copy()
    while (at >= known).any():
        at = np.where(at >= known, before[at], at)
    return at


def _pieces(edge: NDArray[np.int64], low: Floats, high: Floats) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Edges cut wherever either side is: number of the edge, start and end on it."""
    number, at = np.concatenate([edge, edge]), np.concatenate([low, high])
    order = np.lexsort((at, number))
    number, at = number[order], at[order]
    goes_on = (np.diff(number) == 0) & (np.diff(at) > _SHORTEST_SHARE)
    return number[:-1][goes_on], at[:-1][goes_on], at[1:][goes_on]


def _zone_at(
    edge: NDArray[np.int64], low: Floats, zone: NDArray[np.int64], piece: NDArray[np.int64], middle: Floats
) -> NDArray[np.int64]:
    """(k,) zone of one side of the border at places on its edges."""
    # twice the number, for places run from 0 to 1
    key = 2.0 * edge + low
    order = np.argsort(key, kind="stable")
    place = np.searchsorted(key[order], 2.0 * piece + middle, side="right") - 1
    return np.asarray(zone[order][place])


def with_neighbours(zones: Sequence[Zone], borders: SetupBorders) -> tuple[Zone, ...]:
    """Zones with those of other set-ups among their neighbours, and what to do where they meet."""
    both = (borders.one > 0) & (borders.other > 0)
    ends = np.sort(np.column_stack([borders.one, borders.other])[both], axis=1)
    rows, number = np.unique(np.column_stack([ends, borders.joint[both]]), axis=0, return_inverse=True)
    length = np.bincount(number.ravel(), borders.length_mm[both], minlength=len(rows))
    met: dict[int, list[Neighbour]] = {}
    for (low, high, joint), total in zip(rows.tolist(), length.tolist(), strict=True):
        met.setdefault(low, []).append(Neighbour(high, total, _JOINTS[joint]))
        met.setdefault(high, []).append(Neighbour(low, total, _JOINTS[joint]))
    setup_of = {zone.id: zone.setup for zone in zones}
    return tuple(_with_met(zone, met.get(zone.id, []), setup_of) for zone in zones)


def _with_met(zone: Zone, met: list[Neighbour], setup_of: dict[int, int]) -> Zone:
    if not met:
        return zone
    near = sorted((*zone.neighbours, *met), key=lambda n: (-n.length_mm, n.zone))
    zone = replace(zone, neighbours=tuple(near))
    if zone.advice is None or not zone.advice.usable:
        return zone
    advice = replace(zone.advice, why=(*zone.advice.why, *_words(met, setup_of)))
    return replace(zone, advice=advice, steps=(*zone.steps[:-1], advice))


def _words(met: list[Neighbour], setup_of: dict[int, int]) -> list[str]:
    """What to mind at the borders with zones of other set-ups."""
    smooth = [near for near in met if near.joint == _JOINTS[TANGENT]]
    corner = {near.zone for near in met if near.joint != _JOINTS[TANGENT]}
    told = []
    if smooth:
        length = plain_number(sum(near.length_mm for near in smooth))
        told.append(
            f"Over {length} mm it goes on smoothly into {_listed({near.zone for near in smooth}, setup_of)}: a step is "
            "likeliest to show there. Let the later of the two run out over the border and lift slightly (common "
            "practice, no source)."
        )
    if corner:
        told.append(
            f"At edges of the part it meets {_listed(corner, setup_of)}: what the clampings are off by shows in the "
            "place of the edge."
        )
    return told


def _listed(zones: set[int], setup_of: dict[int, int]) -> str:
    """Zones by set-up: "zones 12, 14 of set-up 2 and zone 30 of set-up 3"."""
    by_setup: dict[int, list[str]] = {}
    for zone in sorted(zones):
        by_setup.setdefault(setup_of[zone], []).append(str(zone))
    words = [
        f"zone{'s' if len(names) > 1 else ''} {', '.join(names)} of set-up {setup + 1}"
        for setup, names in sorted(by_setup.items())
    ]
    return " and ".join(words)
