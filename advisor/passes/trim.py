"""Passes ended where the tool would go into the part."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.cutter import Cutter
from advisor.cutter.reach import stands_clear
from advisor.cutter.tool_body import ToolBody
from advisor.part.mesh import Flags, Floats
from advisor.part.plan_tree import PlanTree
from advisor.passes.families import centre_of
from advisor.passes.joins import joined_in_corners
from advisor.passes.lines import PassLines, chain_lengths_mm, segment_lengths_mm
from advisor.passes.pieces import Places, along_segments, chosen, kept, offsets

# Share of the tolerance kept for what lies between the places asked.
_BETWEEN_SHARE = 0.2
# Ends are found to this share of the tolerance.
_END_SHARE = 0.05
# Turned and shifted coordinates are rounded.
_ROUNDING_MM = 1e-6


def trimmed(lines: PassLines, tree: PlanTree, body: ToolBody, cutter: Cutter, tolerance_mm: float) -> PassLines:
    """Passes without what cutter, neck, shank or holder cannot follow.

    The middle of the cutter moves straight between points: it is asked at all of them and in between, so near that
    what could be missed between two places, an edge beside the way, is passed within the tolerance as well: with places
    d apart it lies ``d^2 / 8 R`` nearer at most. Where the surface leans over, the side of the cutter is asked too.
    Ends of what stays are found by halving. In inside corners, where the cutter touches both walls at once, pieces are
    joined again.

    Parameters
    ----------
    lines : PassLines
        Thinned already, better: every place costs.
    tree : PlanTree
        All of the part, along the tool axis.
    body, cutter : the tool
    tolerance_mm : float, above 0
        How deep the cutter may go into the facets, and goes nowhere deeper. It must leave room for what is no gouge but
        rounding: chords of the passes (thin and roll with half of it), ``tolerances.PASS_FACET_SAG_MM``, and in hollows
        what facets are off their surface (see ``reach_of``).
    """
    if lines.count == 0:
        return lines
    led, axis = centre_of(cutter), tree.frame[2]
    # under what leans over by an angle a the side of the cutter, upright, cuts R (1 - cos a) deep above the contact
    most_lean = -np.sqrt(1.0 - max(1.0 - tolerance_mm / cutter.corner_radius_mm, 0.0) ** 2)
    own = _BETWEEN_SHARE * tolerance_mm
    fine, is_given = _divided(lines, np.sqrt(8.0 * cutter.corner_radius_mm * own), cutter, axis)

    def is_clear(places: Places) -> Flags:
        contact, normal = along_segments(fine, places, led, axis)
        clear: Flags = np.asarray(normal @ axis >= most_lean)
        middle = contact[clear] + offsets(normal[clear], led, axis)
        clear[clear] = _is_clear_at(middle, tree, body, cutter, tolerance_mm - own)
        return clear

    clear = is_clear(Places(np.arange(len(is_given)), np.zeros(len(is_given))))
    crossing = _crossings(fine, clear, is_clear, _END_SHARE * tolerance_mm)
    left, places = kept(fine, clear, crossing, led, axis)
    is_end = np.zeros(len(places.at), bool)
    is_end[left.starts[:-1]] = is_end[left.starts[1:] - 1] = True
    whole = _some_points(left, is_end | (is_given[places.at] & (places.share == 0.0)))
    long = chain_lengths_mm(whole.centres_mm(led.along_normal_mm, led.outward_mm, axis), whole.starts) > tolerance_mm
    long |= chain_lengths_mm(whole.contact_mm, whole.starts) > tolerance_mm
    return joined_in_corners(chosen(whole, long), cutter, axis, tolerance_mm)


def goes_clear(
    middle_mm: Floats, starts: NDArray[np.int64], tree: PlanTree, body: ToolBody, cutter: Cutter, tolerance_mm: float
) -> bool:
    """Whether a cutter whose middle is led along passes goes nowhere deeper into facets than ``trimmed`` lets it.

    Parameters
    ----------
    middle_mm : (n, 3)
        Of the ball, or of the middle of the ring of a bull-nose's corner.
    starts : (p + 1,) int64 array
    tree, body, cutter, tolerance_mm
        As for ``trimmed``; between the places asked a fifth of the tolerance may be missed.
    """
    longest = np.sqrt(8.0 * cutter.corner_radius_mm * _BETWEEN_SHARE * tolerance_mm)
    places, _ = _places_along(segment_lengths_mm(middle_mm, starts), longest)
    return bool(_is_clear_at(places.interpolated(middle_mm), tree, body, cutter, tolerance_mm).all())


def _is_clear_at(middle_mm: Floats, tree: PlanTree, body: ToolBody, cutter: Cutter, tolerance_mm: float) -> Flags:
    """(k,) whether the tool goes no deeper into facets than a tolerance, and with what is behind the cutter into none.

    Asked where the middle stands, and not where the surface would have it touched: on walls that lean over the two
    differ, as the middle of the cutter hangs below the contact.
    """
    shrunk = cutter.let_in(tolerance_mm)
    tip = middle_mm @ tree.frame.T - np.array([0.0, 0.0, shrunk.corner_radius_mm])
    return stands_clear(body, shrunk, tree, tip, _ROUNDING_MM)


def _divided(lines: PassLines, longest_mm: float, cutter: Cutter, axis: Floats) -> tuple[PassLines, Flags]:
    """Passes with places on their straight ways no further apart, and which of them are points given."""
    middle = lines.centres_mm(cutter.corner_radius_mm, cutter.ring_radius_mm, axis)
    places, begins = _places_along(segment_lengths_mm(middle, lines.starts), longest_mm)
    contact, normal = along_segments(lines, places, centre_of(cutter), axis)
    return PassLines(contact, normal, begins[lines.starts], lines.level, lines.is_closed), places.share == 0.0


def _places_along(lengths_mm: Floats, longest_mm: float) -> tuple[Places, NDArray[np.int64]]:
    """Places on all ways, no further apart, points themselves among them; and the (n + 1,) rows at which ways begin."""
    parts = np.maximum(np.ceil(lengths_mm / longest_mm).astype(np.int64), 1)
    begins = np.concatenate([[0], np.cumsum(parts)])
    at = np.repeat(np.arange(len(parts)), parts)
    return Places(at, (np.arange(begins[-1]) - begins[at]) / parts[at]), begins


def _crossings(fine: PassLines, clear: Flags, is_clear: Callable[[Places], Flags], near_mm: float) -> Floats:
    """(k,) share of the way to the next place at which what is clear ends, on its side of the end."""
    crossing = np.zeros(len(clear))
    changes = clear[:-1] != clear[1:]
    changes[fine.starts[1:-1] - 1] = False
    at = np.flatnonzero(changes)
    if len(at) == 0:
        return crossing
    way = np.linalg.norm(np.diff(fine.contact_mm, axis=0), axis=1)[at].max()
    good, bad = np.where(clear[at], 0.0, 1.0), np.where(clear[at], 1.0, 0.0)
    for _ in range(max(int(np.ceil(np.log2(max(way / near_mm, 1.0)))), 1)):
        middle = (good + bad) / 2
        is_good = is_clear(Places(at, middle))
        good, bad = np.where(is_good, middle, good), np.where(is_good, bad, middle)
    crossing[at] = good
    return crossing


def _some_points(lines: PassLines, stays: Flags) -> PassLines:
    counts = np.add.reduceat(stays.astype(np.int64), lines.starts[:-1]) if lines.count else np.zeros(0, np.int64)
    return PassLines(
        lines.contact_mm[stays], lines.normal[stays], np.concatenate([[0], np.cumsum(counts)]), lines.level,
        lines.is_closed,
    )  # fmt: skip
