"""Colours by how different they look: OKLab and back to the bytes of a picture.

Formulas: B. Ottosson, "A perceptual color space for image processing" (2020), https://bottosson.github.io/posts/oklab/;
transfer curve of sRGB: IEC 61966-2-1; CIE L*: ISO/CIE 11664-4:2019; how much of it counts as one step: S_L of CIEDE2000
(Sharma, Wu & Dalal 2005, doi 10.1002/col.20070). Numbers from memory; the tests hold them to published properties.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.pack.palette import Colour

Floats = NDArray[np.float64]

_CONES_OF_RGB: Final = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_LAB_OF_CONES: Final = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_LUMINANCE_OF_RGB: Final = np.array([0.2126, 0.7152, 0.0722])
# Where the curve of sRGB leaves its straight foot, in light and in the coded value.
_FOOT_LIGHT: Final = 0.0031308
_FOOT_CODED: Final = 0.04045


def linear_rgb(coded: Floats) -> Floats:
    """Amounts of light, 0 to 1, of coded values 0 to 1."""
    light: Floats = np.where(coded <= _FOOT_CODED, coded / 12.92, ((np.maximum(coded, 0.0) + 0.055) / 1.055) ** 2.4)
    return light


def coded_rgb(light: Floats) -> Floats:
    """Coded values 0 to 1 of amounts of light."""
    power = 1.055 * np.maximum(light, _FOOT_LIGHT) ** (1 / 2.4) - 0.055
    coded: Floats = np.where(light <= _FOOT_LIGHT, light * 12.92, power)
    return coded


def oklab_of(colours: Floats) -> Floats:
    """(n, 3) lightness 0 to 1, green to red, blue to yellow, of (n, 3) bytes 0 to 255."""
    lab: Floats = np.cbrt(linear_rgb(colours / 255.0) @ _CONES_OF_RGB.T) @ _LAB_OF_CONES.T
    return lab


def bytes_of(oklab: Floats) -> Floats:
    """(n, 3) values on the scale of bytes, not rounded; outside 0 to 255 where no screen shows the colour."""
    cones = (oklab @ np.linalg.inv(_LAB_OF_CONES).T) ** 3
    coded: Floats = coded_rgb(cones @ np.linalg.inv(_CONES_OF_RGB).T) * 255.0
    return coded


def lightness_of(colours: Floats) -> Floats:
    """(n,) CIE L*, 0 to 100, of (n, 3) bytes."""
    luminance = linear_rgb(np.clip(colours, 0.0, 255.0) / 255.0) @ _LUMINANCE_OF_RGB
    lightness: Floats = np.where(luminance > 216 / 24389, 116 * np.cbrt(luminance) - 16, 24389 / 27 * luminance)
    return lightness


def lightness_steps(colours: Floats) -> Floats:
    """(n - 1,) difference in lightness, by CIEDE2000, of colours that follow one another."""
    lightness = lightness_of(colours)
    off = ((lightness[1:] + lightness[:-1]) / 2 - 50.0) ** 2
    steps: Floats = np.abs(np.diff(lightness)) / (1 + 0.015 * off / np.sqrt(20 + off))
    return steps


def shaded(colour: Colour, share: float) -> Colour:
    """The colour in shade: ``share`` of its lightness, of the same hue."""
    red, green, blue = np.clip(np.rint(bytes_of(oklab_of(np.array([colour], float)) * share)[0]), 0, 255)
    return int(red), int(green), int(blue)
