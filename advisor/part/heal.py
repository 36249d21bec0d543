"""Corner coordinates as read become a mesh that can be trusted: every mend is made here, and counted."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.errors import InputError
from advisor.kernels.needles import needles_of, turn_needles_over
from advisor.kernels.topology import CROWDED_EDGE, OPEN_EDGE, connected_facets, match_half_edges
from advisor.kernels.weld import weld_exact
from advisor.model import Repair
from advisor.part.mesh import Floats, Ints, Mesh, half_edge_ends, reach_of
from advisor.part.wind import wind_outward
from advisor.words import counted

_NEEDLE_ROUNDS = 8


@dataclass
class MendLog:
    """What was mended, and what the user should know of it."""

    repairs: list[Repair] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def count(self, what: str, count: int) -> None:
        """Note `count` mends of one kind, if any."""
        if count:
            self.repairs.append(Repair(what, int(count)))


@dataclass(frozen=True)
class HealedMesh:
    """A clean mesh, with the log of its mending."""

    mesh: Mesh
    body: Ints
    repairs: tuple[Repair, ...]
    warnings: tuple[str, ...]

    @property
    def bodies(self) -> int:
        """Number of connected bodies."""
        return int(self.body.max()) + 1


def heal(corners: Floats, faces: NDArray[np.integer[Any]] | None, subject: str) -> HealedMesh:
    """Weld, drop what is no facet, close hair gaps, and wind all bodies outward.

    Parameters
    ----------
    corners : (k, 3) float array, mm
        Vertices; three a facet in order where `faces` is None.
    faces : (m, 3) int array or None
    subject : str
        The file's name, for error lines.

    Raises
    ------
    InputError
        Where coordinates are not finite or too large, or no facet has area.
    """
    corners = np.asarray(corners, dtype=np.float64)
    check_coordinates(corners, subject)
    log = MendLog()
    vertices, faces = _weld(corners, faces)
    faces = _drop_collapsed(faces, log)
    _refuse_nothing(faces, subject)
    vertices, faces = _in_own_order(vertices, faces)  # before any mend: none may depend on the file's order
    faces = _drop_doubles(faces, len(vertices), log)
    vertices, faces = _join_hair_gaps(vertices, faces, log)
    faces = _take_out_needles(vertices, faces, log)
    _refuse_nothing(faces, subject)
    faces = wind_outward(vertices, faces, log)
    if log.repairs:  # otherwise the order of above still stands
        vertices, faces = _in_own_order(vertices, faces)
    mesh = Mesh(vertices, faces)
    body = _bodies(mesh)
    _warn_of_openings(mesh, log)
    return HealedMesh(mesh, body, tuple(log.repairs), tuple(log.warnings))


def _refuse_nothing(faces: Ints, subject: str) -> None:
    if len(faces) == 0:
        raise InputError(subject, "holds no facet with an area", "export the part again as a solid or surface mesh")


def check_coordinates(corners: Floats, subject: str) -> None:
    """Raise ``InputError`` where coordinates are not finite or beyond any machine."""
    if corners.size == 0:
        raise InputError(subject, "holds no facets", "export the part again as a mesh")
    if not np.isfinite(corners).all():
        bad = int(np.count_nonzero(~np.isfinite(corners).all(axis=1)))
        raise InputError(
            subject,
            f"has {counted(bad, 'corner')} whose coordinates are not numbers (NaN or infinite)",
            "export it again",
        )
    largest = float(np.abs(corners).max())
    if largest > tolerances.LARGEST_COORDINATE_MM:
        raise InputError(
            subject,
            f"has coordinates up to {largest:.3g} mm, beyond any machine",
            "check the unit (--unit) or export it again",
        )


def _weld(corners: Floats, faces: NDArray[np.integer[Any]] | None) -> tuple[Floats, Ints]:
    if faces is None:
        faces = np.arange(len(corners), dtype=np.int32).reshape(-1, 3)
    bits = np.ascontiguousarray(corners + 0.0).view(np.int64)  # + 0.0 turns -0.0 into 0.0
    index, first = weld_exact(bits)
    return corners[first], index[np.asarray(faces)].astype(np.int32, copy=False)


def _drop_collapsed(faces: Ints, log: MendLog) -> Ints:
    a, b, c = faces.T
    collapsed = (a == b) | (b == c) | (c == a)
    dropped = int(np.count_nonzero(collapsed))
    log.count("facets without area dropped", dropped)
    return faces[~collapsed] if dropped else faces


def _drop_doubles(faces: Ints, vertex_count: int, log: MendLog) -> Ints:
    """Keep one of facets that repeat each other, winding included; opposite twins are two bodies that touch."""
    crowded = (match_half_edges(faces, vertex_count).reshape(-1, 3) == CROWDED_EDGE).any(axis=1)
    suspects = np.flatnonzero(crowded)
    if len(suspects) == 0:
        return faces
    _, kept = np.unique(_lowest_corner_first(faces[suspects]), axis=0, return_index=True)
    doubled = np.ones(len(suspects), bool)
    doubled[kept] = False
    log.count("repeated facets dropped", int(doubled.sum()))
    return np.delete(faces, suspects[doubled], axis=0)


def _join_hair_gaps(vertices: Floats, faces: Ints, log: MendLog) -> tuple[Floats, Ints]:
    """Join rim vertices that rounding has parted."""
    rim = np.flatnonzero(match_half_edges(faces, len(vertices)) == OPEN_EDGE)
    if len(rim) == 0:
        return vertices, faces
    from scipy.spatial import cKDTree

    rim_vertices = np.unique(half_edge_ends(faces, rim))
    gap = tolerances.JOIN_GAP_SHARE_OF_SIZE * reach_of(vertices)
    pairs = cKDTree(vertices[rim_vertices]).query_pairs(gap, output_type="ndarray")
    if len(pairs) == 0:
        return vertices, faces
    target = np.arange(len(vertices), dtype=np.int32)
    low, high = np.sort(rim_vertices[pairs], axis=1).T
    np.minimum.at(target, high, low)
    target = _ends_of_chains(target)
    log.count("corners joined across hair gaps", int(np.count_nonzero(target != np.arange(len(target)))))
    return vertices, _drop_collapsed(target[faces], log)


def _take_out_needles(vertices: Floats, faces: Ints, log: MendLog) -> Ints:
    """Facets without height: short edges are closed, long ones turned over to the facet behind, the rest dropped."""
    size = reach_of(vertices)
    least = tolerances.NEEDLE_HEIGHT_SHARE_OF_SIZE * size
    closed, turned = 0, 0
    for _ in range(_NEEDLE_ROUNDS):  # turning one needle over may leave another
        needles = needles_of(vertices, faces, least)
        if len(needles) == 0:
            break
        faces, closed_now = _close_short_edges(vertices, faces, needles, least)
        closed += closed_now
        faces = faces.copy()
        twins = match_half_edges(faces, len(vertices))
        turned += turn_needles_over(vertices, faces, twins, needles_of(vertices, faces, least), least)
    # a needle that could not go stays while it has a direction at all: a hole would be worse
    left = needles_of(vertices, faces, tolerances.NO_HEIGHT_SHARE_OF_SIZE * size)
    log.count("corners joined that lay on each other", closed)
    log.count("facets without height turned over", turned)
    log.count("facets without area dropped", len(left))
    return np.delete(faces, left, axis=0)


def _close_short_edges(vertices: Floats, faces: Ints, needles: Ints, least: float) -> tuple[Ints, int]:
    ends = half_edge_ends(faces, (3 * needles[:, None] + np.arange(3)).ravel())
    short = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1) <= least
    if not short.any():
        return faces, 0
    target = np.arange(len(vertices), dtype=np.int32)
    low, high = np.sort(ends[short], axis=1).T
    np.minimum.at(target, high, low)
    target = _ends_of_chains(target)
    faces = target[faces]
    a, b, c = faces.T
    return faces[(a != b) & (b != c) & (c != a)], int(np.count_nonzero(target != np.arange(len(target))))


def _ends_of_chains(target: Ints) -> Ints:
    while True:
        shorter = target[target]
        if np.array_equal(shorter, target):
            return target
        target = shorter


def _in_own_order(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Vertices and facets in an order of their own, so that the file's order leaves no trace in any number."""
    used = np.zeros(len(vertices), bool)
    used[faces] = True
    kept = np.flatnonzero(used)
    order = kept[np.lexsort(vertices[kept].T[::-1])]
    place = np.empty(len(vertices), np.int32)
    place[order] = np.arange(len(order), dtype=np.int32)
    faces = place[faces]
    faces = _lowest_corner_first(faces)
    first_two = faces[:, 0].astype(np.int64) * len(order) + faces[:, 1]
    rank = np.lexsort((faces[:, 2], first_two))
    return vertices[order], np.ascontiguousarray(faces[rank])


def _lowest_corner_first(faces: Ints) -> Ints:
    """The same facets, each begun at its lowest corner."""
    a, b, c = faces.T
    lead = np.where((b < a) & (b < c), 1, np.where((c < a) & (c < b), 2, 0))
    rows = np.arange(len(faces))
    return np.stack([faces[rows, (lead + k) % 3] for k in range(3)], axis=1)


def _bodies(mesh: Mesh) -> Ints:
    """(m,) number of the connected body of each facet, in order of first facets."""
    body, _ = connected_facets(mesh.twins, np.ones(len(mesh.twins), bool))
    return np.asarray(body)


def _warn_of_openings(mesh: Mesh, log: MendLog) -> None:
    if mesh.open_edges:
        log.warnings.append(
            f"the mesh is open ({counted(mesh.open_edges, 'open edge')}): volume is not given, and surface missing in "
            "the file is missing in the plan"
        )
    if mesh.crowded_edges:
        log.warnings.append(
            f"{counted(mesh.crowded_edges, 'edge')} shared by more than two facets (bodies that touch, or a faulty "
            "export): zones end there"
        )
