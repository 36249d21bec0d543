"""Constant-cusp passes: level lines of the time at which a front arrives, and passes that close gaps between fronts."""

from __future__ import annotations

import numpy as np

from advisor import tolerances
from advisor.part.mesh import Floats, Ints
from advisor.passes.levels import LevelLines, level_lines
from advisor.passes.lines import PassLines
from advisor.passes.offset_field import OffsetField
from advisor.passes.pieces import together
from advisor.passes.ridges import FIRST_PASS, far_pieces

# Weights of the corners of a facet add up to 1 within this.
_ROUNDING = 1e-9


def offset_passes(field: OffsetField) -> PassLines:
    """Passes a step apart, in the order in which the front meets them, then those that close gaps.

    Passes lie at times k + 1/2, so both sides of each are covered for half a step. Where two fronts meet, the ridge
    may lie up to a step from the last pass of either. Where it is more than half a step from any pass over a length of
    a step, or more than ``tolerances.OFFSET_CLOSE_FROM_STEPS`` anywhere, a pass runs along it. What is left between
    fronts and in corners of passes are spots in which the cusp rises with the square of the distance from the nearest
    pass, to 1.69 times the one asked for; a corner of 90 degrees leaves 1.37 times, the corner of a zone itself twice.
    A front that starts inside has its gaps along edges of the part closed in the same way.

    Passes that close gaps have a level one above the last of the others.
    """
    finite = np.isfinite(field.time)
    most = float(field.time[finite].max()) if finite.any() else 0.0
    # none lies on a level where the front begins on a line: that line itself is the first
    levels = np.arange(FIRST_PASS + (len(field.line_mm) > 0), most, 1.0)
    flat = level_lines(field.surface.mesh, field.time, levels, field.takes_part)
    first = _line(field)
    rings = together([first, _on_surface(field, flat, first.count)])
    level = first.count + len(levels)
    long = _closing(field, rings, level, True)
    both = together([rings, long])
    return together([both, _closing(field, both, level, False)])


def _closing(field: OffsetField, lines: PassLines, level: int, only_long: bool) -> PassLines:
    gaps = far_pieces(field.ridges, lines, only_long)
    levels = np.full(len(gaps.is_closed), level, np.int32)
    return PassLines(gaps.contact_mm, gaps.normal, gaps.starts, levels, gaps.is_closed)


def _line(field: OffsetField) -> PassLines:
    """The line that the front left, if it left one."""
    count = len(field.line_mm)
    one = min(count, 1)
    closed = np.full(one, count > 2 and bool((field.line_mm[:1] == field.line_mm[-1:]).all()))
    return PassLines(
        field.line_mm, field.line_normal, np.array([0, count][: one + 1], np.int64), np.zeros(one, np.int32), closed
    )


def _on_surface(field: OffsetField, flat: LevelLines, first_level: int) -> PassLines:
    """Level lines on the smooth surface, with points between theirs where that bends away from the chord."""
    surface, mesh = field.surface, field.surface.mesh
    inner = flat.facet >= 0
    f, k = np.divmod(flat.half_edge, 3)
    facet = np.where(inner, flat.facet, f)
    begin, end = mesh.faces[f, k], mesh.faces[f, (k + 1) % 3]
    here = _weights(mesh.faces[facet], begin, end, flat.fraction)
    # the last point of a chain has no segment of its own
    there = _weights(mesh.faces[facet], np.roll(begin, -1), np.roll(end, -1), np.roll(flat.fraction, -1))
    # where points within rounding were made one, its edge may be none of the facet's: it lies on its own facet
    astray = np.abs(here.sum(axis=1) - 1.0) > _ROUNDING
    here[astray] = _weights(mesh.faces[f[astray]], begin[astray], end[astray], flat.fraction[astray])
    facet[astray] = f[astray]
    inner &= ~astray & (np.abs(there.sum(axis=1) - 1.0) <= _ROUNDING)
    _, normal = surface.on_edges(flat.half_edge, flat.fraction)
    turn = np.linalg.norm(np.diff(normal, axis=0, append=normal[-1:]), axis=1)
    length = np.linalg.norm(np.diff(flat.points_mm, axis=0, append=flat.points_mm[-1:]), axis=1)
    sag = np.where(inner, turn * length / 8.0, 0.0)
    pieces = np.maximum(np.ceil(np.sqrt(sag / tolerances.OFFSET_LINE_SAG_MM)), 1.0).astype(np.int64)
    first = np.cumsum(pieces) - pieces
    own = np.repeat(np.arange(len(pieces)), pieces)
    share = ((np.arange(len(own)) - first[own]) / pieces[own])[:, None]
    contact, normal = surface.in_facets(facet[own], (1.0 - share) * here[own] + share * there[own])
    starts = np.concatenate([first, [len(own)]])[flat.starts]
    return PassLines(contact, normal, starts, flat.level + np.int32(first_level), np.array(flat.is_closed))


def _weights(corners: Ints, first: Ints, last: Ints, share: Floats) -> Floats:
    """(k, 3) shares of the corners of facets at places on one of their edges, given by its ends."""
    begin, end = corners == first[:, None], corners == last[:, None]
    return np.asarray(np.where(begin, 1.0 - share[:, None], np.where(end, share[:, None], 0.0)))
