"""Where the viewer stands: view directions about the tool axis, parallel projection, and the fit on the page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.raster import extent
from advisor.part.frame import plan_axes

ViewName = Literal["iso", "top", "under", "front", "right", "back", "left"]

# The viewer's height above the plan of the part: a little over the 35.3 deg of an isometric view, for floors.
ELEVATION_DEG: Final = 38.0
# Directions that an oblique view may take, from +X of the set-up about the tool axis; ties go to the first.
# None is 45 deg: there the far and near vertical edges of a block fall on one line.
AZIMUTHS_DEG: Final = (-60.0, -30.0, -120.0, -150.0, 30.0, 60.0, 120.0, 150.0)

_FIXED_VIEWS_DEG: Final[dict[str, tuple[float, float]]] = {
    "top": (-90.0, 90.0),
    "under": (-90.0, -90.0),
    "front": (-90.0, 0.0),
    "right": (0.0, 0.0),
    "back": (90.0, 0.0),
    "left": (180.0, 0.0),
}


@dataclass(frozen=True)
class View:
    """A parallel projection: (3, 3) float64 unit vectors to the right, up and towards the viewer, in part axes."""

    title: str
    rows: NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """A view on a picture of ``width`` by ``height`` pixels: where (0, 0, 0) falls, and pixels per mm."""

    view: View
    pixels_per_mm: float
    left: float
    top: float
    width: int
    height: int


def setup_frame(tool_axis: tuple[float, float, float]) -> NDArray[np.float64]:
    """Axes of a set-up in part coordinates, as rows: X, Y, and Z along the tool axis.

    X is the part's +X laid into the plan; where the tool axis is (nearly) along X, the part's +Y.

    >>> setup_frame((0, 0, 1)).tolist() == np.eye(3).tolist()
    True
    """
    z = np.asarray(tool_axis, dtype=np.float64)
    z = z / math.sqrt(float(z @ z))
    return np.vstack([plan_axes(z), z])


def oblique_view(frame: NDArray[np.float64], azimuth_deg: float, elevation_deg: float, title: str = "") -> View:
    """View from an azimuth about the tool axis and an elevation above the plan; the tool axis is up the page."""
    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    cos_a, sin_a = _cos_sin(azimuth)
    cos_e, sin_e = _cos_sin(elevation)
    right = (-sin_a, cos_a, 0.0)
    up = (-sin_e * cos_a, -sin_e * sin_a, cos_e)
    near = (cos_e * cos_a, cos_e * sin_a, sin_e)
    rows = np.empty((3, 3))
    for i, (x, y, z) in enumerate((right, up, near)):
        rows[i] = x * frame[0] + y * frame[1] + z * frame[2]
    return View(title, rows)


def fixed_view(frame: NDArray[np.float64], name: ViewName, title: str = "") -> View:
    """One of the views along an axis of the set-up."""
    azimuth_deg, elevation_deg = _FIXED_VIEWS_DEG[name]
    return oblique_view(frame, azimuth_deg, elevation_deg, title or name)


def fit(view: View, vertices: NDArray[np.float64], width: int, height: int, margin: float) -> Fit:
    """The largest picture of the vertices within ``width`` by ``height`` pixels, cut to what they cover.

    Parameters
    ----------
    margin : float
        Pixels left free on all sides, inside the picture.
    """
    box = extent(vertices, view.rows) if len(vertices) else np.zeros((3, 2))
    wide_mm, high_mm = (float(box[k, 1] - box[k, 0]) for k in (0, 1))
    room_x, room_y = max(1.0, width - 2 * margin), max(1.0, height - 2 * margin)
    scales = [room / size for room, size in ((room_x, wide_mm), (room_y, high_mm)) if size > 0.0]
    pixels_per_mm = min(scales, default=1.0)
    return Fit(
        view=view,
        pixels_per_mm=pixels_per_mm,
        left=margin - pixels_per_mm * float(box[0, 0]),
        top=margin + pixels_per_mm * float(box[1, 1]),
        width=min(width, math.ceil(wide_mm * pixels_per_mm + 2 * margin)),
        height=min(height, math.ceil(high_mm * pixels_per_mm + 2 * margin)),
    )


def _cos_sin(angle: float) -> tuple[float, float]:
    # twelve digits: right angles come out whole, and the last bit of a machine's library does not matter
    return round(math.cos(angle), 12), round(math.sin(angle), 12)
