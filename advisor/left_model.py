"""Records of what is left: places over for other cutters or other passes, and the tools that finish all.

Lengths are mm, angles degrees, unless a name says otherwise. ``None`` means "not computed", never a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PassKind = Literal["corner pass", "groove pass", "another set-up"]


@dataclass(frozen=True)
class Leftover:
    """A connected place that the finishing cutter is too large for, as a job of its own for a smaller one.

    ``id`` counts from 1 in the order of the list; ``FacetArrays.leftover_place`` has it. ``zones`` it lies in, the one
    with most of it first; ``kind`` is ``corner``, or ``groove`` where the cutter does not get down at all.
    ``pass_kind`` names the pass, ``another set-up`` where no ball gets in along this axis. ``middle_mm`` is in the
    part's coordinates. Heights are of material over the surface. ``diameter_mm`` is that of the largest tool asked for
    that gets to nearly all of it and ``tool`` its name, ``path_mm`` what that needs on a flat for the same cusp;
    ``None`` where no tool does. ``fit_diameter_mm`` is measured: of the largest ball on 95 % of what any fits on.

    ``length_mm`` is the length of the corner: of the line in the middle of the place, its branches together.
    ``passes`` lines of that length, ``stepover_mm`` apart, cover it: ``pass_path_mm`` in all, without ways between
    them, ``cutting_min`` at the feed of the tool sequence. ``depth_mm`` is from the part's highest point to the lowest
    of the place. ``stick_out_mm`` is the least length out of the holder (the finishing tool's where the tool has none),
    ``needs_longer_stick_out`` whether that is more than the job's; ``None`` where the job does not say.
    """

    zones: tuple[int, ...]
    kind: Literal["corner", "groove"]
    middle_mm: tuple[float, float, float]
    area_mm2: float
    p95_um: float
    max_um: float
    diameter_mm: float | None
    path_mm: float | None
    id: int = 0
    pass_kind: PassKind | None = None
    fit_diameter_mm: float | None = None
    tool: str | None = None
    length_mm: float | None = None
    stepover_mm: float | None = None
    passes: int | None = None
    pass_path_mm: float | None = None
    cutting_min: float | None = None
    depth_mm: float | None = None
    stick_out_mm: float | None = None
    needs_longer_stick_out: bool | None = None
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class BarePlace:
    """A place that the cutter gets to, but where the last stage's passes leave more than the cusp asked for.

    Found by the virtual cut where passes are laid: over the target and the path tolerance. ``middle_mm`` is a point of
    it, in the part's coordinates; ``max_um`` is the most left, ``None`` where no pass comes near.
    """

    zone: int
    area_mm2: float
    middle_mm: tuple[float, float, float]
    max_um: float | None


@dataclass(frozen=True)
class SequenceStep:
    """One tool of a sequence and what it finishes; ``path_mm`` is area over the step of a flat."""

    tool: str
    diameter_mm: float
    area_mm2: float
    path_mm: float
    cutting_min: float | None


@dataclass(frozen=True)
class ToolSequence:
    """Tools that finish all that any of those asked for gets to, in the least time: large first.

    ``minutes`` has the changes of tools in it; ``None`` where no feed is known, and path decides.
    """

    steps: tuple[SequenceStep, ...]
    minutes: float | None
    why: str
