"""Two plans to compare, from plan folders, or from part models that are planned for it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor.advice.progress import Progress, silent
from advisor.errors import InputError
from advisor.intake import door
from advisor.intake.saved import read_plan_folder
from advisor.model import PLAN_FILE, Plan, PlanRecord
from advisor.part.measured import MeasuredPart
from advisor.units import length_mm

# Settings of a plan that an option can ask for again, by the name they are recorded under.
_CARRIED = ("unit", "up", "material", "flat_below", "steep_from")
_GIVEN = ("option", "job file")


def two_plans(
    a: Plan | MeasuredPart | str | Path,
    b: Plan | MeasuredPart | str | Path,
    job: str | Path | Mapping[str, Any] | None = None,
    *,
    lays_passes: bool | None = None,
    progress: Progress = silent,
    **options: Any,
) -> tuple[Plan, Plan, tuple[str, ...]]:
    """Both plans, and what a reader must know of how they came about.

    A model beside a plan is planned with what the plan was asked for, as far as options can say it, unless a job is
    given; options override both.

    Parameters
    ----------
    a, b : Plan, MeasuredPart, str or Path
        A plan, a plan folder (or the ``plan.json`` in it), or a part model.
    job, options
        As of ``door.plan``: for the models.
    lays_passes : bool, optional
        Left out, passes are laid on a model where the plan beside it has some.

    Raises
    ------
    InputError
        Where either is neither plan nor part, and where settings are given for two plans that are made already.
    """
    made: list[Plan | None] = [_made(one) for one in (a, b)]
    given = {name: value for name, value in options.items() if value is not None}
    known = [plan for plan in made if plan is not None]
    if len(known) == 2:
        asked = [*(["job"] if job is not None else []), *given, *(["passes"] if lays_passes is not None else [])]
        if asked:
            problem = "changes nothing in plans that are made already"
            raise InputError(f"--{asked[0].replace('_', '-')}", problem, "give a part model in place of one of them")
    notes: tuple[str, ...] = ()
    if len(known) == 1:
        if job is None:
            carried, notes = _asked_for(known[0].record)
            given = {**_without_stage(carried, given), **given}
        if lays_passes is None:
            lays_passes = known[0].passes is not None
    told = [
        one if isinstance(one, Plan) else door.plan(one, job, lays_passes=bool(lays_passes), progress=progress, **given)
        for one in (made[0] or a, made[1] or b)
    ]
    return told[0], told[1], notes


def tolerance_mm(given: str | float | None, plan: Plan) -> float | None:
    """The tolerance asked for, a bare number in the unit of the plan's job.

    Raises
    ------
    InputError
        Where it is no length above zero.
    """
    if given is None:
        return None
    unit = next((setting.value for setting in plan.record.settings if setting.name == "unit"), "mm")
    try:
        told = length_mm(given, unit)
    except (ValueError, KeyError) as fault:
        raise InputError("--tolerance", str(fault), "give a length such as '0.02 mm'") from fault
    if not told > 0.0:
        raise InputError("--tolerance", f"{given} is not above zero", "give a length such as '0.02 mm'")
    return told


def _made(one: Plan | MeasuredPart | str | Path) -> Plan | None:
    """The plan, where one is given; None for a model."""
    if isinstance(one, Plan):
        return one
    if isinstance(one, MeasuredPart):
        return None
    path = Path(one)
    folder = path.parent if path.name == PLAN_FILE else path
    if folder is path and not path.is_dir():
        if not path.exists():
            raise InputError(str(path), "is not there", "give a plan folder or a part model")
        return None
    if not (folder / PLAN_FILE).is_file():
        raise InputError(str(path), f"is a folder without a {PLAN_FILE}", "give a plan folder or a part model")
    plan = read_plan_folder(folder)
    if not plan.record.setups or len(plan.facets.faces) == 0:
        raise InputError(str(folder), "is a plan of nothing", "plan the part again")
    return plan


def _asked_for(record: PlanRecord) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What a plan was asked for, as options; and a note on what of its job file options cannot say."""
    by_name = {setting.name: setting for setting in record.settings}
    told: dict[str, Any] = {
        name: by_name[name].value for name in _CARRIED if name in by_name and by_name[name].source in _GIVEN
    }
    last = record.stages[-1] if record.stages else None
    if last is not None:
        tool = record.tools[last.tool]
        if tool.kind == "ball":
            told["ball"] = f"{tool.diameter_mm!r} mm"
        stage = by_name.get(f"stage {len(record.stages) - 1}")
        if stage is not None and stage.source in _GIVEN:
            if last.cusp_target_um is not None:
                told["cusp"] = f"{last.cusp_target_um!r} um"
            elif last.stepover_mm is not None:
                told["stepover"] = f"{last.stepover_mm!r} mm"
    if not any(setting.source == "job file" for setting in record.settings):
        return told, ()
    return told, (
        "The plan was made with a job file: of that, the model was planned with unit, axis, material, slopes, ball and "
        "finish target only. Give the file with --job to compare like with like.",
    )


def _without_stage(carried: dict[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """What is carried over, but for a finish target where another is given."""
    if "cusp" in given or "stepover" in given:
        return {name: value for name, value in carried.items() if name not in ("cusp", "stepover")}
    return carried
