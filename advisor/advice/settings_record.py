"""Every setting in force, in words, and where it came from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from advisor.job import Job, Stage, Tool
from advisor.model import Setting


def settings_record(
    job: Job, tools: tuple[Tool, ...], tool_source: str, file_keys: Mapping[str, Any], options: Mapping[str, Any]
) -> tuple[Setting, ...]:
    """Settings as the plan records them: ``option``, ``job file``, ``default``, or ``part`` where the part decided."""

    def source(dotted: str) -> str:
        if dotted in options:
            return "option"
        section, _, key = dotted.rpartition(".")
        held = file_keys.get(section, {}) if section else file_keys
        return "job file" if isinstance(held, Mapping) and key in held else "default"

    def row(name: str, value: str, dotted: str | None = None) -> Setting:
        return Setting(name, value, source(dotted or name))

    rules, machine = job.zones, job.machine
    last = len(job.stage) - 1
    by_option = "cusp" in options or "stepover" in options
    return (
        row("unit", job.unit),
        row("up", job.up if isinstance(job.up, str) else ",".join(f"{value:g}" for value in job.up)),
        row("setups", job.setups if isinstance(job.setups, str) else " ".join(job.setups)),
        row("material", job.material or "not given"),
        row("tolerance", "not given" if job.tolerance is None else f"{job.tolerance:g} mm"),
        row("path_tolerance", f"{job.path_tolerance:g} mm"),
        row("stock", f"{job.stock:g} mm"),
        row("clearance", f"{job.clearance:g} mm"),
        row("flat_below", f"{rules.flat_below:g} deg", "zones.flat_below"),
        row("steep_from", f"{rules.steep_from:g} deg", "zones.steep_from"),
        row("wall_tolerance", f"{rules.wall_tolerance:g} deg", "zones.wall_tolerance"),
        row("smallest", f"{rules.smallest:g} mm2", "zones.smallest"),
        row("overlap", f"{rules.overlap:g} stepovers", "zones.overlap"),
        row("corner_share", f"{rules.corner_share:g}", "zones.corner_share"),
        row("keep_together", "yes" if rules.keep_together else "no", "zones.keep_together"),
        row("blend_price", f"{rules.blend_price:g} mm per mm", "zones.blend_price"),
        row("zone_price", f"{rules.zone_price:g} mm", "zones.zone_price"),
        row("axes", machine.axes, "machine.axes"),
        row("max_spindle", f"{machine.max_spindle:g} rpm", "machine.max_spindle"),
        row("max_feed", f"{machine.max_feed:g} mm/min", "machine.max_feed"),
        row("acceleration", f"{machine.acceleration:g} mm/s2", "machine.acceleration"),
        row("tool_change_min", f"{machine.tool_change_min:g} min", "machine.tool_change_min"),
        row("max_tilt", f"{machine.tilt_deg:g} deg", "machine.max_tilt"),
        row("rotary_axis", "none" if machine.rotary_axis is None else str(machine.rotary_axis), "machine.rotary_axis"),
        *(Setting(f"tool {n}", _tool_words(tool), tool_source) for n, tool in enumerate(tools)),
        *(
            Setting(f"stage {n}", _stage_words(stage), "option" if by_option and n == last else source("stage"))
            for n, stage in enumerate(job.stage)
        ),
        *(
            Setting(f"zone override {n}", repr(override.model_dump(exclude_defaults=True)), "job file")
            for n, override in enumerate(job.zone)
        ),
    )


def _tool_words(tool: Tool) -> str:
    corner = f", corner {tool.corner_radius_mm:g} mm" if tool.kind == "bull" else ""
    reach = "" if tool.stick_out is None else f", sticks out {tool.stick_out:g} mm"
    return f"{tool.name}: {tool.kind} {tool.diameter:g} mm{corner}{reach}"


def _stage_words(stage: Stage) -> str:
    if stage.cusp is not None:
        target = f"cusp {stage.cusp * 1000:g} um"
    elif stage.stepover is not None:
        target = f"stepover {stage.stepover:g} mm"
    else:
        target = f"Ra {(stage.ra or 0.0) * 1000:g} um"
    return f"{stage.name}: {target}, {stage.stock_left:g} mm left"
