"""Title block, tools and stages as the plan records them."""

from __future__ import annotations

from advisor.advice.conditions import StageConditions
from advisor.cutter.bending import tool_compliance_mm_per_n
from advisor.job import Job, Tool
from advisor.model import StageRecord, Title, ToolRecord
from advisor.units import UM_PER_MM


def title_record(job: Job) -> Title:
    """The title block, with the machine's name; what is blank is not given."""
    told = {name: words for name, words in job.title if words and words.strip()}
    return Title(**told, machine=(job.machine.name or "").strip() or None)


def tool_records(tools: tuple[Tool, ...]) -> tuple[ToolRecord, ...]:
    """Every cutter as used by the plan."""
    return tuple(
        ToolRecord(
            name=tool.name,
            kind=tool.kind,
            diameter_mm=tool.diameter,
            corner_radius_mm=tool.corner_radius_mm,
            flutes=tool.flutes,
            centre_flutes=tool.centre_flutes,
            stick_out_mm=tool.stick_out,
            bending_um_per_n=_bending_um_per_n(tool),
        )
        for tool in tools
    )


def _bending_um_per_n(tool: Tool) -> float | None:
    compliance = tool_compliance_mm_per_n(tool)
    return None if compliance is None else compliance * UM_PER_MM


def stage_records(stages: tuple[StageConditions, ...]) -> tuple[StageRecord, ...]:
    """Every stage, in cutting order."""
    return tuple(
        StageRecord(
            stage.target.name,
            None if stage.target.cusp_mm is None else stage.target.cusp_mm * UM_PER_MM,
            stage.target.step_mm,
            stage.stage.stock_left,
            stage.target.tool,
        )
        for stage in stages
    )
