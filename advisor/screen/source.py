"""What the user points `view` at: a part model to plan, or a plan folder to read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor.advice.session import Session
from advisor.errors import InputError
from advisor.model import PLAN_FILE, Plan


def work_to_look_at(
    path: Path, job: Path | None, options: Mapping[str, Any], *, lays_passes: bool = False
) -> tuple[Plan, Session | None]:
    """The plan of a part model, with the work to go on with, or the one in a plan folder (or beside a ``plan.json``).

    ``lays_passes`` speaks of models: a plan that is made already has its passes, or none.

    Raises
    ------
    InputError
        Where neither can be read, or settings are given for a plan that is made already.
    """
    folder = _plan_folder(path)
    if folder is None:
        from advisor.intake.door import session

        work = session(path, job, **options)
        return work.plan(lays_passes=lays_passes), work
    given = [f"--{name.replace('_', '-')}" for name, value in {"job": job, **options}.items() if value is not None]
    if given:
        problem = f"changes nothing in a plan that is made already ({path})"
        raise InputError(given[0], problem, "give the part model instead")
    from advisor.intake.saved import read_plan_folder

    return read_plan_folder(folder), None


def _plan_folder(path: Path) -> Path | None:
    if path.name == PLAN_FILE:
        return path.parent
    if not path.is_dir():
        return None
    if not (path / PLAN_FILE).is_file():
        raise InputError(str(path), f"is a folder without a {PLAN_FILE}", "give a part model or a plan folder")
    return path
