"""Results that outlast one plan: what a changed setting does not touch is not worked out again.

A plan is a walk over results that hang on one another: the map on thresholds, ball and target; reach on the map and the
tools; advice on both and on stages and material. Each is kept under all that it hangs on, so that the next plan of the
part takes up what it finds. Nothing is kept of a plan that is made once: see ``NOT_KEPT``.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar

_Result = TypeVar("_Result")

# Results of one kind that are kept: that of now and the one before, for the map of a large part takes 100 megabytes.
_KEPT_OF_A_KIND = 2


class Kept:
    """Results by kind and by all that they hang on; of each kind the few that were last asked for.

    Several threads may ask at once: what two of them want at the same time is worked out twice, to the same end.

    Parameters
    ----------
    most : int
        Results of one kind. Advice is kept zone by zone and has room for ``most`` maps of many zones.
    """

    def __init__(self, most: int = _KEPT_OF_A_KIND) -> None:
        self._most = most
        self._held: dict[str, OrderedDict[Hashable, Any]] = {}
        self._lock = Lock()

    def once(self, kind: str, key: Hashable, make: Callable[[], _Result], times: int = 1) -> _Result:
        """What is kept under a key, made where nothing is; of a kind ``times`` as many are kept as of others."""
        with self._lock:
            held = self._held.setdefault(kind, OrderedDict())
            if key in held:
                held.move_to_end(key)
                found: _Result = held[key]
                return found
        made = make()
        if self._most > 0:
            with self._lock:
                held[key] = made
                while len(held) > self._most * times:
                    held.popitem(last=False)
        return made

    def newest(self, kind: str) -> tuple[Hashable, Any] | None:
        """The key and the result of a kind that was last asked for; None where none is kept."""
        with self._lock:
            held = self._held.get(kind)
            return next(reversed(held.items())) if held else None


# For plans that are made once.
NOT_KEPT = Kept(most=0)
