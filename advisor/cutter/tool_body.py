"""What of a tool may touch the part: the cutter, the neck and shank behind it, the holder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece, ball_pieces, bull_pieces
from advisor.job import Tool

# Behind the corner a cutter without lengths is as thick as itself, however long: nothing is known to be slimmer.
_NO_LENGTH = 0.0


@dataclass(frozen=True)
class ToolBody:
    """A tool in pieces.

    Attributes
    ----------
    cutter : pieces of the cutting end, heights over its tip
    shank : pieces of neck and shank, heights over the tip; empty where the job does not describe them
    holder : pieces of the holder, heights over its nose; empty where the job does not describe it
    stick_out_mm : length out of the holder; None where the job leaves it open
    """

    cutter: tuple[Piece, ...]
    shank: tuple[Piece, ...]
    holder: tuple[Piece, ...]
    stick_out_mm: float | None = None

    @cached_property
    def behind(self) -> tuple[Piece, ...]:
        """All that follows the cutter, heights over its tip: the holder too where it is known how far up it is."""
        if self.stick_out_mm is None:
            return self.shank
        return self.shank + tuple(replace(piece, base_mm=piece.base_mm + self.stick_out_mm) for piece in self.holder)


def tool_body(tool: Tool, clearance_mm: float) -> ToolBody:
    """The pieces of a tool of the job; shank and holder thicker by a clearance all round."""
    cutter = cutter_pieces(cutter_of(tool))
    return ToolBody(cutter, _shank(tool, tool.diameter / 2, clearance_mm), _holder(tool, clearance_mm), tool.stick_out)


def cutter_of(tool: Tool) -> Cutter:
    """The cutting end of a tool of the job."""
    return Cutter(tool.diameter, tool.corner_radius_mm)


def cutter_pieces(cutter: Cutter) -> tuple[Piece, ...]:
    """The pieces of a cutting end."""
    if cutter.ring_radius_mm == 0.0:
        return ball_pieces(cutter.diameter_mm)
    return bull_pieces(cutter.diameter_mm, cutter.corner_radius_mm)


def _shank(tool: Tool, radius_mm: float, clearance_mm: float) -> tuple[Piece, ...]:
    """Neck and shank, as far as they are thicker than the cutter: thinner ones follow where it went."""
    pieces = []
    flutes = tool.flute_length if tool.flute_length is not None else tool.corner_radius_mm
    if tool.neck_diameter is not None and tool.neck_diameter / 2 > radius_mm:
        pieces.append(_cylinder(tool.neck_diameter / 2 + clearance_mm, flutes))
    if tool.shank_diameter is not None and tool.shank_diameter / 2 > radius_mm:
        pieces.append(_cylinder(tool.shank_diameter / 2 + clearance_mm, flutes + (tool.neck_length or _NO_LENGTH)))
    return tuple(pieces)


def _holder(tool: Tool, clearance_mm: float) -> tuple[Piece, ...]:
    pieces, base = [], 0.0
    for step in tool.holder:
        low = step.diameter / 2 + clearance_mm
        high = low if step.top_diameter is None else step.top_diameter / 2 + clearance_mm
        if high > low:
            pieces.append(Piece(low, 0.0, step.length / (high - low), high, base))
        else:  # what narrows upward is as wide as its foot
            pieces.append(_cylinder(low, base))
        base += step.length
    return tuple(pieces)


def _cylinder(radius_mm: float, base_mm: float) -> Piece:
    return Piece(radius_mm, 0.0, 0.0, radius_mm, base_mm)
