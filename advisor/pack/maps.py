"""The table of colour maps: what a plan can be coloured by, and whether this one can."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, get_args

from advisor.errors import InputError
from advisor.model import FacetArrays, Plan
from advisor.pack.colour_map import ColourMap, ColourMode
from advisor.pack.cusp_maps import cusp_map
from advisor.pack.minutes_map import knows_minutes, minutes_map
from advisor.pack.reach_maps import ball_map, leftover_map, reach_map, stick_out_map
from advisor.pack.zone_maps import class_map, slope_map, strategy_map, zone_map

COLOUR_MODES: Final[tuple[ColourMode, ...]] = get_args(ColourMode)

_OF_ZONES: Final[dict[ColourMode, Callable[[Plan], ColourMap]]] = {
    "class": class_map,
    "slope": slope_map,
    "strategy": strategy_map,
    "zone": zone_map,
    "minutes": minutes_map,
}
# Maps that need an array of the facets, which not every plan holds.
_OF_ARRAYS: Final[dict[ColourMode, tuple[str, Callable[..., ColourMap]]]] = {
    "reach": ("reach", reach_map),
    "ball": ("needed_ball_mm", ball_map),
    "leftover": ("leftover_mm", leftover_map),
    "stick_out": ("stick_out_mm", stick_out_map),
    "cusp": ("cusp_um", cusp_map),
}


def can_colour(facets: FacetArrays, mode: ColourMode) -> bool:
    """Whether a plan with these facets knows what the mode shows."""
    return mode not in _OF_ARRAYS or getattr(facets, _OF_ARRAYS[mode][0]) is not None


def modes_of(plan: Plan) -> tuple[ColourMode, ...]:
    """Modes that the plan can be coloured by."""
    return tuple(
        mode for mode in COLOUR_MODES if can_colour(plan.facets, mode) and (mode != "minutes" or knows_minutes(plan))
    )


def check_can_colour(plan: Plan, mode: ColourMode) -> None:
    """Raise ``InputError`` where the plan does not know what the mode shows."""
    if mode == "minutes" and not knows_minutes(plan):
        problem = "this plan knows no minutes: it was made without a material, or stops after the zones"
        raise InputError("--colour minutes", problem, "plan the part again with --material")
    if can_colour(plan.facets, mode):
        return
    if mode == "cusp":
        problem = "this plan does not say what its passes leave: none were laid"
        raise InputError("--colour cusp", problem, "give the part model instead")
    problem = "this plan does not say where the cutter gets to (it was made with --only zones, or long ago)"
    raise InputError(f"--colour {mode}", problem, "plan the part again without --only zones")


def colour_map(plan: Plan, mode: ColourMode) -> ColourMap:
    """The map of a plan in one mode.

    Raises
    ------
    InputError
        Where the plan does not know what the mode shows.
    """
    check_can_colour(plan, mode)
    if mode in _OF_ZONES:
        return _OF_ZONES[mode](plan)
    name, make = _OF_ARRAYS[mode]
    return make(plan, getattr(plan.facets, name))
