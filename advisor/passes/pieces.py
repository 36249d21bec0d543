"""Pieces of passes: what stays of them when some of their points go, and pieces joined into longer ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.pass_pieces import cut_chains
from advisor.part.mesh import Flags, Floats
from advisor.passes.lines import PassLines


@dataclass(frozen=True)
class Places:
    """(k,) places along passes: behind which point, and at which share of the way to the next."""

    at: NDArray[np.int64]
    share: Floats

    def interpolated(self, value: Floats) -> Floats:
        """(k, ...) what (n, ...) values at the points of the passes are there."""
        blend = np.array(value[self.at])
        rows = np.flatnonzero(self.share > 0.0)
        share = self.share[rows].reshape(-1, *[1] * (value.ndim - 1))
        ahead = value[self.at[rows] + 1]
        # what stands at an end that has no share may be infinite
        behind = np.where(share < 1.0, blend[rows], ahead)
        blend[rows] = (1.0 - share) * behind + share * ahead
        return blend


@dataclass(frozen=True)
class LedPoint:
    """The point of a cutter that is led in planes, seen from where it touches the surface.

    Attributes
    ----------
    along_normal_mm : float
        Corner radius for the middle of the ball (or of a bull-nose's corner), 0 for the contact itself.
    outward_mm : float
        Out from there, square to the tool axis: the ring radius of a bull-nose for the middle of its ring.
    """

    along_normal_mm: float
    outward_mm: float


CONTACT = LedPoint(0.0, 0.0)


def no_passes() -> PassLines:
    """An empty family."""
    return PassLines(
        np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(1, np.int64), np.zeros(0, np.int32), np.zeros(0, bool)
    )


def along_segments(lines: PassLines, places: Places, led: LedPoint, axis: Floats) -> tuple[Floats, Floats]:
    """(k, 3) contacts and unit normals between points of passes, with the led point on the straight way between theirs.

    Parameters
    ----------
    led : LedPoint
        What moves straight: the middle of a cutter on a machine, whatever the passes were drawn by.
    """
    contact, normal = lines.contact_mm[places.at], lines.normal[places.at]
    rows = np.flatnonzero(places.share > 0.0)
    between = Places(places.at[rows], places.share[rows])
    turned = between.interpolated(lines.normal)
    turned /= np.maximum(np.linalg.norm(turned, axis=1), 1e-300)[:, None]
    middle = between.interpolated(lines.centres_mm(led.along_normal_mm, led.outward_mm, axis))
    contact[rows], normal[rows] = middle - offsets(turned, led, axis), turned
    return contact, normal


def offsets(normal: Floats, led: LedPoint, axis: Floats) -> Floats:
    """(k, 3) way from contacts to led points."""
    none = no_passes()
    # a record locks its arrays: it gets its own
    at_origin = PassLines(np.zeros(normal.shape), np.array(normal), none.starts, none.level, none.is_closed)
    return at_origin.centres_mm(led.along_normal_mm, led.outward_mm, axis)


def kept(lines: PassLines, keeps: Flags, crossing: Floats, led: LedPoint, axis: Floats) -> tuple[PassLines, Places]:
    """What stays of passes when points go, with new ends at given shares of the way between what stays and what goes.

    Parameters
    ----------
    keeps : (k,) bool array
        The last point of a closed pass like its first.
    crossing : (k,) float array
        Shares of the way to the next point, read where one of both stays.

    Returns
    -------
    lines : PassLines
    places : Places
        Of their points on the passes given.
    """
    at, share, begins, chain, closed = cut_chains(lines.starts, lines.is_closed, keeps, crossing)
    places = Places(at, share)
    contact, normal = along_segments(lines, places, led, axis)
    return PassLines(contact, normal, begins, lines.level[chain], closed), places


def below(lines: PassLines, value: Floats, limit: float, led: LedPoint, axis: Floats) -> tuple[PassLines, Places]:
    """Passes where a value given at their points, linear between, is no more than a limit; see ``kept``."""
    ahead = np.append(value[1:], 0.0)
    rise = np.subtract(ahead, value, where=np.isfinite(ahead) & np.isfinite(value), out=np.full(len(value), np.inf))
    short = limit - value
    # out of what is infinite the way back is no longer than rounding
    share = np.where(np.isfinite(value), 0.0, 1.0)
    np.divide(short, rise, out=share, where=np.isfinite(rise) & (rise != 0.0))
    return kept(lines, value <= limit, np.clip(share, 0.0, 1.0), led, axis)


def chosen(lines: PassLines, takes: Flags) -> PassLines:
    """Some of the passes."""
    if takes.all():
        return lines
    counts = np.diff(lines.starts)
    points = np.repeat(takes, counts)
    starts = np.concatenate([[0], np.cumsum(counts[takes])])
    return PassLines(lines.contact_mm[points], lines.normal[points], starts, lines.level[takes], lines.is_closed[takes])


def together(families: list[PassLines]) -> PassLines:
    """Families one after another, levels as they are."""
    if not families:
        return no_passes()
    before = np.cumsum([0] + [len(lines.contact_mm) for lines in families])
    starts = [lines.starts[:-1] + shift for lines, shift in zip(families, before[:-1], strict=True)]
    return PassLines(
        np.concatenate([lines.contact_mm for lines in families]),
        np.concatenate([lines.normal for lines in families]),
        np.concatenate([*starts, before[-1:]]).astype(np.int64),
        np.concatenate([lines.level for lines in families]),
        np.concatenate([lines.is_closed for lines in families]),
    )
