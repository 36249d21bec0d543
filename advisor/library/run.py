"""A folder of models becomes a folder of plans: what is new or changed is planned, the rest is kept."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from advisor.advice.advise import package_version
from advisor.advice.settings import Settings, resolve
from advisor.errors import InputError
from advisor.intake.door import OPTION_KEYS
from advisor.library.ledger import Ledger, LedgerPart, State, open_ledger
from advisor.library.lists import LISTS, BatchHead, retry_command, write_lists
from advisor.library.lost import failure_of
from advisor.library.patterns import ALL_FILES, Patterns
from advisor.library.places import sweep_desks
from advisor.library.pool import Crew, over_cores
from advisor.library.quantities import ONE_EACH, Quantities
from advisor.library.scan import Scan, name_below, scan_folder
from advisor.library.slot import NO_LIMITS, Limits, Lost
from advisor.library.store import FolderStore, ObjectStore
from advisor.library.summary import Failure, Outcome, PartSummary, summary_from_json
from advisor.library.work import PLANS, THUMBNAILS, PartTask, files_of, plan_one, store_of
from advisor.part.mesh import Mesh

# So many failures are told one by one at the end; all are in the lists.
MOST_TOLD = 50
# Questions to a store that are on their way at once: each takes some hundredths of a second, nearly all of it waiting.
_ASKED_AT_ONCE = 16


@dataclass(frozen=True)
class LibraryJob:
    """Parts to plan, where to, and how: ``keys`` of a job file and ``options`` as ``advisor.plan`` takes them.

    ``only`` are names of parts: the others are left as they are. ``command`` are the words that start this job, as they
    are told to try a part again. Plans and small pictures go to ``store_url`` where it is given, the lists to both.
    """

    folder: Path
    out: Path
    keys: Mapping[str, Any]
    options: Mapping[str, Any]
    subject: str = "options"
    pictures: bool = True
    reports: bool = False
    passes: bool = False
    short: bool = False
    again: bool = False
    workers: int = 1
    limits: Limits = NO_LIMITS
    patterns: Patterns = ALL_FILES
    only: frozenset[str] = frozenset()
    quantities: Quantities = ONE_EACH
    command: tuple[str, ...] = ("advisor", "batch")
    store_url: str | None = None

    @property
    def store(self) -> FolderStore | ObjectStore:
        """Where plans go."""
        return store_of(self.out, self.store_url)

    def holds(self, place: str) -> bool:
        """Whether the plan of a part is there as it was written."""
        return self.store.has(files_of(place, pictures=self.pictures, reports=self.reports))


@dataclass(frozen=True)
class LibraryResult:
    """How a batch ended. ``failed`` counts folders that could not be read too; ``failures`` are the first of them.

    ``unwritten`` are faults of lists that could not be written, a line each; ``not_there`` are parts that the table of
    quantities lists, and the folder does not have.
    """

    planned: int
    unchanged: int
    failed: int
    failures: tuple[Failure, ...]
    exact_models: int
    unwritten: tuple[str, ...] = ()
    not_there: tuple[str, ...] = ()


@dataclass(frozen=True)
class Listeners:
    """Who hears of a batch in work: of its start (parts to plan), and of each part (with whether it is new)."""

    begun: Callable[[int], None] = lambda _to_plan: None
    told: Callable[[Outcome, bool], None] = lambda _outcome, _new: None


@dataclass
class _Tally:
    planned: int = 0
    unchanged: int = 0
    failed: int = 0
    failures: list[Failure] = field(default_factory=list)

    def fail(self, failure: Failure) -> None:
        self.failed += 1
        if len(self.failures) < MOST_TOLD:
            self.failures.append(failure)


def plan_library(
    job: LibraryJob,
    listeners: Listeners | None = None,
    work: Callable[[PartTask], Outcome] = plan_one,
    crew: Crew | None = None,
) -> LibraryResult:
    """Plan every part model of a folder over the cores; nothing is done twice.

    A part is kept as it is while its content, the settings and the version of the program are the same and its
    plan folder is there; the plan of a part with the content of another one is a copy of that. Stopped by an exception
    or Ctrl-C, the plans made so far stay and are listed; killed, they are listed by the next run.

    Parameters
    ----------
    job : LibraryJob
    listeners : Listeners, optional
    work : function of a module that plans one part, called in worker processes.
    crew : Crew, optional
        Who works; the cores of this machine where not given.

    Raises
    ------
    InputError
        Where the folder holds no part models, the settings cannot be used, or ``out`` cannot be written.
    """
    listeners = listeners or Listeners()
    crew = crew or over_cores(job.workers, job.limits)
    scan = scan_folder(job.folder, job.out, job.patterns)
    _check_only(job, scan)
    settings, digest = _settings_of(job), _digest_of_settings(job)
    head = _head(job, settings, len(scan.parts) + len(scan.unreadable))
    tally = _Tally()
    with open_ledger(job.out) as ledger:
        if isinstance(job.store, ObjectStore):
            job.store.begin()
        _sweep(job.out)
        ledger.begin(scan.parts, again=job.again)
        not_there = tuple(sorted(set(job.quantities.pieces) - {part.file for part in scan.parts}))
        exact_models, unreadable = scan.exact_models, scan.unreadable
        del scan  # from here on the ledger has the parts
        for fault in unreadable:
            tally.fail(fault)
        try:
            _sort_out(job, digest, ledger, tally, listeners)
            ledger.find_twins()
            listeners.begun(ledger.count("to do", "twin"))
            for tasks in (_first_tasks(job, ledger), _twin_tasks(job, ledger, tally, listeners)):
                _work_off(job, digest, ledger, tally, listeners, crew(work, tasks, warmed_by=_is_planned))
        finally:
            ledger.save_rest()
            _sweep(job.out)
            unwritten = write_lists(job.out, head, ledger.outcomes, unreadable)
            unwritten += _lists_in_store(job)
    failures = tuple(sorted(tally.failures, key=lambda fault: fault.file))
    return LibraryResult(
        tally.planned, tally.unchanged, tally.failed, failures, exact_models, tuple(unwritten), not_there
    )


def _sweep(out: Path) -> None:
    for folder in (PLANS, THUMBNAILS):
        sweep_desks(out / folder)


def _lists_in_store(job: LibraryJob) -> list[str]:
    """Bring the lists to where the plans are, so that links in them hold; a line where that does not go."""
    if not isinstance(job.store, ObjectStore):
        return []
    try:
        job.store.put_files(job.out, [name for name in LISTS if (job.out / name).is_file()])
    except InputError as fault:
        return [str(fault)]
    return []


def _is_planned(outcome: object) -> bool:
    return isinstance(outcome, PartSummary)


def _work_off(job: LibraryJob, digest: str, ledger: Ledger, tally: _Tally, listeners: Listeners, results: Any) -> None:
    """Note each outcome as it comes."""
    with closing(results):
        for task, result in results:
            outcome: Outcome = failure_of(task.file, result, job.limits) if isinstance(result, Lost) else result
            if isinstance(outcome, PartSummary):
                outcome = ledger.enter(outcome, _key(outcome.sha256, outcome.file, digest))
            else:
                outcome = ledger.fail(outcome)
            _count(outcome, tally, listeners)


def _count(outcome: Outcome, tally: _Tally, listeners: Listeners) -> None:
    if isinstance(outcome, PartSummary):
        tally.planned += 1
    else:
        tally.fail(outcome)
    listeners.told(outcome, True)


def _sort_out(job: LibraryJob, digest: str, ledger: Ledger, tally: _Tally, listeners: Listeners) -> None:
    """Tell parts whose plan still holds from those to do."""

    def look(part: LedgerPart) -> tuple[LedgerPart, State, str | None]:
        content = _digest_of_file(job.folder / part.way)
        wanted = None if content is None else _key(content, part.file, digest)
        return part, _state(job, part, wanted), wanted

    at_once = job.workers if job.store_url is None else max(job.workers, _ASKED_AT_ONCE)
    with ThreadPoolExecutor(at_once) as threads:
        for page in ledger.found():
            told = list(threads.map(look, page))
            tally.unchanged += sum(state == "planned" for _, state, _ in told)
            ledger.sort_out(told)
            for part, state, _ in told:
                summary = part.summary if state == "planned" else None
                if summary is not None:
                    listeners.told(summary_from_json(summary), False)


def _state(job: LibraryJob, part: LedgerPart, wanted: str | None) -> State:
    holds = wanted is not None and part.key == wanted and part.summary is not None
    if holds and job.holds(part.place):
        return "planned"
    if job.only and part.file not in job.only:
        return "failed" if part.state == "failed" else "left"
    return "to do"


def _first_tasks(job: LibraryJob, ledger: Ledger) -> Iterator[PartTask]:
    """Parts to plan, the smallest first: until one is planned the other cores wait (see ``pool``)."""
    first = ledger.quickest()
    if first is None:
        return
    yield _task(job, ledger, first)
    for part in ledger.in_state("to do"):
        if part.file != first.file:
            yield _task(job, ledger, part)


def _twin_tasks(job: LibraryJob, ledger: Ledger, tally: _Tally, listeners: Listeners) -> Iterator[PartTask]:
    """Parts whose content has been planned under another name; what failed there is not tried again here."""
    for part in ledger.in_state("twin"):
        failed = None if part.wanted is None else ledger.failed(part.wanted)
        if failed is None:
            yield _task(job, ledger, part)
        else:
            reason = f"{failed.reason} (the same content as {failed.file})"
            _count(ledger.fail(Failure(part.file, reason, failed.more)), tally, listeners)


def _task(job: LibraryJob, ledger: Ledger, part: LedgerPart) -> PartTask:
    # workers on other machines stand in other folders
    folder, out = job.folder.absolute(), job.out.absolute()
    return PartTask(
        part.file, folder / part.way, part.place, out, job.keys, job.options, job.pictures, job.reports, job.passes,
        job.short, _place_of_same(job, ledger, part), job.store_url,
    )  # fmt: skip


def _place_of_same(job: LibraryJob, ledger: Ledger, part: LedgerPart) -> str | None:
    """Where a plan of the same content and settings lies that stays as it is."""
    held: Iterable[LedgerPart] = () if part.wanted is None else ledger.settled(part.wanted)
    for other in held:
        if other.file != part.file and job.holds(other.place):
            return other.place
    return None


def _check_only(job: LibraryJob, scan: Scan) -> None:
    missing = sorted(job.only - {part.file for part in scan.parts}) if job.only else []
    if missing:
        problem = f"there is no part {missing[0]!r} in {job.folder}"
        raise InputError("--only", problem, "give a name as the index and parts.csv have it")


def _settings_of(job: LibraryJob) -> Settings:
    """The settings, as far as they are the same for all parts; what suits no part at all is refused."""
    # only the size of the part counts here: so large that every cutter suits it
    corners = np.array([[0.0, 0.0, 0.0], [1000.0, 1000.0, 1000.0]])
    options = {OPTION_KEYS.get(name, name): value for name, value in job.options.items()}
    return resolve(Mesh(corners, np.empty((0, 3), np.int32)), job.keys, options, job.subject)


def _digest_of_settings(job: LibraryJob) -> str:
    """Digest of all that a plan depends on beside its model."""
    parts = [package_version(), job.keys, job.options, job.pictures, job.reports, job.passes, job.short]
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


def _key(content: str, file: str, settings: str) -> str:
    """Digest of all that a plan depends on; the format of a model is told by its suffix."""
    return hashlib.sha256(f"{content} {Path(file).suffix.lower()} {settings}".encode()).hexdigest()


def _digest_of_file(path: Path) -> str | None:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:  # planning the part will say what is wrong
        return None


def _head(job: LibraryJob, settings: Settings, found: int) -> BatchHead:
    zones = settings.job.zones
    asked = [f"{row.name} {row.value}" for row in settings.record if row.source in ("option", "job file")]
    return BatchHead(
        title=name_below(job.folder.absolute(), job.folder.absolute().parent),
        found=found,
        inches=settings.job.unit == "inch",
        pictures=job.pictures,
        reports=job.reports,
        settings=tuple(asked),
        flat_below_deg=zones.flat_below,
        steep_from_deg=zones.steep_from,
        made_with=f"advisor {package_version()}",
        made_on=datetime.datetime.now().astimezone().date().isoformat(),
        quantities=job.quantities,
        retry=lambda failure: retry_command(job.command, failure),
    )
