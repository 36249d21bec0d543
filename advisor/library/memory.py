"""Memory that a part may use where nobody says."""

from __future__ import annotations

import psutil

# The rest is for the system and for the process that leads.
_SHARE_FOR_PARTS = 0.8


def share_of_memory_bytes(parts_at_once: int) -> int:
    """A part's share of the memory of this machine."""
    return int(_SHARE_FOR_PARTS * psutil.virtual_memory().total / parts_at_once)
