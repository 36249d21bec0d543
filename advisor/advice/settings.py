"""A job resolved against a part: every setting in force, and where it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from advisor import tolerances
from advisor.advice.conditions import StageConditions
from advisor.advice.settings_record import settings_record
from advisor.advice.target import StageTarget
from advisor.cutter.cutter import cusp_for_ra_mm
from advisor.cutter.materials import Material, material_from_row, material_named
from advisor.cutter.tool_body import cutter_of
from advisor.errors import InputError
from advisor.job import Job, Stage, Tool, job_from_keys, parse_up
from advisor.model import Setting
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.units import angle_deg, length_mm, unit_name
from advisor.zones.areas import connected_areas
from advisor.zones.hollows import closes_all_round

# Ball diameters on most tool shelves, mm. (common practice, no source)
_SHELF_BALLS_MM = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 16.0)
# Of them those are looked at beside the finishing ball that a shop would take in its place or after it.
_SHELF_SHARES = (0.15, 1.7)
# With no tool listed: the largest shelf ball up to this share of the part's second-largest size.
_BALL_SHARE_OF_SIZE = 0.1
# Hollows of less than this share of the part's area need not fit the ball: a smaller one follows it there.
_TIGHT_AREA_SHARE = 0.01
# Nor is the whole part cut with a ball below this share of the one its size asks for, because of fillets.
_SMALLEST_SHARE_FOR_FILLETS = 0.35
# Walls within 10 degrees of upright are those of holes.
_UPRIGHT_SINE = 0.17
# Even a stage that takes nothing off rubs over a few hundredths.
_LEAST_DEPTH_MM = 0.02


@dataclass(frozen=True)
class Settings:
    """A job with its tools and targets worked out for a part."""

    job: Job
    axis: tuple[float, float, float]
    tools: tuple[Tool, ...]
    stages: tuple[StageConditions, ...]
    record: tuple[Setting, ...]
    subject: str


def tools_asked(settings: Settings) -> tuple[Tool, ...]:
    """The tools whose reach is of interest, the finishing one first: the job's, or balls on most shelves beside it.

    Of the job's tools that differ in nothing but their names the first is asked for, of those like the finishing one
    that itself.
    """
    finishing = settings.stages[-1].tool
    if settings.job.tool and len(settings.tools) > 1:
        by_make = {_make(tool): tool for tool in reversed(settings.tools)}
        return (finishing, *(tool for make, tool in reversed(by_make.items()) if make != _make(finishing)))
    low, high = (share * finishing.diameter for share in _SHELF_SHARES)
    balls = [ball for ball in _SHELF_BALLS_MM if low <= ball <= high]
    if finishing.kind == "ball":
        balls = [ball for ball in balls if ball != finishing.diameter]
    return (finishing, *(Tool(name=f"ball {ball:g} mm", diameter=ball) for ball in balls))


def _make(tool: Tool) -> str:
    """All of a tool but its name."""
    return tool.model_dump_json(exclude={"name"})


def resolve(
    mesh: Mesh,
    file_keys: Mapping[str, Any] | None = None,
    options: Mapping[str, Any] | None = None,
    subject: str = "job",
    part: MeasuredPart | None = None,
) -> Settings:
    """Settings in force for a part.

    Parameters
    ----------
    mesh : Mesh
    file_keys : keys of the job file, as read
    options : keys given as options, dotted (``zones.flat_below``); ``ball``, ``cusp`` and ``stepover`` speak of
        the finish stage. They override the job file.
    subject : str
        Opens error lines.
    part : MeasuredPart, optional
        Of the same mesh: where no tool is listed, the ball is chosen to fit its fillets.
    """
    file_keys, options = file_keys or {}, options or {}
    _check_options(options, _unit_in_force(file_keys, options))
    job = _job(file_keys, options, subject)
    tools, tool_source = _tools(job, mesh, options, part, parse_up(job.up))
    stages = _conditions(job, tools, subject)
    record = settings_record(job, tools, tool_source, file_keys, options)
    return Settings(job, parse_up(job.up), tools, stages, record, subject)


def finish_cusp_mm(file_keys: Mapping[str, Any], options: Mapping[str, Any], subject: str) -> float | None:
    """The cusp that the last stage is asked for, before any part is known; None where it is asked for otherwise."""
    _check_options(options, _unit_in_force(file_keys, options))
    return _job(file_keys, options, subject).stage[-1].cusp


def _unit_in_force(file_keys: Mapping[str, Any], options: Mapping[str, Any]) -> str:
    return unit_name(options.get("unit") or file_keys.get("unit") or "mm")


_LENGTH_OPTIONS = {"ball": "--ball", "cusp": "--cusp", "stepover": "--stepover"}
_ANGLE_OPTIONS = {"zones.flat_below": "--flat-below", "zones.steep_from": "--steep-from"}


def _check_options(options: Mapping[str, Any], unit: str) -> None:
    """Options speak for themselves: their faults name the option, not the key it overrides."""
    for key, value in options.items():
        option = _LENGTH_OPTIONS.get(key) or _ANGLE_OPTIONS.get(key)
        if option is None:
            continue
        try:
            number = length_mm(value, unit) if key in _LENGTH_OPTIONS else angle_deg(value)
        except ValueError as fault:
            problem, _, remedy = str(fault).partition("; ")
            raise InputError(option, problem, remedy or "correct it") from fault
        if number <= 0:
            raise InputError(
                option, f"{value!r} is not above zero", "give a positive value, such as '0.1 mm' or '15 deg'"
            )


def _job(file_keys: Mapping[str, Any], options: Mapping[str, Any], subject: str) -> Job:
    try:
        return job_from_keys(with_options(file_keys, options), subject)
    except InputError as fault:
        given = [option for key, option in _ANGLE_OPTIONS.items() if key in options]
        if given and fault.subject.startswith(f"{subject}: zones"):  # it was an option that put them out of order
            raise InputError(" and ".join(given), fault.problem, fault.remedy) from fault
        targets = [_LENGTH_OPTIONS[key] for key in ("cusp", "stepover") if key in options]
        if targets and fault.subject.startswith(f"{subject}: stage"):
            raise InputError(" and ".join(targets), fault.problem, fault.remedy) from fault
        if "up" in options and "is not a direction" in fault.problem:
            raise InputError("--up", fault.problem, fault.remedy) from fault
        raise


def with_options(file_keys: Mapping[str, Any], options: Mapping[str, Any]) -> dict[str, Any]:
    """Keys of a job in which options, dotted as in ``resolve``, have taken the place of what they override."""
    keys = {key: dict(value) if isinstance(value, Mapping) else value for key, value in file_keys.items()}
    for dotted, value in options.items():
        section, _, key = dotted.rpartition(".")
        if dotted in ("ball", "cusp", "stepover"):
            continue
        (keys.setdefault(section, {}) if section else keys)[key] = value
    if "ball" in options:
        keys["tool"] = [{"name": "ball", "kind": "ball", "diameter": options["ball"]}]
        keys["stage"] = [{k: v for k, v in stage.items() if k != "tool"} for stage in _stage_keys(keys)]
    target = {key: options[key] for key in ("cusp", "stepover") if key in options}
    if target:
        stages = _stage_keys(keys)
        last = {k: v for k, v in stages[-1].items() if k not in ("cusp", "stepover", "ra")}
        keys["stage"] = [*stages[:-1], {**last, **target}]
    return keys


def _stage_keys(keys: Mapping[str, Any]) -> list[dict[str, Any]]:
    if isinstance(keys.get("stage"), list) and keys["stage"]:
        return [dict(stage) for stage in keys["stage"]]
    # defaults are mm whatever the job's unit: say so
    return [
        {"name": stage.name, "cusp": f"{stage.cusp} mm", "stock_left": f"{stage.stock_left} mm"}
        for stage in Job().stage
    ]


def _tools(
    job: Job, mesh: Mesh, options: Mapping[str, Any], part: MeasuredPart | None, axis: tuple[float, float, float]
) -> tuple[tuple[Tool, ...], str]:
    if job.tool:
        named = tuple(
            tool.model_copy(update={"name": tool.name or f"tool {number}"}) for number, tool in enumerate(job.tool, 1)
        )
        return named, "option" if "ball" in options else "job file"
    room = sorted(mesh.size_mm)[1] * _BALL_SHARE_OF_SIZE
    fitting = [ball for ball in _SHELF_BALLS_MM if ball <= room] or [_SHELF_BALLS_MM[0]]
    ball = fitting[-1] if part is None else _ball_for_fillets(part, fitting, axis)
    return (Tool(name=f"ball {ball:g} mm", diameter=ball),), "part"


def _ball_for_fillets(part: MeasuredPart, balls: list[float], axis: tuple[float, float, float]) -> float:
    """The largest ball that rolls into nearly all hollows; the largest of all where only far smaller ones would.

    What faces down is not asked, nor are holes narrower than the ball: they are drilled, not finished.
    """
    mesh, hollow = part.mesh, np.maximum(-part.bends.k_min_per_mm, 0.0)
    climb = mesh.normal @ np.asarray(axis)
    seen = climb > -np.sin(np.radians(tolerances.IDLE_LEAN_DEG))
    for ball in reversed(balls):
        if ball < _SMALLEST_SHARE_FOR_FILLETS * balls[-1]:
            break
        tight = seen & (hollow * ball / 2 > 1.0 + tolerances.TIGHT_SHARE)
        tight &= ~_hole_walls(part, tight, climb, np.asarray(axis))
        if mesh.area_mm2[tight].sum() <= _TIGHT_AREA_SHARE * mesh.area_mm2[seen].sum():
            return ball
    return balls[-1]


def _hole_walls(part: MeasuredPart, tight: Flags, climb: Floats, axis: Floats) -> Flags:
    """Facets of upright hollows that close all round: their normals cancel, where those of a pocket's corner do not."""
    mesh = part.mesh
    upright = tight & (np.abs(climb) < _UPRIGHT_SINE)
    label = connected_areas(mesh, upright)
    walls: Flags = upright & closes_all_round(mesh, label, int(label.max()) + 1, axis)[label]
    return walls


