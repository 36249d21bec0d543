"""A room: one person's work on one part behind the page, with a private folder that goes when the room does."""

from __future__ import annotations

import shutil
import tempfile
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Final, cast, get_args
from zipfile import BadZipFile, ZipFile, is_zipfile

from advisor.advice.progress import Progress
from advisor.advice.session import Session, state_key
from advisor.advice.setups import ONE
from advisor.advice.zone_entries import Keys
from advisor.errors import InputError
from advisor.intake.door import part_of_keys
from advisor.job import load_job, parse_up
from advisor.model import Plan
from advisor.pack.colour_map import ColourMode
from advisor.pack.job_toml import job_toml
from advisor.pack.maps import colour_map, modes_of
from advisor.pack.pass_lines import pass_segments
from advisor.screen.web.errand import NOTHING, Errand
from advisor.screen.web.packed import packed
from advisor.screen.web.proof import proved_plan
from advisor.screen.web.told_map import Shown, map_told, middle_of, paint_told, part_told, shown
from advisor.screen.web.told_words import Sums, card_words, plan_words, sums_of

JOB_SUFFIX: Final = ".toml"
# What the page is told where nothing has been loaded yet.
_EMPTY: Final = InputError("page", "there is no part here yet", "drop a part model on the page")
_MOST_SEEN: Final = 400
_LAST_WAIT_SECONDS: Final = 1.0
# Text of a packed model of the largest size that is taken.
_MOST_UNPACKED_BYTES: Final = 1_500_000_000
# Plans that are kept whole, for back and forth.
_MOST_ANSWERS: Final = 4


@dataclass(frozen=True)
class _Answer:
    """A plan of a state, and whether more than a sketch."""

    key: str
    plan: Plan
    drawn: Shown
    settled: bool


@dataclass(frozen=True)
class Upload:
    """A file as it was sent: its name as the page calls it, which no path is made of, and where it lies."""

    name: str
    path: Path


