"""The part as VTK draws it: surface, lines, light, camera. Colours change in place; nothing is built twice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyvista
from numpy.typing import NDArray

from advisor.model import Plan
from advisor.pack.camera import (
    AZIMUTHS_DEG,
    ELEVATION_DEG,
    Fit,
    View,
    ViewName,
    fit,
    fixed_view,
    oblique_view,
    setup_frame,
)
from advisor.pack.palette import INK, QUIET_INK, TOOL_AXIS, Colour
from advisor.screen.colours import FacetColours
from advisor.screen.surface import DrawnSurface, Ints, drawn_surface, lines_on

_COLOURS: Final = "colours"
# Nearly white: light panels and the pale ends of the scales stand off from it.
_GROUND: Final = (0.965, 0.97, 0.975)
# Light from the upper left, before the part, and what comes from all sides.
_LIGHT_FROM: Final = (-0.36, 0.62, 0.70)
_AMBIENT, _DIFFUSE = 0.6, 0.42
# The same where lightness tells a number.
_EVEN_AMBIENT, _EVEN_DIFFUSE = 0.84, 0.18
_BORDER_PX, _CREASE_PX, _OUTLINE_PX, _PASS_PX = 1.6, 1.0, 4.0, 0.8
_LINE_COLOUR: Final[Colour] = INK
# How near a line of sight must pass by a facet to meet it, as a share of the part's size: single precision.
_SIGHT_SLACK: Final = 1e-6
# Shares of the window: below the card, above the note.
_AXES_AT: Final = (0.86, 0.06, 1.0, 0.24)


@dataclass(frozen=True)
class Room:
    """A field of the window that is free for the part: left, bottom, width and height in pixels."""

    left: float
    bottom: float
    width: float
    height: float


class Scene:
    """A part in a plotter: what changes while one looks are its colours, lines, and the camera."""

    def __init__(self, plan: Plan, plotter: Any, *, is_first: bool = True) -> None:
        self._plan = plan
        self._plotter = plotter
        surface = drawn_surface(plan)
        self._lines = lines_on(plan.facets)
        self._points = surface.points
        self._vertices = plan.facets.vertices - surface.middle_mm
        self._reach_mm = _reach_mm(self._vertices)
        self._mesh: Any = _facet_mesh(surface)
        self._actor = plotter.add_mesh(
            self._mesh, scalars=_COLOURS, rgb=True, copy_mesh=False, render=False, reset_camera=False
        )
        self._dress(self._actor.prop)
        self._borders = self._add_lines(self._lines.border, _BORDER_PX)
        self._creases = self._add_lines(self._lines.crease, _CREASE_PX)
        self._outline_mesh = pyvista.PolyData(self._points)
        self._outline = self._add_lines(self._lines.outline(-2), _OUTLINE_PX, self._outline_mesh)
        self._locator: Any = None
        self._passes: Any = None
        self._middle_mm = surface.middle_mm
        if is_first:
            self._light()

    def paint(self, colours: FacetColours, *, evenly_lit: bool) -> None:
        """Give every facet its colour: (m, 3) bytes; in an even light, shade is not taken for another colour."""
        surface = self._actor.prop
        surface.ambient, surface.diffuse = (_EVEN_AMBIENT, _EVEN_DIFFUSE) if evenly_lit else (_AMBIENT, _DIFFUSE)
        array = self._mesh.cell_data[_COLOURS]
        array[:] = colours
        self._mesh.GetCellData().GetArray(_COLOURS).Modified()
        self._mesh.Modified()

    def show_edges(self, wanted: bool) -> None:
        """Show or hide the edges of facets."""
        self._actor.prop.show_edges = wanted

    def show_lines(self, wanted: bool) -> None:
        """Show or hide zone borders and creases."""
        self._borders.SetVisibility(wanted)
        self._creases.SetVisibility(wanted)

    def lay(self, segments: NDArray[np.float64] | None) -> None:
        """Passes over the part, (k, 2, 3) mm, or none."""
        if self._passes is not None:
            self._plotter.remove_actor(self._passes, render=False, reset_camera=False)
            self._passes = None
        if segments is not None and len(segments):
            points = (segments.reshape(-1, 3) - self._middle_mm).astype(np.float32)
            edges = np.arange(len(points), dtype=np.int32).reshape(-1, 2)
            self._passes = self._add_lines(edges, _PASS_PX, pyvista.PolyData(points))

    def take_away(self) -> None:
        """Remove all of the part from the plotter; the camera stays."""
        self.lay(None)
        for actor in (self._actor, self._borders, self._creases, self._outline):
            self._plotter.remove_actor(actor, render=False, reset_camera=False)

    def outline(self, zone: int | None) -> None:
        """A heavy line around one zone, or around none."""
        edges = self._lines.outline(-2 if zone is None else zone)
        self._outline.SetVisibility(len(edges) > 0)
        if len(edges):
            self._outline_mesh.lines = _cells(edges)

    def zone_at(self, x: int, y: int) -> int | None:
        """The zone seen at a pixel, from the lower left; None beside the part and where no zone is."""
        if self._locator is None:
            self._locator = self._make_locator()
        near, far = (self._to_part(x, y, depth) for depth in (0.0, 1.0))
        # a line through a corner or an edge must not slip between the facets
        facet = _first_facet(self._locator, near, far, _SIGHT_SLACK * self._reach_mm)
        zone = -1 if facet is None else int(self._plan.facets.zone[facet])
        return zone if zone > 0 else None

    def look_from(self, name: ViewName, rooms: tuple[Room, ...]) -> None:
        """Look along a view, with the part as large as the roomiest of the free fields allows."""
        view = self._view(name)
        width, height = self._plotter.window_size
        fits = [fit(view, self._vertices, int(room.width), int(room.height), 0.0) for room in rooms]
        best = max(range(len(rooms)), key=lambda k: fits[k].pixels_per_mm)
        self._set_camera(view, fits[best], height)
        self.centre_on(rooms[best], (width, height))

    def centre_on(self, room: Room, window: tuple[int, int]) -> None:
        """Put what the camera looks at in the middle of a field."""
        x = 1.0 - 2.0 * (room.left + room.width / 2) / window[0]
        y = 1.0 - 2.0 * (room.bottom + room.height / 2) / window[1]
        self._plotter.camera.SetWindowCenter(x, y)

    def _view(self, name: ViewName) -> View:
        frame = setup_frame(self._plan.record.setups[0].tool_axis)
        return oblique_view(frame, AZIMUTHS_DEG[0], ELEVATION_DEG) if name == "iso" else fixed_view(frame, name)

    def _set_camera(self, view: View, where: Fit, window_height: int) -> None:
        across = self._vertices @ view.rows[:2].T
        middle = (across.min(axis=0) + across.max(axis=0)) / 2 @ view.rows[:2]
        camera = self._plotter.camera
        camera.SetParallelProjection(True)
        camera.SetFocalPoint(*middle)
        camera.SetPosition(*(middle + view.rows[2] * 2.0 * self._reach_mm))
        camera.SetViewUp(*view.rows[1])
        camera.SetParallelScale(window_height / 2 / where.pixels_per_mm)
        self._plotter.renderer.ResetCameraClippingRange()
        camera.is_set = True  # pyvista would choose a view of its own

    def _to_part(self, x: int, y: int, depth: float) -> tuple[float, float, float]:
        renderer = self._plotter.renderer
        renderer.SetDisplayPoint(x, y, depth)
        renderer.DisplayToWorld()
        across, up, near, weight = renderer.GetWorldPoint()
        return across / weight, up / weight, near / weight

    def _make_locator(self) -> Any:
        from vtkmodules.vtkCommonDataModel import vtkStaticCellLocator

        # of the shape alone: new colours must not make the locator look stale
        shape = pyvista.PolyData()
        shape.CopyStructure(self._mesh)
        locator = vtkStaticCellLocator()
        locator.SetDataSet(shape)
        locator.BuildLocator()
        return locator

    def _add_lines(self, edges: Ints, width_px: float, mesh: Any = None) -> Any:
        mesh = pyvista.PolyData(self._points) if mesh is None else mesh
        mesh.verts = np.empty(0, np.int64)
        if len(edges):
            mesh.lines = _cells(edges)
        actor = self._plotter.add_mesh(
            mesh,
            color=_LINE_COLOUR,
            line_width=width_px,
            lighting=False,
            copy_mesh=False,
            render=False,
            reset_camera=False,
        )
        actor.SetVisibility(len(edges) > 0)
        # lines lie on the surface: they are drawn as if a little nearer
        actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
        actor.mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-2.0, -40.0)
        return actor

    def _dress(self, surface: Any) -> None:
        surface.interpolation = "Phong"
        surface.ambient, surface.diffuse, surface.specular = _AMBIENT, _DIFFUSE, 0.0
        surface.edge_color, surface.edge_opacity, surface.line_width = _LINE_COLOUR, 0.35, 1.0

    def _light(self) -> None:
        self._plotter.set_background(_GROUND)
        light = pyvista.Light(position=_LIGHT_FROM, light_type="camera light")
        self._plotter.add_light(light)
        x, y, z = _axis_colours(self._plan.record.setups[0].tool_axis)
        self._plotter.add_axes(x_color=x, y_color=y, z_color=z, color=INK, viewport=_AXES_AT)


def _facet_mesh(surface: DrawnSurface) -> Any:
    mesh: Any = pyvista.PolyData.from_regular_faces(surface.points, surface.faces)  # type: ignore[arg-type]
    mesh.point_data.active_normals = surface.normals
    mesh.cell_data[_COLOURS] = np.zeros((len(surface.faces), 3), np.uint8)
    return mesh


def _first_facet(locator: Any, near: tuple[float, ...], far: tuple[float, ...], slack_mm: float) -> int | None:
    """The first facet that a line of sight meets, or passes by less than the slack."""
    from vtkmodules.vtkCommonCore import mutable

    share, part, facet = mutable(0.0), mutable(0), mutable(-1)
    met = locator.IntersectWithLine(near, far, slack_mm, share, [0.0] * 3, [0.0] * 3, part, facet)
    return int(facet) if met else None


def _cells(edges: Ints) -> NDArray[np.int64]:
    cells = np.empty((len(edges), 3), np.int64)
    cells[:, 0] = 2
    cells[:, 1:] = edges
    return cells.ravel()


def _reach_mm(vertices: NDArray[np.float64]) -> float:
    size = np.ptp(vertices, axis=0)
    return float(np.sqrt(np.sum(size**2))) or 1.0


def _axis_colours(tool_axis: tuple[float, float, float]) -> list[Colour]:
    # the axis that the tool runs along is blue, as in the zone map
    return [TOOL_AXIS if abs(abs(part) - 1.0) < 1e-6 else QUIET_INK for part in tool_axis]
