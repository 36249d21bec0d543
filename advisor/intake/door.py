"""One call from a file, or a part already read, to its plan."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor.advice.settings import resolve
from advisor.advice.setups import plan_part
from advisor.errors import InputError
from advisor.intake.read import read_part
from advisor.job import load_job
from advisor.model import Plan
from advisor.part.measured import MeasuredPart
from advisor.units import unit_name

# Options whose key in the job file lies in a section.
OPTION_KEYS = {"flat_below": "zones.flat_below", "steep_from": "zones.steep_from"}


def plan(
    part: MeasuredPart | str | Path,
    job: str | Path | Mapping[str, Any] | None = None,
    *,
    only_zones: bool = False,
    **options: Any,
) -> Plan:
    """Plan the finishing of a part.

    Parameters
    ----------
    part : MeasuredPart, str or Path
        A part from ``read_part``, or the path of a model.
    job : str, Path or mapping, optional
        Path of a TOML job file, or its keys.
    only_zones : bool
        Stop after the zones.
    options
        ``unit``, ``up``, ``ball``, ``cusp``, ``stepover``, ``material``, ``flat_below``, ``steep_from``: as on the
        command line; they override the job.

    Raises
    ------
    InputError
        Where the file, the job or an option cannot be used.
    """
    keys, subject = _job_keys(job)
    given = {OPTION_KEYS.get(name, name): value for name, value in options.items() if value is not None}
    if "unit" in given:
        given["unit"] = _unit_option(given["unit"])
    if not isinstance(part, MeasuredPart):
        # the unit of the model is what an option says, then what the job file says, then what the model says
        unit = given.get("unit") or keys.get("unit")
        part = read_part(part, None if unit is None else unit_name(unit))
    settings = resolve(part.mesh, keys, given, subject, part)
    return plan_part(part, settings, only_zones=only_zones)


def _unit_option(words: str) -> str:
    try:
        return unit_name(words)
    except InputError as fault:
        raise InputError("--unit", fault.problem, fault.remedy) from fault


def _job_keys(job: str | Path | Mapping[str, Any] | None) -> tuple[Mapping[str, Any], str]:
    if job is None:
        return {}, "options"
    if isinstance(job, Mapping):
        return job, "job"
    _, keys = load_job(job)
    return keys, str(job)
