"""A folder of models becomes a folder of plans: what is new or changed is planned, the rest is kept."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from advisor.advice.advise import package_version
from advisor.advice.settings import Settings, resolve
from advisor.errors import InputError
from advisor.intake.door import OPTION_KEYS
from advisor.library.index import IndexHead, index_html
from advisor.library.ledger import Entry, Ledger, open_ledger
from advisor.library.parts_table import parts_csv
from advisor.library.places import assign_folders, sweep_desks
from advisor.library.pool import over_cores
from advisor.library.scan import FoundPart, Scan, name_below, scan_folder
from advisor.library.summary import Failure, Outcome, PartSummary
from advisor.library.work import PLANS, PartTask, plan_one, thumbnail_path
from advisor.part.mesh import Mesh

DIED = "ended its process while it was planned (a crash, or more memory than there is); repair or coarsen the model"


@dataclass(frozen=True)
class LibraryJob:
    """Parts to plan, where to, and how: ``keys`` of a job file and ``options`` as ``advisor.plan`` takes them."""

    folder: Path
    out: Path
    keys: Mapping[str, Any]
    options: Mapping[str, Any]
    subject: str = "options"
    pictures: bool = True
    again: bool = False
    workers: int = 1


@dataclass(frozen=True)
class LibraryResult:
    """How a batch ended. ``failures`` includes folders that could not be read."""

    planned: int
    unchanged: int
    failures: tuple[Failure, ...]
    exact_models: int


@dataclass(frozen=True)
class Listeners:
    """Who hears of a batch in work: of its start (parts to plan), and of each part (with whether it is new)."""

    begun: Callable[[int], None] = lambda _to_plan: None
    told: Callable[[Outcome, bool], None] = lambda _outcome, _new: None


def plan_library(
    job: LibraryJob, listeners: Listeners | None = None, work: Callable[[PartTask], Outcome] = plan_one
) -> LibraryResult:
    """Plan every part model of a folder over the cores; nothing is done twice.

    A part is kept as it is while its content, the settings and the version of the program are the same and its
    plan folder is there. Stopped by an exception or Ctrl-C, the plans made so far stay and are listed.

    Parameters
    ----------
    job : LibraryJob
    listeners : Listeners, optional
    work : function of a module that plans one part, called in worker processes.

    Raises
    ------
    InputError
        Where the folder holds no part models, the settings cannot be used, or ``out`` cannot be written.
    """
    listeners = listeners or Listeners()
    scan = scan_folder(job.folder, job.out)
    settings, digest = _settings_of(job), _digest_of_settings(job)
    head = _index_head(job, settings, len(scan.parts) + len(scan.unreadable))
    with open_ledger(job.out) as ledger:
        sweep_desks(job.out / PLANS)
        tasks = _tasks(job, scan, ledger)
        outcomes: dict[str, Outcome] = {fault.file: fault for fault in scan.unreadable}
        kept = {} if job.again else _unchanged(tasks, digest, ledger, job.workers)
        outcomes.update(kept)
        try:
            for summary in kept.values():
                listeners.told(summary, False)
            todo = _smallest_first([task for task in tasks if task.file not in kept], scan.parts)
            listeners.begun(len(todo))
            with closing(over_cores(work, todo, job.workers, warmed_by=_is_planned)) as results:
                for task, result in results:
                    outcome = Failure(task.file, DIED) if result is None else result
                    outcomes[task.file] = outcome
                    if isinstance(outcome, PartSummary):
                        ledger.enter(Entry(digest, outcome))
                    listeners.told(outcome, True)
        finally:
            sweep_desks(job.out / PLANS)
            _write_lists(job, head, outcomes)
    failures = tuple(outcome for _, outcome in sorted(outcomes.items()) if isinstance(outcome, Failure))
    return LibraryResult(len(outcomes) - len(failures) - len(kept), len(kept), failures, scan.exact_models)


def _is_planned(outcome: object) -> bool:
    return isinstance(outcome, PartSummary)


def _settings_of(job: LibraryJob) -> Settings:
    """The settings, as far as they are the same for all parts; what suits no part at all is refused."""
    # only the size of the part counts here: so large that every cutter suits it
    corners = np.array([[0.0, 0.0, 0.0], [1000.0, 1000.0, 1000.0]])
    options = {OPTION_KEYS.get(name, name): value for name, value in job.options.items()}
    return resolve(Mesh(corners, np.empty((0, 3), np.int32)), job.keys, options, job.subject)


def _digest_of_settings(job: LibraryJob) -> str:
    """Digest of all that a plan depends on beside its model."""
    parts = [package_version(), job.keys, job.options, job.pictures]
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


def _tasks(job: LibraryJob, scan: Scan, ledger: Ledger) -> list[PartTask]:
    given = {file: entry.summary.folder.removeprefix(f"{PLANS}/") for file, entry in ledger.entries.items()}
    places = assign_folders([part.file for part in scan.parts], given)
    return [
        PartTask(part.file, part.path, places[part.file], job.out, job.keys, job.options, job.pictures)
        for part in scan.parts
    ]


def _unchanged(tasks: Sequence[PartTask], digest: str, ledger: Ledger, workers: int) -> dict[str, PartSummary]:
    """Summaries of parts whose plan still holds."""
    held = ledger.entries
    alike = [task for task in tasks if task.file in held and held[task.file].settings == digest]
    alike = [task for task in alike if _has_its_files(task)]
    with ThreadPoolExecutor(workers) as threads:
        contents = list(threads.map(lambda task: _digest_of_file(task.path), alike))
    summaries = [held[task.file].summary for task in alike]
    return {part.file: part for part, content in zip(summaries, contents, strict=True) if content == part.sha256}


def _has_its_files(task: PartTask) -> bool:
    folder = task.out / PLANS / task.place
    files = [folder / "plan.json", folder / "zones.csv", folder / "facets.npz"]
    if task.pictures:
        files += [folder / "zone_map.png", thumbnail_path(task.out, task.place)]
    return all(file.is_file() for file in files)


def _digest_of_file(path: Path) -> str | None:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:  # planning the part will say what is wrong
        return None


def _smallest_first(tasks: list[PartTask], parts: Sequence[FoundPart]) -> list[PartTask]:
    """The quickest part leads: until one is planned the other cores wait (see ``over_cores``)."""
    if not tasks:
        return []
    size_bytes = {part.file: part.size_bytes for part in parts}
    first = min(tasks, key=lambda task: size_bytes[task.file])
    return [first, *(task for task in tasks if task is not first)]


def _write_lists(job: LibraryJob, head: IndexHead, outcomes: Mapping[str, Outcome]) -> None:
    in_order = [outcomes[file] for file in sorted(outcomes)]
    _replace(job.out / "parts.csv", parts_csv(in_order))
    _replace(job.out / "index.html", index_html(head, in_order))


def _index_head(job: LibraryJob, settings: Settings, found: int) -> IndexHead:
    zones = settings.job.zones
    asked = [f"{row.name} {row.value}" for row in settings.record if row.source in ("option", "job file")]
    return IndexHead(
        title=name_below(job.folder.absolute(), job.folder.absolute().parent),
        found=found,
        inches=settings.job.unit == "inch",
        pictures=job.pictures,
        settings=tuple(asked),
        flat_below_deg=zones.flat_below,
        steep_from_deg=zones.steep_from,
        made_with=f"advisor {package_version()}",
        made_on=datetime.datetime.now().astimezone().date().isoformat(),
    )


def _replace(path: Path, text: str) -> None:
    """Write a file beside its place and move it in: readers find the old one or the new one, whole."""
    desk = path.with_name(f".{path.name}.part")
    try:
        desk.write_text(text, encoding="utf-8", newline="\n")
        desk.replace(path)
    except OSError as fault:
        raise InputError(
            str(path), f"cannot be written ({fault.strerror})", "close or free it, then run again"
        ) from fault
