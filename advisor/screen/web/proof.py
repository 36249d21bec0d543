"""The proof of a plan, its passes laid and cut virtually, in a process of its own: it stops at once and dies alone."""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any, Final

from advisor.advice.progress import Progress
from advisor.advice.session import Session
from advisor.errors import InputError
from advisor.model import Plan
from advisor.screen.web import proof_child

_REMEDY: Final = "try again; if it happens again, please report it with the part"
_LOOKS_PER_SECOND: Final = 5.0


def proved_plan(session: Session, folder: Path, progress: Progress) -> Plan:
    """The plan of a session as it is now, with passes.

    Parameters
    ----------
    session : Session
    folder : Path
        A private one, for what passes between the processes.
    progress : Progress
        What it raises ends the child.

    Raises
    ------
    InputError
        Where the child refuses the job, or dies.
    """
    with tempfile.TemporaryDirectory(dir=folder) as desk:
        asked, answer = Path(desk) / "asked", Path(desk) / "answer"
        asked.write_bytes(pickle.dumps((session.part, dict(session.keys), session.subject)))
        child = subprocess.Popen(
            [sys.executable, "-m", proof_child.__name__, str(asked), str(answer)],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        try:
            fault = _follow(child, progress)
        finally:
            child.kill()
            child.wait()
            if child.stdout is not None:
                child.stdout.close()
        if fault is not None:
            raise InputError(*fault)
        if not answer.is_file():
            raise InputError("passes", "the process that lays them has died", _REMEDY)
        return _plan(answer)


def _follow(child: subprocess.Popen[str], progress: Progress) -> tuple[str, str, str] | None:
    """Pass on what the child tells until it ends; its fault, if it tells one."""
    told: list[dict[str, Any]] = [{"what": "starting", "share": 0.0}]
    assert child.stdout is not None
    reader = threading.Thread(target=_read, args=(child.stdout, told), daemon=True)
    reader.start()
    try:
        while reader.is_alive():
            # asked again and again: a stop must not wait until the child has something to tell
            progress(told[-1].get("what", ""), told[-1].get("share", 0.0))
            reader.join(1.0 / _LOOKS_PER_SECOND)
    finally:
        child.kill()
        reader.join()
    fault = next((one["fault"] for one in told if "fault" in one), None)
    return None if fault is None else (fault[0], fault[1], fault[2])


def _read(lines: Any, told: list[dict[str, Any]]) -> None:
    for line in lines:
        try:
            told.append(json.loads(line))
        except ValueError:  # a library that prints; not for us
            continue


def _plan(answer: Path) -> Plan:
    record, facets, outlines, passes = pickle.loads(answer.read_bytes())
    return Plan(record, facets, lambda: outlines, passes)
