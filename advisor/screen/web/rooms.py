"""All rooms of a server: each found by a name that cannot be guessed, the ones left alone longest closed first."""

from __future__ import annotations

import secrets
import threading
import time
from typing import Final

from advisor.errors import InputError
from advisor.screen.web.room import Room

_MOST_ROOMS: Final = 48
# A room that nobody has asked for so long is closed when others need room, or at the next look.
_IDLE_SECONDS: Final = 4 * 3600.0
_NAME_BYTES: Final = 18


class Rooms:
    """Rooms by their secret names."""

    def __init__(self, most: int = _MOST_ROOMS) -> None:
        self._most = most
        self._rooms: dict[str, Room] = {}
        self._lock = threading.Lock()

    def open(self) -> str:
        """A new room; its name.

        Raises
        ------
        InputError
            Where all rooms are in use.
        """
        with self._lock:
            now = time.monotonic()
            idle = [name for name, room in self._rooms.items() if now - room.last_used > _IDLE_SECONDS]
            closed = [self._rooms.pop(name) for name in idle]
            if len(self._rooms) >= self._most:
                raise InputError("page", f"{self._most} people are at work already", "close a page that is not needed")
            name = secrets.token_urlsafe(_NAME_BYTES)
            self._rooms[name] = Room()
        for room in closed:
            room.close()
        return name

    def room(self, name: str) -> Room | None:
        """The room of a name."""
        return self._rooms.get(name)

    def close(self, name: str) -> None:
        """Close one room."""
        with self._lock:
            room = self._rooms.pop(name, None)
        if room is not None:
            room.close()

    def close_all(self) -> None:
        """Close every room: nothing stays on the disk."""
        for room in list(self._rooms.values()):
            room.stop()
        for name in list(self._rooms):
            self.close(name)
