"""Work that takes longer than a person waits: it tells how far it is, stops when asked, and fails alone."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any, Final

from advisor.advice.progress import Progress
from advisor.errors import InputError

_log = logging.getLogger(__name__)

RUNNING, DONE, FAILED, STOPPED = "running", "done", "failed", "stopped"
_FINISHED: Final = (DONE, FAILED, STOPPED)


class Stopped(BaseException):
    """Raised by progress in work that was told to stop; no handler of faults in between may take it for one."""


class Errand:
    """One piece of work in a thread of its own.

    Parameters
    ----------
    kind : str
        What the page calls it.
    work : callable
        Is given a ``Progress`` that raises ``Stopped`` once the errand is to stop. What it returns is not kept.
    """

    def __init__(self, kind: str, work: Callable[[Progress], object]) -> None:
        self.kind, self._work = kind, work
        self._state, self._what, self._share, self._fault = RUNNING, "starting", 0.0, ""
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, name=f"errand {kind}", daemon=True)
        self._thread.start()

    @property
    def is_running(self) -> bool:
        """Whether it has not come to an end yet."""
        return self._state == RUNNING

    def stop(self) -> None:
        """Ask it to end: it does so where it next tells how far it is."""
        self._stop.set()

    def wait(self, seconds: float | None = None) -> None:
        """Wait for its end."""
        self._thread.join(seconds)

    def told(self) -> dict[str, Any]:
        """How far it is."""
        with self._lock:
            told = {"kind": self.kind, "state": self._state, "what": self._what, "share": round(self._share, 4)}
            return {**told, "fault": self._fault} if self._fault else told

    def _progress(self, what: str, share: float) -> None:
        if self._stop.is_set():
            raise Stopped
        with self._lock:
            self._what, self._share = what, max(min(share, 1.0), 0.0)

    def _run(self) -> None:
        try:
            self._work(self._progress)
        except Stopped:
            self._end(STOPPED)
        except InputError as fault:
            self._end(FAILED, str(fault))
        except MemoryError:
            self._end(FAILED, "this asks for more memory than there is; try a smaller part")
        except Exception as fault:  # whatever it is, it is this work's alone: the page and the others go on
            _log.exception("errand %s", self.kind)
            self._end(FAILED, f"a fault of the program ({type(fault).__name__}); please report it")
        else:
            self._end(DONE)

    def _end(self, state: str, fault: str = "") -> None:
        with self._lock:
            self._state, self._fault = state, fault
            if state == DONE:
                self._share = 1.0


NOTHING: Final = {"kind": "", "state": DONE, "what": "", "share": 1.0}
