"""One call from a file, or a part already read, to its plan, or to a what-if."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor import tolerances
from advisor.advice.progress import Progress, silent
from advisor.advice.session import Session
from advisor.advice.settings import finish_cusp_mm, with_options
from advisor.advice.setups import plan_part
from advisor.advice.what_if import what_if_of
from advisor.advice.what_if_asked import Given, Lengths
from advisor.advice.what_if_records import WhatIf
from advisor.errors import InputError
from advisor.intake.read import read_part
from advisor.intake.step import SUFFIXES as STEP_SUFFIXES
from advisor.job import load_job
from advisor.model import Plan
from advisor.part.coarseness import chord_tolerance_for_cusp_mm
from advisor.part.measured import MeasuredPart
from advisor.units import unit_name

# Options whose key in the job file lies in a section.
OPTION_KEYS = {"flat_below": "zones.flat_below", "steep_from": "zones.steep_from"}


def plan(
    part: MeasuredPart | str | Path,
    job: str | Path | Mapping[str, Any] | None = None,
    *,
    only_zones: bool = False,
    lays_passes: bool = True,
    in_short: bool = False,
    progress: Progress = silent,
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
    lays_passes : bool
        Lay the passes of every candidate and cut them virtually; without, lengths are area over spacing, and the plan
        is there in a fraction of the time.
    in_short : bool
        Zones, advice and minutes for a quote, in a fifth of the time without passes: see ``advice.advise.estimate``.
        Takes neither of the two above.
    progress : Progress, optional
        Is told what is being done and the share that lies behind, 0 to 1; what it raises ends the work.
    options
        ``unit``, ``up``, ``ball``, ``cusp``, ``stepover``, ``material``, ``flat_below``, ``steep_from``: as on the
        command line; they override the job.

    Raises
    ------
    InputError
        Where the file, the job or an option cannot be used.
    """
    part, given = _read(part, job, options)
    settings = given.settings(part)
    return plan_part(
        part, settings, only_zones=only_zones, lays_passes=lays_passes, in_short=in_short, progress=progress
    )  # fmt: skip


def what_if(
    part: MeasuredPart | str | Path,
    job: str | Path | Mapping[str, Any] | None = None,
    *,
    zone: int | None = None,
    balls: Lengths | None = None,
    stepovers: Lengths | None = None,
    cusps: Lengths | None = None,
    lays_passes: bool = False,
    **options: Any,
) -> WhatIf:
    """Minutes and cusp of the finish stage over a range of balls and of stepovers or cusps.

    Zones are drawn once a ball, for the job's own target; every row is advice for these zones, as ``plan`` gives it.

    Parameters
    ----------
    part, job, options
        As of ``plan``.
    zone : int, optional
        Number of a zone in the job's own plan; all zones where not given. In the map of another ball, whose numbers may
        differ, it is the zone that holds most of its area.
    balls : str, float or sequence, optional
        Diameters, such as "6, 8, 10 mm"; bare numbers are in the job's unit. The job's finishing tool where not given.
    stepovers, cusps : str, float or sequence, optional
        One of the two: what to ask of the finish stage. A range about the job's own target where neither is given.
    lays_passes : bool
        Lay the passes of every row and cut them virtually; without, lengths are area over spacing.

    Raises
    ------
    InputError
        Where the file, the job or what is asked cannot be used.
    """
    part, given = _read(part, job, options)
    return what_if_of(
        part, given, zone=zone, balls=balls, stepovers=stepovers, cusps=cusps, lays_passes=lays_passes
    )  # fmt: skip


def _read(
    part: MeasuredPart | str | Path, job: str | Path | Mapping[str, Any] | None, options: Mapping[str, Any]
) -> tuple[MeasuredPart, Given]:
    """The part, read where it is a path, and the job as it was given."""
    keys, subject = _job_keys(job)
    given = {OPTION_KEYS.get(name, name): value for name, value in options.items() if value is not None}
    if "unit" in given:
        given["unit"] = _unit_option(given["unit"])
    if not isinstance(part, MeasuredPart):
        # the unit of the model is what an option says, then what the job file says, then what the model says
        unit = given.get("unit") or keys.get("unit")
        chord_mm = _chord_mm(keys, given, subject) if Path(part).suffix.lower() in STEP_SUFFIXES else None
        part = read_part(part, None if unit is None else unit_name(unit), chord_mm=chord_mm)
    return part, Given(keys, given, subject)


def session(
    part: str | Path, job: str | Path | Mapping[str, Any] | None = None, subject: str | None = None, **options: Any
) -> Session:
    """Work on a part that is read from a file: see ``advice.session``.

    Parameters
    ----------
    part, job, options
        As of ``plan``.

    Raises
    ------
    InputError
        Where the file, the job or an option cannot be used.
    """
    measured, given = _read(part, job, options)
    given.settings(measured)  # faults of options are told as such
    return Session(measured, with_options(given.keys, given.options), subject or given.subject)


def part_of_keys(path: Path, keys: Mapping[str, Any]) -> MeasuredPart:
    """The part of a model as the keys of a job ask for it: in their unit, exact surfaces cut finely enough.

    Raises
    ------
    InputError
        Where the file or the job cannot be used.
    """
    return _read(path, keys, {})[0]


def _chord_mm(keys: Mapping[str, Any], options: Mapping[str, Any], subject: str) -> float:
    """How far facets may leave exact surfaces: a share of the cusp asked for, within bounds."""
    cusp = finish_cusp_mm(keys, options, subject)
    if cusp is None:
        return tolerances.STEP_CHORD_MM
    return min(max(chord_tolerance_for_cusp_mm(cusp), tolerances.STEP_LEAST_CHORD_MM), tolerances.STEP_MOST_CHORD_MM)


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
