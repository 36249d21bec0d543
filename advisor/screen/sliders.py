"""Two sliders at the foot of the window: where flat ends and where steep begins."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from advisor.pack import page
from advisor.pack.palette import INK, QUIET_INK, TOOL_AXIS

# Least and greatest slope of each, degrees, and where its ends lie in the window, as shares of it.
FLAT_DEG: Final = (0.5, 30.0)
STEEP_DEG: Final = (10.0, 85.0)
_FLAT_AT: Final = ((0.05, 0.07), (0.27, 0.07))
_STEEP_AT: Final = ((0.33, 0.07), (0.55, 0.07))
# Degrees are moved in halves, and kept so far apart.
_STEP_DEG: Final = 0.5

# The letters of the panels. VTK counts families: this one is of a file.
_FONT_FROM_FILE: Final = 4
_FONT: Final = str(Path(page.__file__).parent / "fonts" / "DejaVuSans.ttf")
# Share of the window's height that the sliders take.
FOOT: Final = 0.13

Moved = Callable[[float, float], None]


class ThresholdSliders:
    """Sliders that tell both slopes, flat and steep, while one is moved and when it is let go.

    Parameters
    ----------
    plotter : pyvista.Plotter
    flat_deg, steep_deg : where they begin
    moving, let_go : called with both slopes
    """

    def __init__(self, plotter: Any, flat_deg: float, steep_deg: float, moving: Moved, let_go: Moved) -> None:
        self._moving, self._let_go = moving, let_go
        self._flat = self._slider(plotter, flat_deg, FLAT_DEG, "Flat ends at, deg", _FLAT_AT)
        self._steep = self._slider(plotter, steep_deg, STEEP_DEG, "Steep begins at, deg", _STEEP_AT)
        for slider in (self._flat, self._steep):
            slider.AddObserver("InteractionEvent", lambda *_: self._moving(*self.slopes_deg))
            slider.AddObserver("EndInteractionEvent", lambda *_: self._let_go(*self.slopes_deg))

    @property
    def slopes_deg(self) -> tuple[float, float]:
        """Where flat ends and steep begins: in half degrees, the first below the second."""
        flat, steep = (
            round(float(slider.GetRepresentation().GetValue()) / _STEP_DEG) * _STEP_DEG
            for slider in (self._flat, self._steep)
        )
        return min(flat, steep - _STEP_DEG), steep

    def show(self, flat_deg: float, steep_deg: float) -> None:
        """Set both without telling anybody."""
        self._flat.GetRepresentation().SetValue(flat_deg)
        self._steep.GetRepresentation().SetValue(steep_deg)

    def _slider(
        self, plotter: Any, value: float, ends: tuple[float, float], title: str, at: tuple[tuple[float, float], ...]
    ) -> Any:
        slider = plotter.add_slider_widget(
            lambda _: None, ends, value=value, title=title, pointa=at[0], pointb=at[1], color=INK, fmt="%.1f",
            title_height=0.018, slider_width=0.022, tube_width=0.004, interaction_event="end",
        )  # fmt: skip
        parts = slider.GetRepresentation()
        parts.SetSliderLength(0.012)
        parts.SetEndCapLength(0.0)
        parts.SetLabelHeight(0.018)
        for words in (parts.GetTitleProperty(), parts.GetLabelProperty()):
            words.SetFontFamily(_FONT_FROM_FILE)
            words.SetFontFile(_FONT)
            words.SetShadow(False)
            words.SetBold(False)
        parts.GetSliderProperty().SetColor(*(value / 255 for value in TOOL_AXIS))
        parts.GetSelectedProperty().SetColor(*(value / 255 for value in TOOL_AXIS))
        parts.GetTubeProperty().SetColor(*(value / 255 for value in QUIET_INK))
        return slider
