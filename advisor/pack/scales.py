"""Scales of numbers in colour: an even ramp from pale to dark, round edges between its bands, and robust ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.pack.colour_space import bytes_of, lightness_steps
from advisor.pack.palette import Colour, Paint

# The ramp in OKLab: lightness falls, the hue (degrees) stays among the roses, which no slope class has: orange-red of
# steep is at 50, purple of undercuts at 295. Chroma swells as far as a screen shows it and falls off to both ends.
RAMP_LIGHTNESS: Final = (0.92, 0.28)
RAMP_HUE_DEG: Final = (8.0, 346.0 - 360.0)
RAMP_CHROMA: Final = (0.034, 0.118, 0.070)
_SAMPLES: Final = 512
# With a band more, eyes that see roses as greys no longer tell neighbours apart: lightness alone has room for so many
# steps of CIEDE2000 10.
MOST_BANDS: Final = 6
# Round steps between edges.
_DIGITS: Final = (1.0, 2.0, 2.5, 5.0)
_ROUNDING: Final = 1e-6
# Where all values are one, the scale is this share of it wide.
_LEAST_SPAN: Final = 0.05


@dataclass(frozen=True)
class Scale:
    """What the colours of a scale mean.

    Attributes
    ----------
    colours : tuple of Colour
        Bands of one width each, lowest values first.
    ticks : tuple of (float, str)
        Places along the bar, 0 to 1, and the numbers there, in ``sign``.
    sign : str
        Unit.
    shares : tuple of float
        Share of the part's area in each band; empty where bands are too fine to be told.
    open_low, open_high : bool
        Whether values lie beyond the ends; they have the colour of the end.
    paints : tuple of Paint
        How bands look where they are hatched; empty where they are plain.
    """

    colours: tuple[Colour, ...]
    ticks: tuple[tuple[float, str], ...]
    sign: str
    shares: tuple[float, ...] = ()
    open_low: bool = False
    open_high: bool = False
    paints: tuple[Paint, ...] = ()


def ramp(count: int) -> tuple[Colour, ...]:
    """Colours from pale to dark, even steps of lightness by CIEDE2000 apart: what every eye sees of them.

    >>> [len(ramp(n)) for n in (0, 1, 6)]
    [0, 1, 6]
    """
    along = np.linspace(0.0, 1.0, _SAMPLES + 1)
    lightness = np.interp(along, (0.0, 1.0), RAMP_LIGHTNESS)
    hue = np.radians(np.interp(along, (0.0, 1.0), RAMP_HUE_DEG))
    first, middle, last = RAMP_CHROMA
    # a parabola through both ends and the middle
    chroma = first * (1 - along) * (1 - 2 * along) + 4 * middle * along * (1 - along) + last * along * (2 * along - 1)
    path = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)
    gone = np.concatenate([[0.0], np.cumsum(lightness_steps(bytes_of(path)))])
    places = np.array([gone[-1] / 2]) if count == 1 else np.linspace(0.0, gone[-1], count)
    even = np.stack([np.interp(places, gone, path[:, k]) for k in range(3)], axis=1)
    return tuple((int(r), int(g), int(b)) for r, g, b in np.rint(bytes_of(even)))


def share_below(values: NDArray[np.floating], areas: NDArray[np.float64], share: float) -> float:
    """The value that this share of the area does not exceed: the area counts, not the number of facets.

    >>> share_below(np.array([1.0, 2.0, 9.0]), np.array([50.0, 49.0, 1.0]), 0.99)
    2.0
    """
    order = np.argsort(values, kind="stable")
    gone = np.cumsum(areas[order])
    place = np.searchsorted(gone, share * gone[-1] * (1.0 - 1e-12))
    return float(values[order[min(int(place), len(order) - 1)]])


def round_edges(low: float, high: float, most: int = MOST_BANDS) -> tuple[float, ...]:
    """Edges of at most ``most`` bands of one round width that hold ``low`` to ``high``.

    >>> round_edges(0.0, 0.73)
    (0.0, 0.2, 0.4, 0.6, 0.8)
    >>> round_edges(40.0, 40.0)[0], len(round_edges(40.0, 40.0)) <= 7
    (40.0, True)
    """
    high = max(high, low + max(_LEAST_SPAN * abs(low), _ROUNDING))
    power = 10.0 ** (math.floor(math.log10((high - low) / most)) - 1)
    steps = (digit * power * ten for ten in (1.0, 10.0, 100.0, 1000.0) for digit in _DIGITS)
    for step in steps:
        first, last = math.floor(low / step + _ROUNDING), math.ceil(high / step - _ROUNDING)
        if last - first <= most:
            return tuple(float(f"{number * step:.9g}") for number in range(first, last + 1))
    raise AssertionError("a step of a tenth to a hundred times the right one always holds them")


def edges_among(sizes: Sequence[float], low: float, high: float, most: int = MOST_BANDS) -> tuple[float, ...]:
    """Sizes of a shelf that hold ``low`` to ``high``, at most ``most`` bands; some, evenly, are left out where more.

    >>> edges_among((0, 1, 2, 3, 4, 6, 8), 1.5, 4.0)
    (1, 2, 3, 4, 6)
    """
    first = max([k for k, size in enumerate(sizes) if size <= low], default=0)
    last = min([k for k, size in enumerate(sizes) if size > high], default=len(sizes) - 1)
    first = min(first, len(sizes) - 2)
    kept = list(sizes[first : max(last, first + 1) + 1])
    count = min(most, len(kept) - 1)
    return tuple(kept[round(place * (len(kept) - 1) / count)] for place in range(count + 1))


def bands_of(values: NDArray[np.floating], edges: Sequence[float]) -> NDArray[np.uint8]:
    """Number of the band of each value; beyond the ends that of the end. An edge belongs to the band above it."""
    inner = np.array(edges[1:-1])
    return np.searchsorted(inner, values, side="right").astype(np.uint8)
