"""What of a part was planned before, as ``plan.json`` says it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class AlikePart:
    """A part of a library that is alike, or a mirror image: `folder` is its plan, relative to the library."""

    file: str
    folder: str
    difference_share: float


@dataclass(frozen=True)
class AlikeZone:
    """A zone of this part, and the zone of a part in a library that is most like it, or like its mirror image."""

    zone: int
    file: str
    folder: str
    like_zone: int
    like_zone_name: str
    difference_share: float


@dataclass(frozen=True)
class PlannedBefore:
    """What a library, the folder of a batch, has that is alike: parts, the most alike first, and a zone for a zone.

    Shares are how far sizes, shapes for their size, and slopes in radians, differ at most. They are a hint to look.
    """

    library: str
    parts: tuple[AlikePart, ...]
    zones: tuple[AlikeZone, ...]