class Room:
    """Work on a part; every method may be called from any thread."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="advisor-room-"))
        self.last_used = time.monotonic()
        self._lock = threading.RLock()
        self._session: Session | None = None
        self._upload: Upload | None = None
        self._answer: _Answer | None = None
        self._answers: OrderedDict[str, _Answer] = OrderedDict()
        self._seen: dict[str, Sums] = {}
        self._errand: Errand | None = None
        self._made: Path | None = None

    # -- files in

    def load(self, upload: Upload, keys: Keys | None = None, unit: str | None = None) -> None:
        """Begin work on a part, or take a job for the part that is here; see ``errand`` for how far it is."""
        if upload.path.suffix == JOB_SUFFIX:
            self.start("load", lambda progress: self._load_job(upload, progress))
        else:
            begun = dict(keys or {}) if unit is None else {**(keys or {}), "unit": unit}
            self.start("load", lambda progress: self._load_part(upload, begun, progress))

    def in_unit(self, unit: str) -> None:
        """Read the part again, its lengths taken as of another unit."""
        session, upload = self._held(), self._upload
        assert upload is not None
        keys = {**session.keys, "unit": unit}
        self.start("load", lambda progress: self._load_part(upload, keys, progress))

    def _load_part(self, upload: Upload, keys: Keys, progress: Progress) -> None:
        progress("reading the part", 0.0)
        with _named(upload):
            _check_unpacked_size(upload.path)
            part = part_of_keys(upload.path, keys)
        stem = Path(upload.name).stem or upload.name
        part = replace(part, record=replace(part.record, file=upload.name, name=stem))
        progress("the smooth surface behind its facets", 0.2)
        _ = part.smooth
        progress("curvatures", 0.5)
        _ = part.bends
        progress("zones and advice", 0.6)
        session = Session(part, keys)
        plan = session.sketch(lambda what, share: progress(what, 0.6 + 0.4 * share))
        with self._lock:
            before, self._session, self._upload = self._upload, session, upload
            self._seen, self._answer = {}, None
            self._answers.clear()
            self._take(session, plan, settled=_is_whole(session))
        if before is not None and before.path != upload.path and before.path.parent == self.folder:
            before.path.unlink(missing_ok=True)  # what was named on the command line is not ours to remove

    def _load_job(self, upload: Upload, progress: Progress) -> None:
        try:
            with _named(upload):
                _, keys = load_job(upload.path)
        finally:
            upload.path.unlink(missing_ok=True)
        session, held = self._held(), self._upload
        assert held is not None
        if keys.get("unit") is not None and _unit_of(keys) != session.part.record.unit:
            self._load_part(held, keys, progress)
            return
        progress("zones and advice", 0.0)
        session.begin(keys)
        plan = session.sketch(progress)
        with self._lock:
            self._take(session, plan, settled=_is_whole(session))

    # -- what is asked

    def ask(self, change: Callable[[Session], None], mode: ColourMode) -> bytes:
        """Change something and tell what follows from it; work in hand for the state before is stopped."""
        session = self._held()
        with self._lock:
            if self._errand is not None and self._errand.kind != "load":
                self._errand.stop()
            memory = session.memory
            change(session)
            key = state_key(session.keys)
            if key in self._answers:
                self._answer = self._answers[key]
                return self._told(session, self._answer, mode)
        try:
            plan = session.sketch()
        except InputError:
            # a wish that shows itself impossible on the map: zones that do not touch, a point off the part
            with self._lock:
                session.memory = memory
            raise
        with self._lock:
            if state_key(session.keys) == key:
                self._take(session, plan, settled=_is_whole(session))
        return self.map(mode)

    def map(self, mode: ColourMode) -> bytes:
        """Zones, paints and words of the plan there is."""
        session, answer = self._held(), self._there()
        return self._told(session, answer, mode)

    def paint(self, mode: ColourMode) -> bytes:
        """Paints alone."""
        session, answer = self._held(), self._there()
        told, arrays = paint_told(session.part, answer.drawn, _mode_there(answer.plan, mode))
        return packed(told, arrays)

    def passes(self) -> bytes:
        """Passes of the last stage, on the part as it is drawn."""
        session, answer = self._held(), self._there()
        segments, stride = pass_segments(answer.plan)
        return packed({"stride": stride}, {"segments": (segments - middle_of(session.part)).astype("<f4")})

    def part(self) -> bytes:
        """The part as it is drawn."""
        session, answer = self._held(), self._there()
        axes = [setup.tool_axis for setup in answer.plan.record.setups] or [parse_up(session.settings().job.up)]
        told, arrays = part_told(session.part, axes)
        return packed(told, arrays)

    def card(self, zone: int) -> dict[str, Any]:
        """The card of a zone."""
        session, answer = self._held(), self._there()
        found = next((one for one in answer.plan.zones if one.id == zone), None)
        if found is None:
            raise InputError("zone", f"there is no zone {zone}", "choose one of the list")
        return card_words(session, answer.plan, found)

    def job(self) -> str:
        """The job as a file."""
        session = self._held()
        return job_toml(session.keys, f"For {session.part.record.file}.")

    @property
    def name(self) -> str:
        """What files of this work are called."""
        session = self._held()
        return session.part.record.name

    # -- errands

    def start(self, kind: str, work: Callable[[Progress], object]) -> None:
        """Begin an errand in place of the one there is."""
        with self._lock:
            if self._errand is not None:
                self._errand.stop()
            self._errand = Errand(kind, work)

    def errand(self) -> dict[str, Any]:
        """How far the errand is."""
        errand = self._errand
        return dict(NOTHING) if errand is None else errand.told()

    def stop(self) -> None:
        """Stop the errand."""
        if self._errand is not None:
            self._errand.stop()

    def settle(self) -> None:
        """Make the whole plan of what is asked now, in place of its sketch."""
        self._held()
        self.start("settle", partial(self._settle, proves=False))

    def prove(self) -> None:
        """Lay the passes of what is asked now, and cut them virtually."""
        self._held()
        self.start("prove", partial(self._settle, proves=True))

    def write_folder(self) -> None:
        """Make the plan folder, packed into one file, of what is asked now."""
        self._held()
        self.start("folder", self._write_folder)

    @property
    def made(self) -> Path | None:
        """The packed plan folder, once made."""
        return self._made

    def _settle(self, progress: Progress, *, proves: bool) -> Plan:
        session = self._held()
        key, answer = state_key(session.keys), self._there()
        if answer.key == key and (answer.plan.passes is not None or (answer.settled and not proves)):
            return answer.plan
        plan = proved_plan(session, self.folder, progress) if proves else session.plan(progress)
        with self._lock:
            if state_key(session.keys) == key:
                self._take(session, plan, settled=True)
        return plan

    def _write_folder(self, progress: Progress) -> None:
        from advisor.pack.folder import write_plan_folder

        plan = self._settle(lambda what, share: progress(what, 0.6 * share), proves=False)
        progress("pictures and report", 0.6)
        desk = Path(tempfile.mkdtemp(prefix="plan-", dir=self.folder))
        write_plan_folder(plan, desk / "plan")
        (desk / "plan" / "job.toml").write_text(self.job(), encoding="utf-8", newline="\n")
        progress("packing", 0.95)
        made = Path(shutil.make_archive(str(desk / "packed"), "zip", desk / "plan"))
        shutil.rmtree(desk / "plan")
        before, self._made = self._made, made
        if before is not None:
            shutil.rmtree(before.parent, ignore_errors=True)

    # -- within

    def close(self) -> None:
        """End all work and take the folder away."""
        if self._errand is not None:
            self._errand.stop()
            # a child process is ended by the thread that waits for it
            self._errand.wait(_LAST_WAIT_SECONDS)
        shutil.rmtree(self.folder, ignore_errors=True)

    def _held(self) -> Session:
        self.last_used = time.monotonic()
        if self._session is None:
            raise _EMPTY
        return self._session

    def _there(self) -> _Answer:
        if self._answer is None:
            raise _EMPTY
        return self._answer

    def _take(self, session: Session, plan: Plan, *, settled: bool) -> None:
        """Keep a plan of the state of now as what the page shows."""
        drawn = shown(session.part, plan, session.cut_surface())
        key = state_key(session.keys)
        self._answer = _Answer(key, plan, drawn, settled)
        self._answers[key] = self._answer
        self._answers.move_to_end(key)
        while len(self._answers) > _MOST_ANSWERS:
            self._answers.popitem(last=False)
        self._seen[key] = sums_of(plan)
        while len(self._seen) > _MOST_SEEN:
            del self._seen[next(key for key in self._seen)]

    def _told(self, session: Session, answer: _Answer, mode: ColourMode) -> bytes:
        colours = colour_map(answer.plan, _mode_there(answer.plan, mode))
        told, arrays = map_told(session.part, answer.drawn, colours)
        words = plan_words(session, answer.plan, self._seen)
        return packed({**told, **words, "settled": answer.settled}, arrays)


def mode_named(words: str) -> ColourMode:
    """A colour mode by name; slope classes where there is none of that name."""
    return cast("ColourMode", words) if words in get_args(ColourMode) else "class"


def _check_unpacked_size(path: Path) -> None:
    """Refuse packed models that say they hold more than a file may: unpacking them would fill the memory."""
    if path.suffix != ".3mf" or not is_zipfile(path):
        return
    try:
        with ZipFile(path) as packed:
            told = sum(entry.file_size for entry in packed.infolist())
    except BadZipFile:  # the reader says so in its own words
        return
    if told > _MOST_UNPACKED_BYTES:
        raise InputError(str(path), "holds more than can be unpacked here", "plan it with `advisor plan`")


def _is_whole(session: Session) -> bool:
    """Whether a sketch of a session is its plan: in several set-ups there is no shorter way."""
    return session.settings().job.setups != ONE


def _mode_there(plan: Plan, mode: ColourMode) -> ColourMode:
    return mode if mode in modes_of(plan) else "class"


def _unit_of(keys: Mapping[str, Any]) -> str:
    from advisor.units import unit_name

    return unit_name(keys["unit"])


@contextmanager
def _named(upload: Upload) -> Iterator[None]:
    """Faults of a file that lies in a private folder are told under the name it was sent by."""
    try:
        yield
    except InputError as fault:
        own, problem = (words.replace(str(upload.path), upload.name) for words in (fault.subject, fault.problem))
        raise InputError(own, problem, fault.remedy) from fault