def _target(stage: Stage, tools: tuple[Tool, ...], subject: str) -> StageTarget:
    number = 0 if stage.tool is None else [tool.name for tool in tools].index(stage.tool)
    tool = tools[number]
    cutter = cutter_of(tool)
    cusp, step = stage.cusp, stage.stepover
    if cusp is not None and cusp >= cutter.corner_radius_mm:
        raise _too_coarse(subject, stage.name, f"cusp of {cusp:g} mm", tool)
    if step is not None and step >= 2 * cutter.corner_radius_mm:
        raise _too_coarse(subject, stage.name, f"stepover of {step:g} mm", tool)
    if stage.ra is not None:
        try:
            cusp = cusp_for_ra_mm(stage.ra, cutter)
        except ValueError as fault:
            raise _too_coarse(subject, stage.name, f"Ra of {stage.ra * 1000:g} um", tool) from fault
    return StageTarget(stage.name, cutter, number, cusp, step)


def _conditions(job: Job, tools: tuple[Tool, ...], subject: str) -> tuple[StageConditions, ...]:
    """What each stage cuts with and how deep: what the stage before left, less what it leaves itself."""
    material = _material(job, subject)
    left, ridge, conditions = job.stock, 0.0, list[StageConditions]()
    for stage in job.stage:
        target = _target(stage, tools, subject)
        depth = max(left - stage.stock_left, _LEAST_DEPTH_MM)
        before = tuple(conditions)
        conditions.append(
            StageConditions(target, tools[target.tool], stage, material, job.machine, depth, ridge, before)
        )
        left, ridge = stage.stock_left, target.flat_cusp_mm
    return tuple(conditions)


def _material(job: Job, subject: str) -> Material | None:
    if job.material is None:
        return None
    if job.own_material is not None:
        return material_from_row(job.material, job.own_material)
    return material_named(job.material)


def _too_coarse(subject: str, stage: str, what: str, tool: Tool) -> InputError:
    return InputError(
        subject,
        f"stage {stage!r} asks for a {what}, more than the {tool.diameter:g} mm {tool.kind} can leave",
        "ask for less, and check its unit (for example 0.005 mm)",
    )
