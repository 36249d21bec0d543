"""Directions from which a part may be cut: those its own shape speaks for first, then an even spread of others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor import tolerances
from advisor.part.mesh import Flags, Floats, Mesh

MOST_CANDIDATES = 26
# A quarter of the candidates are spread over what the part's own directions leave open.
_SPREAD_SHARE = 0.25
# Directions are gathered in cells of about a degree, an odd number a unit so that plain angles lie on no border; only
# the heaviest cells can hold a peak.
_CELLS_A_UNIT = 61.803
_MOST_CELLS = 1500
# Of a peak so much lies within the tolerance of one plane; on a surface bent two ways it would be a sixteenth.
_NARROW_SHARE = 0.4
# Plane faces and rounds each lead to so many at most: what is left over is for the rest.
_MOST_PLANES = 10
_MOST_ROUNDS = 8
# Points of the spiral that gaps are filled from: about 8 degrees apart.
_SPIRAL = 512
# Second moments closer than this share have no axes of their own.
_LIKE_MOMENTS = 1e-3
# Ties are told by numbers rounded to this many digits: rounding in the last ones must not order anything.
_DIGITS = 6


@dataclass(frozen=True)
class CandidateAxes:
    """Tool axes that a part may be cut along.

    Attributes
    ----------
    axes : (c, 3) float64 array
        Unit vectors from the part to the spindle, the job's own first, the rest in order of preference.
    origin : (c,) str
        "job", "frame", "plane", "round", "symmetry" or "spread".
    """

    axes: Floats
    origin: tuple[str, ...]


def candidate_axes(
    mesh: Mesh, is_plane: Flags, up: Floats, most: int = MOST_CANDIDATES, frame: Floats | None = None
) -> CandidateAxes:
    """Tool axes worth asking, no two within ``tolerances.LIKE_AXES_DEG``.

    The job's axis, the six of the part's frame, normals of plane faces and axes of rounds and holes by area, both ways
    along axes of symmetry, and directions farthest from all these.

    Parameters
    ----------
    mesh : Mesh
    is_plane : (m,) bool array
        Facets of plane faces (``SmoothSurface.is_plane``): strips of a coarse round are none.
    up : (3,) unit vector
        The job's own axis.
    most : int
        How many at most; the job's own is always one of them.
    frame : (3, 3) float64 array, optional
        Rows X, Y and Z of the part; those of its coordinates where none is given.
    """
    frame = np.eye(3) if frame is None else frame
    found = [np.asarray(up, dtype=np.float64)]
    origin = ["job"]
    own = max(most - int(_SPREAD_SHARE * most), 1)

    def add(directions: Floats, name: str, limit: int) -> None:
        for direction in directions:
            if len(found) < limit and _is_new(direction, found):
                found.append(direction)
                origin.append(name)

    # Frame first: parts are drawn square to the machine they are meant for (common practice, no source).
    add(np.concatenate([frame[2:], -frame[2:], frame[:1], -frame[:1], frame[1:2], -frame[1:2]]), "frame", own)
    total = float(mesh.area_mm2.sum())
    planes = _peaks(mesh.normal[is_plane], mesh.area_mm2[is_plane] / total, found[0], frame)
    add(planes[:_MOST_PLANES], "plane", own)
    add(_round_axes(mesh, found[0], frame)[:_MOST_ROUNDS], "round", own)
    add(_symmetry_axes(mesh, frame), "symmetry", own)
    while len(found) < most:
        direction = _farthest(spiral_directions(_SPIRAL) @ frame, found)
        if not _is_new(direction, found):
            break
        add(direction[None], "spread", most)
    axes = np.array(found)
    axes.setflags(write=False)
    return CandidateAxes(axes, tuple(origin))


def index_angles_deg(axes: Floats, rotary_axis: Floats, spindle: Floats) -> tuple[float | None, ...]:
    """Turn of a rotary table that brings each tool axis of a part to the spindle, degrees in (-180, 180].

    Positive by the right hand about the rotary axis. None where a single rotary cannot: turning keeps the angle to its
    axis, so a tool axis must make the one the spindle makes (90 degrees as a rule).

    Parameters
    ----------
    axes : (s, 3) unit vectors from the part to the spindle
    rotary_axis : (3,) unit vector, in the part
    spindle : (3,) unit vector
        To the spindle when the table stands at 0.
    """
    rotary = np.asarray(rotary_axis, dtype=np.float64)
    lean = _angle_deg(float(np.asarray(spindle) @ rotary))
    level = spindle - (spindle @ rotary) * rotary
    turns: list[float | None] = []
    for axis in np.asarray(axes, dtype=np.float64):
        if abs(_angle_deg(float(axis @ rotary)) - lean) > tolerances.ROTARY_AXIS_DEG:
            turns.append(None)
            continue
        turn = np.degrees(np.arctan2(np.cross(axis, level) @ rotary, axis @ level)) if level.any() else 0.0
        turn = round(float(turn), 9) + 0.0
        turns.append(180.0 if turn == -180.0 else turn)
    return tuple(turns)


def spiral_directions(count: int) -> Floats:
    """(count, 3) unit vectors evenly spread on a spiral about Z: heights in equal steps, turns by the golden angle.

    Swinbank & Purser, "Fibonacci grids", Q. J. R. Meteorol. Soc. 132 (2006) 1769-1793.
    """
    step = np.arange(count)
    height = 1.0 - (2.0 * step + 1.0) / count
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    run = np.sqrt(1.0 - height**2)
    return np.stack([run * np.cos(turn), run * np.sin(turn), height], axis=1)


def _angle_deg(cosine: float) -> float:
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _is_new(direction: Floats, found: list[Floats]) -> bool:
    return bool((np.array(found) @ direction).max() < np.cos(np.radians(tolerances.LIKE_AXES_DEG)))


def _farthest(directions: Floats, found: list[Floats]) -> Floats:
    nearest = np.round((directions @ np.array(found).T).max(axis=1), _DIGITS)
    return np.asarray(directions[np.argmin(nearest)])


def _round_axes(mesh: Mesh, up: Floats, frame: Floats) -> Floats:
    """Directions along which rounds run straight, both ways: neighbours of a cylinder's strips meet along its axis."""
    half = np.flatnonzero(mesh.twins > np.arange(len(mesh.twins)))
    one, other = half // 3, mesh.twins[half] // 3
    along = np.cross(mesh.normal[one], mesh.normal[other])
    sine = np.linalg.norm(along, axis=1)
    cosine = np.einsum("ij,ij->i", mesh.normal[one], mesh.normal[other])
    bend = np.degrees(np.arctan2(sine, cosine))
    bends = (bend > tolerances.NO_BEND_DEG) & (bend <= tolerances.COARSE_ROUND_DEG)
    along, area = along[bends] / sine[bends, None], mesh.area_mm2 / 3.0
    weight = (area[one] + area[other])[bends]
    both = np.concatenate([along, -along])
    return _peaks(both, np.concatenate([weight, weight]) / float(mesh.area_mm2.sum()), up, frame)


