"""Work in processes of their own, each with a limit of time and of memory a task; what runs over is ended."""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, Literal, TypeVar

import psutil

Task = TypeVar("Task")
Result = TypeVar("Result")

# Each worker keeps to one core: these are read when the libraries are first imported.
_THREAD_COUNTS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
# How often a process at work is looked at; each look reads the table of processes once for all of them.
_LOOK_SECONDS = 0.25
# A worker that holds more than this share of its limit between two tasks begins anew: the next task needs the room.
_KEPT_SHARE = 0.5


@dataclass(frozen=True)
class Limits:
    """What a task may use: seconds, and memory of its process with all that it starts; None is no limit."""

    seconds: float | None = None
    memory_bytes: int | None = None


NO_LIMITS = Limits()


@dataclass(frozen=True)
class Lost:
    """In the place of a result: the process ended by itself, or was ended for running over a limit."""

    why: Literal["died", "time", "memory"]


class Slots:
    """Worker processes that are kept from task to task; several threads may run tasks at once."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._idle: list[_Slot] = []
        self._live: set[_Slot] = set()
        self._is_ended = False

    def run(self, work: Callable[[Task], Result], task: Task, limits: Limits) -> Result | Lost:
        """The result of `work` on `task` in a process of its own; what `work` raises is raised here."""
        message = pickle.dumps((work, task))
        slot = self._begun(message)
        if slot is None:
            return Lost("died")
        answer = slot.answer(limits)
        if isinstance(answer, Lost):
            self._end(slot)
            return answer
        self._put_back(slot, limits)
        is_result, told = answer
        if not is_result:
            raise told
        return told  # type: ignore[no-any-return]

    def end(self) -> None:
        """End all processes, those at work too."""
        with self._lock:
            self._is_ended = True
            live = list(self._live)
        for slot in live:
            self._end(slot)

    def _begun(self, message: bytes) -> _Slot | None:
        """A process that has taken the message; None where processes end before they take any."""
        for _ in range(2):  # one that waited may have been ended from outside
            with self._lock:
                if self._is_ended:
                    return None
                slot = self._idle.pop() if self._idle else _Slot()
                self._live.add(slot)
            if slot.begin(message):
                return slot
            self._end(slot)
        return None

    def _put_back(self, slot: _Slot, limits: Limits) -> None:
        if limits.memory_bytes is not None and slot.memory_bytes() > _KEPT_SHARE * limits.memory_bytes:
            self._end(slot)
            return
        with self._lock:
            self._idle.append(slot)

    def _end(self, slot: _Slot) -> None:
        with self._lock:
            self._live.discard(slot)
            if slot in self._idle:
                self._idle.remove(slot)
        slot.end()


class _Slot:
    """One worker process."""

    def __init__(self) -> None:
        environment = {
            **os.environ,
            **dict.fromkeys(_THREAD_COUNTS, "1"),
            "PYTHONPATH": os.pathsep.join(path or str(Path.cwd()) for path in sys.path),
        }
        # in a session of its own, so that Ctrl-C does not reach it; -P keeps modules of the user's folder out
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "advisor.library.slot_child"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, start_new_session=True,
        )  # fmt: skip
        self._answers: SimpleQueue[tuple[bool, Any] | None] = SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def begin(self, message: bytes) -> bool:
        """Hand over a task; False where the process has ended."""
        stream = self._process.stdin
        assert stream is not None
        try:
            pickle.dump(message, stream)
            stream.flush()
        except (OSError, ValueError):  # ValueError: closed by `end`
            return False
        return True

    def answer(self, limits: Limits) -> tuple[bool, Any] | Lost:
        """Whether the work came to its end, and its result or what it raised."""
        began = time.monotonic()
        why: Literal["died", "time", "memory"] = "died"
        while True:
            try:
                told = self._answers.get(timeout=_LOOK_SECONDS)
            except Empty:
                if limits.seconds is not None and time.monotonic() - began > limits.seconds:
                    why = "time"
                elif limits.memory_bytes is not None and self.memory_bytes() > limits.memory_bytes:
                    why = "memory"
                if why != "died":
                    self._kill()
                    return Lost(why)
                continue
            return Lost("died") if told is None else told

    def memory_bytes(self) -> int:
        """Memory held by the process and all that it started; 0 where it has ended."""
        return sum(_held_bytes(number) for number in _TABLE.family(self._process.pid))

    def end(self) -> None:
        """End the process and all that it started."""
        self._kill()
        self._process.wait()
        self._reader.join()
        for stream in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):  # what was not written yet has no reader any more
                stream.close()  # type: ignore[union-attr]

    def _kill(self) -> None:
        if hasattr(os, "killpg"):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGKILL)
        else:
            for number in reversed(_TABLE.family(self._process.pid)):
                with contextlib.suppress(psutil.Error):
                    psutil.Process(number).kill()

    def _read(self) -> None:
        stream = self._process.stdout
        assert stream is not None
        try:
            while True:
                self._answers.put(pickle.load(stream))
        except Exception:  # the end of the process, wherever in an answer it came
            self._answers.put(None)


class _ProcessTable:
    """Who started whom; read anew when it is older than a look."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._read_at = -1.0
        self._children: dict[int, list[int]] = {}

    def family(self, number: int) -> list[int]:
        """A process and all that it started, itself first."""
        with self._lock:
            now = time.monotonic()
            if now - self._read_at > _LOOK_SECONDS / 2:
                self._children = {}
                for process in psutil.process_iter(["ppid"]):
                    self._children.setdefault(process.info["ppid"], []).append(process.pid)
                self._read_at = now
            members = [number]
            for member in members:
                members += self._children.get(member, [])
        return members


_TABLE = _ProcessTable()


def _held_bytes(number: int) -> int:
    try:
        return int(psutil.Process(number).memory_info().rss)
    except psutil.Error:
        return 0
