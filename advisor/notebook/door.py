"""What `advisor.plan`, `advisor.read_plan` and `advisor.what_if` hand to Python: answers that show themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from functools import cached_property, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.advice.what_if_records import WhatIf
from advisor.intake import door
from advisor.intake.saved import read_plan_folder
from advisor.intake.two_plans import tolerance_mm, two_plans
from advisor.model import Plan
from advisor.part.measured import MeasuredPart
from advisor.revision.compare import compare_plans
from advisor.revision.records import Comparison

if TYPE_CHECKING:
    from pandas import DataFrame
    from PIL.Image import Image
    from pyvista import Plotter

    from advisor.notebook.frames import Tables
    from advisor.pack.camera import ViewName
    from advisor.pack.colour_map import ColourMode


class PlanView(Plan):
    """A plan with its tables as data frames, its map, its part in 3D, and a page of its own in a notebook."""

    @cached_property
    def tables(self) -> Tables:
        """Zones, candidates, stages and all else of the plan as data frames (needs pandas)."""
        from advisor.notebook.frames import Tables

        return Tables(self)

    def map(self, colour: ColourMode = "class", *, width: int = 1600, height: int = 1200, **options: Any) -> Image:
        """The map of the plan as a picture; needs no OpenGL.

        Parameters
        ----------
        colour : str
            What the part is coloured by: class, zone, strategy, slope, minutes, reach, ball, leftover, stick_out or
            cusp.
        width, height : int
            Pixels.
        options
            ``view`` (iso, top, front or under), ``passes``, ``hatch``, ``transparent``: as of ``advisor view``.

        Raises
        ------
        InputError
            Where the plan does not know what it shall be coloured by, or has no passes to draw.
        """
        from advisor.pack.picture import draw_zone_map

        return draw_zone_map(self, width=width, height=height, colour=colour, **options)

    def plot(
        self,
        colour: ColourMode = "zone",
        *,
        zone: int | None = None,
        view: ViewName = "iso",
        size: tuple[int, int] = (1000, 750),
        off_screen: bool | None = None,
    ) -> Plotter:
        """The part in 3D in a pyvista plotter: ``.show()`` it, or take its ``.screenshot("part.png")``.

        Parameters
        ----------
        colour : str
            As of ``map``.
        zone : int, optional
            A zone to put a heavy line around, with all others faded.
        view : {"iso", "top", "front", "under"}
        size : (int, int)
            Width and height, pixels.
        off_screen : bool, optional
            No window; left out, where no display is named, as pyvista has it.

        Raises
        ------
        InputError
            Where the plan does not know the colour or the zone, or OpenGL is missing on this machine.
        """
        from advisor.notebook.plot import plotter_of

        return plotter_of(self, colour, zone=zone, view=view, size=size, off_screen=off_screen)

    def __repr__(self) -> str:
        return f"PlanView({self.record.part.name!r}, {len(self.zones)} zones)"

    def _repr_html_(self) -> str:
        from advisor.notebook.html import plan_html

        return plan_html(self)


class WhatIfView(WhatIf):
    """A what-if with its rows as a data frame."""

    @cached_property
    def table(self) -> DataFrame:
        """For every ball and step the sums over all zones (``zone`` is "all"), then each zone (needs pandas)."""
        from advisor.notebook.frames import what_if_frame

        return what_if_frame(self)


class ComparisonView(Comparison):
    """A comparison of two plans with its picture."""

    @cached_property
    def picture(self) -> Image:
        """Both plans side by side with what changed marked; needs no OpenGL."""
        from advisor.pack.change_picture import draw_change_picture

        drawn: Image = draw_change_picture(*self.__dict__["drawn_from"])
        return drawn


@wraps(door.plan)
def plan(*given: Any, **options: Any) -> PlanView:
    """Plan the finishing of a part; see ``advisor.intake.door.plan`` for what it takes."""
    return _view_of(door.plan(*given, **options))


def read_plan(folder: str | Path) -> PlanView:
    """The plan in a plan folder.

    Raises
    ------
    InputError
        Where a file is missing or damaged.
    """
    return _view_of(read_plan_folder(folder))


@wraps(door.what_if)
def what_if(*given: Any, **options: Any) -> WhatIfView:
    """Minutes and cusp over a range of balls and steps; see ``advisor.intake.door.what_if`` for what it takes."""
    told = door.what_if(*given, **options)
    return WhatIfView(**{field.name: getattr(told, field.name) for field in fields(told)})


def compare(
    a: Plan | MeasuredPart | str | Path,
    b: Plan | MeasuredPart | str | Path,
    job: str | Path | Mapping[str, Any] | None = None,
    *,
    tolerance: str | float | None = None,
    registers: bool = True,
    lays_passes: bool | None = None,
    **options: Any,
) -> ComparisonView:
    """What changed from one plan of a part to another, or between two revisions of it.

    Parameters
    ----------
    a, b : Plan, MeasuredPart, str or Path
        A plan, a plan folder, or a part model; a model is planned for it: beside a plan with the plan's settings, as
        far as options can say them.
    job, options
        As of ``plan``: for the models.
    tolerance : str or float, optional
        Within which surfaces are the same, a bare number in the unit of B's job. Left out, the job's tolerance and the
        estimated chord errors of both.
    registers : bool
        Look for how B lies against A; otherwise they are compared as they lie.
    lays_passes : bool, optional
        Lay passes on the models. Left out, as the plan beside has them, else none.

    Raises
    ------
    InputError
        Where either is neither plan nor part, or a setting cannot be used.
    """
    plan_a, plan_b, notes = two_plans(a, b, job, lays_passes=lays_passes, **options)
    compared = compare_plans(plan_a, plan_b, tolerance_mm=tolerance_mm(tolerance, plan_b), registers=registers)
    record = replace(compared.record, notes=(*notes, *compared.record.notes))
    view = ComparisonView(**{field.name: getattr(record, field.name) for field in fields(record)})
    # beside the fields, which are compared and printed
    view.__dict__["drawn_from"] = (compared, plan_a, plan_b)
    return view


def _view_of(made: Plan) -> PlanView:
    return PlanView(**{field.name: getattr(made, field.name) for field in fields(made)})