def _peaks(directions: Floats, weight: Floats, up: Floats, frame: Floats) -> Floats:
    """(p, 3) directions about which most weight lies, heaviest first, none negligible; weights are shares of an area.

    A peak is narrow: where as much lies all about it, as on a surface bent two ways, there is no direction of its own.
    """
    if len(directions) == 0:
        return np.zeros((0, 3))
    cell = np.round(directions @ frame.T * _CELLS_A_UNIT).astype(np.int64) @ np.array([1 << 20, 1 << 10, 1])
    _, number = np.unique(cell, return_inverse=True)
    heavy = np.bincount(number, weight)
    mean = np.stack([np.bincount(number, weight * directions[:, k]) for k in range(3)], axis=1)
    rows = np.argsort(-heavy, kind="stable")[:_MOST_CELLS]
    heavy, mean = heavy[rows], mean[rows]
    unit = mean / np.linalg.norm(mean, axis=1)[:, None]
    cosine = unit @ unit.T
    near = cosine >= np.cos(np.radians(tolerances.COPLANAR_DEG))
    share = np.round(near @ heavy, _DIGITS)
    # of equal shares the one nearer the job's axis, then by the part's frame: no chance in it
    keys = np.round(np.column_stack([unit @ up, unit @ frame.T]), _DIGITS)
    order = np.lexsort((-keys[:, 3], -keys[:, 2], -keys[:, 1], -keys[:, 0], -share))
    beside = cosine >= np.cos(np.radians(tolerances.LIKE_AXES_DEG))
    is_peak = (share >= tolerances.NEGLIGIBLE_SETUP_SHARE) & (share >= _NARROW_SHARE * (beside @ heavy))
    taken, peaks = np.zeros(len(unit), bool), []
    for row in order:
        if is_peak[row] and not taken[row]:
            middle = heavy[near[row]] @ unit[near[row]]
            peaks.append(middle / np.linalg.norm(middle))
            taken |= beside[row]
    return np.array(peaks).reshape(-1, 3)


def _symmetry_axes(mesh: Mesh, frame: Floats) -> Floats:
    """(2 a, 3) principal axes of the surface that are alone with their second moment, each both ways.

    Normals of mirror planes and axes of turns are among them; of a part that has neither they are as good as any.
    """
    corners = mesh.vertices[mesh.faces] - mesh.area_mm2 @ mesh.middle / mesh.area_mm2.sum()
    # integral of x x' over a facet: area / 12 (sum of its corners' x x' + s s'), s the sum of its corners
    sums = corners.sum(axis=1)
    weight = mesh.area_mm2 / 12.0
    moments = np.einsum("f,fki,fkj->ij", weight, corners, corners) + np.einsum("f,fi,fj->ij", weight, sums, sums)
    size, axes = np.linalg.eigh(moments)
    gap = np.diff(size) > _LIKE_MOMENTS * size[-1]
    alone = np.concatenate([[True], gap]) & np.concatenate([gap, [True]])
    found = []
    for axis in axes.T[alone]:
        lead = np.round(frame @ axis, _DIGITS)
        sign = 1.0 if lead[np.flatnonzero(lead)[0]] > 0 else -1.0
        found += [sign * axis, -sign * axis]
    return np.array(found).reshape(-1, 3)
