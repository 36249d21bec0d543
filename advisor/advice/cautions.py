"""What every plan warns of, and what this one does."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.advice.conditions import StageConditions
from advisor.advice.left_before import TELLING_SHARE
from advisor.advice.settings import Settings
from advisor.cutter.bending import STICK_OUT_LIMIT, slenderness
from advisor.cutter.contact import cusp_height_mm
from advisor.model import BarePlace, Leftover, Zone
from advisor.part.coarseness import chord_tolerance_for_cusp_mm
from advisor.units import UM_PER_MM
from advisor.words import counted, plain_number

GENERAL = (
    "Starting values only, computed from ideal geometry and general ranges. The cusp is a lower bound: measured finish "
    "is commonly 1.5 to 3 times it, and a roughness filter hides part of a coarse cusp.",
    "The limits of the tool maker and the machine builder, material safety data and local regulations come first; "
    "their data in the job file win over the table here.",
    "Reach is worked out against the model alone: stock, clamps, fixtures, the machine, and tools that the job does "
    "not describe are not in it. A qualified person must review the plan and prove the program out above the part, "
    "single block and reduced feed, guards and doors closed.",
)
# E. Isakov, "Tackling titanium", Cutting Tool Engineering, June 2009 (excerpt read), for titanium.
_AGAINST_FIRE = (
    "keep them from piling up, never put water on a metal fire, have a class D agent or dry sand at hand, and let "
    "trained people decide the coolant."
)
FIRE = f"Chips and dust of this metal burn: {_AGAINST_FIRE}"
FIRE_OF_SOME = f"No metal is named; chips and dust of titanium, magnesium and zirconium burn: {_AGAINST_FIRE}"
# An area facing away that is worth a word.
_HIDDEN_SHARE = 0.005
# A ball takes off no more than so many of its radii at a time (common practice, no source).
_MOST_DEPTH_RADII = 0.5


def cautions(
    zones: tuple[Zone, ...],
    settings: Settings,
    facets_um: float | None,
    leftovers: Sequence[Leftover] = (),
    *,
    lays_passes: bool = False,
) -> tuple[str, ...]:
    """General cautions first, then those of this part and job."""
    told = [*GENERAL]
    material = settings.stages[-1].material
    if material is None:
        told.append(FIRE_OF_SOME)
    elif material.combustible:
        told.append(FIRE)
    told.extend(_of_hidden_surface(zones, leftovers))
    if lays_passes:
        told.extend(of_passes_not_laid(zones))
    told.extend(_of_tools_held_off(zones))
    told.extend(_of_coarse_model(settings, facets_um))
    told.extend(_of_long_tools(settings))
    told.extend(_of_thick_layers(settings.stages))
    return tuple(told)


def _of_hidden_surface(zones: tuple[Zone, ...], leftovers: Sequence[Leftover]) -> list[str]:
    away = sum(zone.area_mm2 for zone in zones if zone.slope_class == "undercut")
    out_of_reach = sum(place.area_mm2 for place in leftovers if place.pass_kind == "another set-up")
    total = sum(zone.area_mm2 for zone in zones)
    if away + out_of_reach <= _HIDDEN_SHARE * total:
        return []
    what = "faces away from the spindle"
    if out_of_reach > _HIDDEN_SHARE * total:
        what += ", or is where no ball gets along its axis,"
    return [f"{(away + out_of_reach) / total:.0%} of the surface {what} and needs another set-up."]


def of_passes_not_laid(zones: tuple[Zone, ...]) -> list[str]:
    """A word on zones with a step whose passes could not be laid, where they were asked for."""
    missing = [zone.id for zone in zones if any(step.usable and not step.is_laid for step in zone.steps)]
    if not missing:
        return []
    return [
        f"Not all passes of {_zones(missing)} are laid and cut virtually: they are too long to, or have no outline to "
        "start from. Their lengths are area over spacing and their cusps those of the sums."
    ]


def _of_tools_held_off(zones: tuple[Zone, ...]) -> list[str]:
    """A word on stages before the last whose tools do not get to all that the last one is to finish."""
    held: dict[str, list[int]] = {}
    for zone in zones:
        for step in zone.steps[:-1]:
            if (step.out_of_reach_share or 0.0) > TELLING_SHARE:
                held.setdefault(step.stage, []).append(zone.id)
    return [
        f"The tool of {stage} does not get to all of {_zones(ids)}: its passes end where, with the stock it leaves, it "
        "is too large for a hollow, or shank or holder would touch. The next stage meets there what was left before."
        for stage, ids in held.items()
    ]


def of_bare_places(places: Sequence[BarePlace]) -> list[str]:
    """A word on what laid passes leave of places that the cutter would get to."""
    if not places:
        return []
    ids = sorted({place.zone for place in places})
    return [
        f"The passes of {_zones(ids)} leave {counted(len(places), 'place')} over the cusp asked for (the report and "
        "bare_places in plan.json list them): blend them with passes of your own, or with a smaller ball."
    ]


def _zones(ids: Sequence[int]) -> str:
    return f"zone{'' if len(ids) == 1 else 's'} {', '.join(map(str, ids))}"


def _of_coarse_model(settings: Settings, facets_um: float | None) -> list[str]:
    """Facets as high as the cusp look exactly like cusps."""
    if facets_um is None:
        return []
    target = settings.stages[-1].target
    cusp_mm = float(cusp_height_mm(target.flat_step_mm, target.cutter.corner_radius_mm))
    wanted_mm = chord_tolerance_for_cusp_mm(cusp_mm)
    if facets_um <= 2 * wanted_mm * UM_PER_MM:
        return []
    about = plain_number(float(f"{facets_um:.2g}"))  # two digits that count, without an exponent
    return [
        f"The model is coarse for a cusp of {cusp_mm * UM_PER_MM:.3g} um: its facets stand about {about} um "
        f"off the surface and will show. Export it again with a chord tolerance of {wanted_mm:.1g} mm."
    ]


def _of_long_tools(settings: Settings) -> list[str]:
    told = []
    for tool in settings.tools:
        times = slenderness(tool)
        if times is None or times <= STICK_OUT_LIMIT:
            continue
        told.append(
            f"{tool.name} sticks out {times:.1f} times its diameter: bending grows with the cube of it; more than "
            f"{STICK_OUT_LIMIT:g} times wants slower speeds and lighter cuts."
        )
    return told


def _of_thick_layers(stages: Sequence[StageConditions]) -> list[str]:
    """A word on stages that take off more than suits a ball, or than its bending can be told for."""
    told = []
    for stage in stages:
        radius = stage.tool.corner_radius_mm
        times = stage.depth_mm / radius
        takes = f"{stage.target.name}: {stage.tool.name} is to take off {plain_number(stage.depth_mm)} mm at a time"
        not_known = "" if times <= 1.0 else "; how far the tool bends is not known there, and in no error budget"
        if stage.tool.kind == "ball" and times > _MOST_DEPTH_RADII:
            told.append(
                f"{takes}, {times:.2g} times its radius, and more than {_MOST_DEPTH_RADII:g} times it is commonly too "
                f"much for a ball{not_known}. Cut with a larger one before it, or leave less stock."
            )
        elif not_known:
            told.append(f"{takes}, more than its corner radius{not_known}.")
    return told
