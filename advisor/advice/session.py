"""One person at work on one part: settings and zones are changed, taken back, and planned again.

A state of the work is the keys of a job file and nothing else: what is changed by hand is a ``[[zone]]`` entry. So the
job of a session gives the same plan wherever it is planned. Results that a change does not touch are kept (``kept``).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from advisor.advice.advise import sketch
from advisor.advice.draw_zones import Drawn, draw_zones, map_key
from advisor.advice.ground import zone_ids
from advisor.advice.kept import Kept
from advisor.advice.overrides import ZoneWishes, zone_wishes
from advisor.advice.progress import Progress, silent
from advisor.advice.settings import Settings, resolve, with_options
from advisor.advice.setups import ONE, plan_part
from advisor.advice.zone_entries import Entry, Keys, joined, with_entry, without_entry
from advisor.advice.zone_point import point_within
from advisor.errors import InputError
from advisor.model import Plan
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Ints
from advisor.zones.cut_lines import CutSurface

# States that can be gone back to.
_MOST_STATES = 200


@dataclass(frozen=True)
class _State:
    """Keys of a job; ``drag`` names the movement of a control that it is part of, so that the next step replaces it."""

    keys: Keys
    drag: str | None = None


def state_key(keys: Keys) -> str:
    """A state of the work as text, to find again what was made of it."""
    return json.dumps(keys, sort_keys=True, default=list)


class Session:
    """Work on a part.

    Parameters
    ----------
    part : MeasuredPart
    keys : mapping, optional
        Keys of a job file to begin with.
    subject : str
        Opens error lines.

    Raises
    ------
    InputError
        Where the job cannot be used.
    """

    def __init__(self, part: MeasuredPart, keys: Keys | None = None, subject: str = "job") -> None:
        self.part, self.subject = part, subject
        self._kept = Kept()
        self._states = [_State(self._checked(keys or {}))]
        self._now = 0

    @property
    def keys(self) -> Keys:
        """The job as it is now, as keys of a job file."""
        return self._states[self._now].keys

    @property
    def first_keys(self) -> Keys:
        """The job that the work began with."""
        return self._states[0].keys

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The ``[[zone]]`` entries of the job."""
        return tuple(self.keys.get("zone", ()))

    def settings(self) -> Settings:
        """The job as it is now, resolved against the part."""
        return self._resolved(self.keys)

    # -- planning

    def sketch(self, progress: Progress = silent) -> Plan:
        """Zones and advice for what is asked now, quickly; see ``advice.advise.sketch``."""
        settings = self.settings()
        if settings.job.setups != ONE:
            return plan_part(self.part, settings, progress=progress)
        return sketch(self.part, settings, self._kept, progress)

    def plan(self, progress: Progress = silent, *, lays_passes: bool = False) -> Plan:
        """The plan of what is asked now, the same as the command line makes of its job."""
        return plan_part(self.part, self.settings(), lays_passes=lays_passes, progress=progress, kept=self._kept)

    def cut_surface(self) -> CutSurface | None:
        """The surface that the plan of now is drawn on; None for a plan in several set-ups."""
        settings = self.settings()
        return None if settings.job.setups != ONE else self._drawn(settings).zoning.surface

    def zones_of_entries(self) -> tuple[int, ...]:
        """Zone of the plan that each ``[[zone]]`` entry speaks of; -1 where it leaves it out, or in several set-ups."""
        settings = self.settings()
        if not self.entries or settings.job.setups != ONE:
            return (-1,) * len(self.entries)
        wishes, ids = self._wishes(settings)
        return tuple(int(ids[number]) for number in wishes.zones)

    def _wishes(self, settings: Settings) -> tuple[ZoneWishes, Ints]:
        drawn = self._drawn(settings)
        shapes = [told.shape for told in drawn.shapes]
        key = (map_key(settings), settings.job.zone)
        wishes = self._kept.once(
            "wishes", key, lambda: zone_wishes(drawn.zoning, shapes, settings.job.zone, settings.subject)
        )
        return wishes, zone_ids(len(shapes), wishes)

    def _drawn(self, settings: Settings) -> Drawn:
        part = self.part
        return draw_zones(part.mesh, part.smooth, part.bends, settings, kept=self._kept)

    # -- back and forth

    @property
    def memory(self) -> tuple[tuple[_State, ...], int]:
        """All states and which is now: put back, nothing has happened since."""
        return tuple(self._states), self._now

    @memory.setter
    def memory(self, memory: tuple[tuple[_State, ...], int]) -> None:
        states, self._now = memory
        self._states = list(states)

    @property
    def keys_before(self) -> Keys | None:
        """The job before the last change; None where there was none."""
        return self._states[self._now - 1].keys if self._now > 0 else None

    @property
    def can_undo(self) -> bool:
        """Whether there is a state before this one."""
        return self._now > 0

    @property
    def can_redo(self) -> bool:
        """Whether a state was gone back from."""
        return self._now + 1 < len(self._states)

    def undo(self) -> None:
        """Back to the state before, if there is one."""
        self._now = max(self._now - 1, 0)

    def redo(self) -> None:
        """Forward again to the state that was gone back from, if there is one."""
        self._now = min(self._now + 1, len(self._states) - 1)

    # -- changes: each is refused whole where the job could not be used after it

    def begin(self, keys: Keys) -> None:
        """Take another job, as one change."""
        self._put(keys)

    def set(self, options: Mapping[str, Any], drag: str | None = None) -> None:
        """Change settings.

        Parameters
        ----------
        options : mapping
            As of ``advice.settings.resolve``: ``ball``, ``cusp``, ``stepover``, and dotted keys of the job. None takes
            a setting out of the job.
        drag : str, optional
            Name of a movement: its steps are one change.
        """
        keys = with_options(self.keys, {name: value for name, value in options.items() if value is not None})
        for name in (name for name, value in options.items() if value is None):
            section, _, key = name.rpartition(".")
            held = keys.get(section, {}) if section else keys
            held.pop(key, None)
        self._put(keys, drag)

    def lock(self, zone: int, strategy: str | None) -> None:
        """Ask for a strategy in a zone; None leaves it to the advice again."""
        self._change(zone, {"strategy": strategy})

    def rename(self, zone: int, name: str | None) -> None:
        """Give a zone a name; None gives it back its own."""
        self._change(zone, {"name": name or None})

    def exclude(self, zone: int) -> None:
        """Leave a zone out of the plan; ``forget`` its entry to bring it back."""
        self._change(zone, {"exclude": True, "protect": None})

    def protect(self, zone: int, wanted: bool) -> None:
        """Keep passes off a zone, or let them on it again."""
        change = {"protect": True, "strategy": None, "exclude": None} if wanted else {"protect": None}
        self._change(zone, change)

    def join(self, zones: Sequence[int]) -> None:
        """Make one zone of several that touch."""
        if len(set(zones)) < 2:
            raise InputError("join", "one zone alone cannot be joined", "choose two zones or more that touch")
        self._put({**self.keys, "zone": joined(self.entries, [self._named(zone) for zone in dict.fromkeys(zones)])})

    def split(self, zone: int) -> None:
        """Take apart a zone: what was joined by hand, else into its surfaces of one slope class."""
        at, places = self._named(zone)
        merged = [place for place in places if self.entries[place].get("merge")]
        if merged:
            self._put({**self.keys, "zone": with_entry(self.entries, at, merged, {"merge": None})})
        else:
            self._change(zone, {"split": True})

    def forget(self, place: int) -> None:
        """Take back a ``[[zone]]`` entry, by its place in the job."""
        if not 0 <= place < len(self.entries):
            raise InputError("zone", f"there is no entry {place}", "look at the list again")
        self._put({**self.keys, "zone": without_entry(self.entries, place)})

    def _change(self, zone: int, change: Mapping[str, Any]) -> None:
        at, places = self._named(zone)
        self._put({**self.keys, "zone": with_entry(self.entries, at, places, change)})

    def _named(self, zone: int) -> tuple[tuple[float, float, float], list[int]]:
        """A point deep inside a zone of the plan, and the places of the entries that speak of it already."""
        settings = self.settings()
        if settings.job.setups != ONE:
            raise InputError("setups", "zones are changed by hand in a single set-up", 'set setups = "one"')
        drawn = self._drawn(settings)
        wishes, ids = self._wishes(settings)
        found = np.flatnonzero(ids == zone)
        if zone < 1 or len(found) == 0:
            raise InputError("zone", f"there is no zone {zone}", "choose one of the list")
        number = int(found[0])
        places = [place for place, one in enumerate(wishes.zones) if one == number]
        return point_within(drawn.zoning.surface.mesh, drawn.zoning.zone, number), places

    def _put(self, keys: Keys, drag: str | None = None) -> None:
        state = _State(self._checked({name: value for name, value in keys.items() if value not in ({}, [], ())}), drag)
        before = self._states[self._now]
        if state.keys == before.keys:
            return
        keep = self._now if drag is not None and before.drag == drag and self._now > 0 else self._now + 1
        self._states = [*self._states[:keep], state]
        if len(self._states) > _MOST_STATES:
            # the first stays: it is what totals are compared with
            del self._states[1]
        self._now = len(self._states) - 1

    def _checked(self, keys: Keys) -> Keys:
        self._resolved(keys)
        return keys

    def _resolved(self, keys: Keys) -> Settings:
        return self._kept.once(
            "settings", state_key(keys), lambda: resolve(self.part.mesh, keys, {}, self.subject, self.part)
        )
