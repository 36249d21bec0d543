"""What the page may ask of a session, checked: a word and its values become one call."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from advisor.advice.session import Session
from advisor.errors import InputError

# Settings that the page changes; whatever else a job holds is left as it is.
_SETTINGS: Final = frozenset(
    {
        "ball", "cusp", "stepover", "material", "zones.flat_below", "zones.steep_from", "zones.keep_together",
        "machine.axes", "machine.max_spindle", "machine.max_feed",
    }
)  # fmt: skip
_LONGEST: Final = 200
_MOST_ZONES: Final = 1000


def change_of(asked: Mapping[str, Any]) -> Callable[[Session], None]:
    """The change that the page asks for.

    Raises
    ------
    InputError
        Where it makes no sense.
    """
    what = asked.get("do")
    if what == "set":
        return _set(asked)
    if what == "undo":
        return Session.undo
    if what == "redo":
        return Session.redo
    if what in ("lock", "rename"):
        zone, value = _whole(asked, "zone"), _words_or_none(asked, "value")
        return lambda session: session.lock(zone, value) if what == "lock" else session.rename(zone, value)
    if what == "protect":
        zone, wanted = _whole(asked, "zone"), asked.get("value") is True
        return lambda session: session.protect(zone, wanted)
    if what in ("exclude", "split"):
        zone = _whole(asked, "zone")
        return lambda session: session.exclude(zone) if what == "exclude" else session.split(zone)
    if what == "join":
        zones = asked.get("zones")
        if not isinstance(zones, list) or len(zones) > _MOST_ZONES or not all(_is_whole(zone) for zone in zones):
            raise _senseless("zones")
        return lambda session: session.join(zones)
    if what == "forget":
        place = _whole(asked, "place")
        return lambda session: session.forget(place)
    raise _senseless("do")


def _set(asked: Mapping[str, Any]) -> Callable[[Session], None]:
    options, drag = asked.get("options"), _words_or_none(asked, "drag")
    if not isinstance(options, Mapping) or not options or not set(options) <= _SETTINGS:
        raise _senseless("options")
    for name, value in options.items():
        is_plain = value is None or isinstance(value, (bool, int, float)) or _is_short(value)
        if not is_plain:
            raise _senseless(name)
    return lambda session: session.set(options, drag)


def _is_short(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= _LONGEST


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _whole(asked: Mapping[str, Any], name: str) -> int:
    value = asked.get(name)
    if not isinstance(value, int) or isinstance(value, bool):
        raise _senseless(name)
    return value


def _words_or_none(asked: Mapping[str, Any], name: str) -> str | None:
    value = asked.get(name)
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > _LONGEST:
        raise _senseless(name)
    return value


def _senseless(name: str) -> InputError:
    return InputError("page", f"asks for something that is not understood ({name[:40]})", "load the page again")
