"""The starter job file: every setting there is, with its default, what is allowed, and one line of reason.

Three kinds of line, told apart by their first signs, so that a person (and a test) can turn them on:

``key = value``
    in force.
``#key = value``
    off; it shows the default, or an example where there is none. All of them may be turned on together.
``##key = value``
    an alternative; its comment says in place of what.

All values carry their units, so that they mean the same whatever ``unit`` says.
"""

from __future__ import annotations

import textwrap
from pathlib import Path

import numpy as np

from advisor.advice.settings import resolve
from advisor.cutter.materials import all_materials
from advisor.errors import InputError
from advisor.job import Job, Machine, Stage, Tool, ZoneRules
from advisor.part.measured import MeasuredPart
from advisor.units import MM_PER_UNIT

# Ball of a starter that was made without a part, mm.
_BALL_WITHOUT_PART_MM = 10.0
# Where the comments begin.
_COMMENT_COLUMN = 40
_TITLE_WIDTH = 110

_OFF, _ALTERNATIVE = "#", "##"


def starter_job(part: MeasuredPart | None = None, unit: str = "mm") -> str:
    """Text of a job file that may be used as it is: for a part, what would be taken for it without any job.

    Parameters
    ----------
    part : MeasuredPart, optional
        Its size, unit and the ball that suits it are filled in.
    unit : {"mm", "inch", "m"}
        Of bare numbers, where no part tells.
    """
    job = Job()
    ball = (
        Tool(name="ball 10 mm", diameter=_BALL_WITHOUT_PART_MM)
        if part is None
        else resolve(part.mesh, part=part).tools[0]
    )
    sections = [
        _head(part),
        _general(job, part, unit),
        _title_block(),
        _zones(job.zones),
        _machine(job.machine),
        _tools(ball),
        _stages(job.stage, ball),
        _zone_overrides(part),
        _own_material(),
    ]
    return "\n".join("\n".join(lines) + "\n" for lines in sections)


def write_starter_job(text: str, path: Path, *, over: bool = False) -> None:
    """Write a starter to a file; `over` allows one that is there already to be replaced.

    Raises
    ------
    InputError
        A file that is there already, or a place that cannot be written.
    """
    try:
        # "x" asks and takes in one step: no other program can come in between
        with path.open("w" if over else "x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as fault:
        raise already_there(path) from fault
    except OSError as fault:
        raise InputError(str(path), f"cannot be written ({fault.strerror})", "choose another place") from fault


def already_there(path: Path) -> InputError:
    """The fault of a file that must not be written over unasked."""
    return InputError(str(path), "is there already", "choose another name, or write over it with --force")


def _line(key: str, value: str, reason: str = "", mark: str = "") -> str:
    setting = f"{mark}{key} = {value}"
    return f"{setting:<{_COMMENT_COLUMN}} # {reason}" if reason else setting


def _text(value: str) -> str:
    return f'"{value}"'


def _mm(length_mm: float) -> str:
    return _text(f"{length_mm:.6g} mm")


def _title(words: str) -> str:
    return f"# -- {words} ".ljust(_TITLE_WIDTH, "-")


def _head(part: MeasuredPart | None) -> list[str]:
    lines = [
        "# Job file of `advisor plan PART --job THIS_FILE`.",
        '# A line "#key = ..." is off and shows the default, or an example where there is none: take away the # to',
        '# use it, with that of its [heading]. A line "##key = ..." stands in place of another. Values carry their',
        '# units ("0.005 in", "15 deg", "800 ft/min").',
    ]
    if part is None:
        return lines
    record, unit = part.record, part.record.unit
    x, y, z = (size / MM_PER_UNIT[unit] for size in record.size_mm)
    size = f"# Part: {_printable(record.file)}, {x:.4g} x {y:.4g} x {z:.4g} {unit}, {record.facets} facets."
    return [*lines, "#", size, *(line for warning in record.warnings for line in _note(warning))]


def _note(warning: str) -> list[str]:
    return textwrap.wrap(
        f"Note: {_printable(warning)}.", width=_TITLE_WIDTH, initial_indent="# ", subsequent_indent="#   "
    )


def _printable(name: str) -> str:
    # a name may hold signs that no comment may: line ends, tabs, half of a pair of signs
    return "".join(sign if sign.isprintable() else "_" for sign in name)


def _general(job: Job, part: MeasuredPart | None, unit: str) -> list[str]:
    why_unit = "mm, inch or m, also of bare numbers"
    if part is not None:
        unit = part.record.unit
        why_unit = f"{why_unit}; {'assumed: check the size above' if part.record.unit_assumed else 'as read'}"
    return [
        _line("unit", _text(unit), why_unit),
        _line("up", _text("+Z"), "tool axis, from the part to the spindle: +X, -X ... -Z, or a vector 0,0,1"),
        _line("setups", _text("one"), '"one", "fewest", or tool axes ["+Z", "-Z"]', _OFF),
        _line(
            "material",
            _text("Ti-6Al-4V"),
            "one of the table below, or your own; without it no speeds, feeds, bending",
            _OFF,
        ),
        _line(
            "tolerance", _text("0.02 mm"), "of the finished surface: cusp, facets, path and bending must fit in", _OFF
        ),
        _line("path_tolerance", _mm(job.path_tolerance), "how far tool paths may leave the surface", _OFF),
        _line("stock", _mm(job.stock), "left by roughing, square to the surface, for the first stage", _OFF),
        _line("clearance", _mm(job.clearance), "air kept around shank and holder", _OFF),
        *_materials(),
    ]


def _title_block() -> list[str]:
    return [
        _title("title block of the report; what is not given is a line to fill in by hand"),
        f"{_OFF}[title]",
        _line("part", _text("Fruit cup tool, lower half"), "as you call it; else the name of the file", _OFF),
        _line("drawing", _text("FC-104"), "its number", _OFF),
        _line("revision", _text("B"), "of the drawing or of the model", _OFF),
        _line("by", _text("R. Miller"), "who planned it; the machine is named under [machine]", _OFF),
        _line("note", _text("polish by hand after finishing"), "one line for who reads the report", _OFF),
    ]


def _zones(rules: ZoneRules) -> list[str]:
    return [
        _title("how the surface is split: slope is 0 on a floor, 90 deg on a wall"),
        "[zones]",
        _line(
            "flat_below", _text(f"{rules.flat_below:g} deg"), "0 to 90 deg, below steep_from: constant-Z finds no hold"
        ),
        _line(
            "steep_from",
            _text(f"{rules.steep_from:g} deg"),
            "0 to 90 deg; left out, a split goes where it needs least path",
            _OFF,
        ),
        _line(
            "wall_tolerance", _text(f"{rules.wall_tolerance:g} deg"), "0 to 10 deg: as near to vertical is a wall", _OFF
        ),
        _line("smallest", _text(f"{rules.smallest:g} mm2"), "smaller areas join a neighbour", _OFF),
        _line("overlap", f"{rules.overlap:g}", "0 to 10 stepovers that passes run over a border, against marks", _OFF),
        _line("corner_share", f"{rules.corner_share:g}", "0 to 1: a ball's radius to that of a corner, at most", _OFF),
        _line("keep_together", "true", "false: what is steep and what is gentle are never one zone", _OFF),
        _line("blend_price", f"{rules.blend_price:g}", "0 to 1000: mm of path that a mm of blend line is worth", _OFF),
        _line("zone_price", _mm(rules.zone_price), "path that one zone less to program is worth", _OFF),
    ]


def _machine(machine: Machine) -> list[str]:
    return [
        _title("what the machine can do"),
        "[machine]",
        _line("name", _text("mill 1"), "as you call it", _OFF),
        _line("axes", _text(machine.axes), '"3", "3+2" or "5": whether the tool can be tilted', _OFF),
        _line(
            "max_spindle",
            _text(f"{machine.max_spindle:g} rpm"),
            "small balls ask for more than most spindles have",
            _OFF,
        ),
        _line("max_feed", _text(f"{machine.max_feed / 1000:g} m/min"), "while cutting", _OFF),
        _line(
            "acceleration",
            _text(f"{machine.acceleration / 1000:g} m/s2"),
            "of an axis: rules the time of short passes",
            _OFF,
        ),
        _line("corner_deviation", _mm(machine.corner_deviation), "by which the control may round a corner", _OFF),
        _line("tool_change_min", f"{machine.tool_change_min:g}", "minutes that a change of tools costs", _OFF),
        _line("max_tilt", _text("20 deg"), "0 to 120 deg, against up; without it 90 deg, or none on 3 axes", _OFF),
        _line("rotary_axis", _text("+X"), "of a table that turns the part: +X ... -Z, or a vector 1,0,0", _OFF),
    ]


def _tools(ball: Tool) -> list[str]:
    diameter = ball.diameter
    return [
        _title("cutters; data of their maker, given here, win over the shipped table"),
        "[[tool]]",
        _line("name", _text(ball.name), "stages call it by this"),
        _line("kind", _text("ball"), '"ball" or "bull" (with corner_radius)'),
        _line("diameter", _mm(diameter), "about a tenth of the part's second-largest size; above 0"),
        *_tool_details(diameter),
        "",
        "# a smaller one, for corners that the first cannot reach",
        f"{_OFF}[[tool]]",
        _line("name", _text("small ball"), "", _OFF),
        _line("diameter", _mm(diameter / 2), "", _OFF),
        "",
        "# a bull-nose, for floors and gentle slopes",
        f"{_OFF}[[tool]]",
        _line("name", _text("bull"), "", _OFF),
        _line("kind", _text("bull"), "", _OFF),
        _line("diameter", _mm(diameter), "", _OFF),
        _line("corner_radius", _mm(diameter / 10), "below half the diameter; a ball needs none", _OFF),
    ]


def _tool_details(diameter_mm: float) -> list[str]:
    """Optional keys of a tool; lengths are those of a common long-neck cutter (common practice, no source)."""
    holder = (
        f"[{{ diameter = {_mm(3 * diameter_mm)}, length = {_mm(3 * diameter_mm)}, "
        f"top_diameter = {_mm(4 * diameter_mm)} }}]"
    )
    return [
        _line("flutes", "2", "1 to 20: feed is per flute", _OFF),
        _line("centre_flutes", "2", "that reach the tip, not more than flutes: fewer cut there", _OFF),
        _line("flute_length", _mm(1.5 * diameter_mm), "that cuts", _OFF),
        _line("neck_diameter", _mm(0.95 * diameter_mm), "behind the flutes: bends, and must clear walls", _OFF),
        _line("neck_length", _mm(2.5 * diameter_mm), "from the flutes to the shank", _OFF),
        _line("shank_diameter", _mm(diameter_mm), "in the holder", _OFF),
        _line("stick_out", _mm(5 * diameter_mm), "from the holder to the tip: bending grows with its cube", _OFF),
        _line(
            "modulus",
            _text(f"{Tool(diameter=1.0).modulus / 1000:g} GPa"),
            "of the cutter: carbide; steel is about 210 GPa",
            _OFF,
        ),
        _line("max_spindle", _text("20000 rpm"), "of cutter and holder, as marked on them", _OFF),
        _line("surface_speed", _text("120 m/min"), "the maker's, at the diameter that really cuts", _OFF),
        _line("feed_per_tooth", _mm(0.008 * diameter_mm), "the maker's, for finishing", _OFF),
        "# the holder from its nose up, in cylinders or (with top_diameter) cones",
        _line("holder", holder, "", _OFF),
    ]


def _stages(stages: tuple[Stage, ...], ball: Tool) -> list[str]:
    lines = [_title("finishing stages in cutting order, each with exactly one of cusp, stepover and ra")]
    for stage in stages:
        assert stage.cusp is not None
        lines += [
            "[[stage]]",
            _line("name", _text(stage.name), "as you call it"),
            _line("cusp", _mm(stage.cusp), "height that may be left between passes"),
            _line(
                "stepover", _mm(ball.diameter / 20), "between passes along the surface, in place of cusp", _ALTERNATIVE
            ),
            _line("ra", _text("1.6 um"), "ideal Ra across the passes, a lower bound, in place of cusp", _ALTERNATIVE),
            _line("stock_left", _mm(stage.stock_left), "for the stages after it; 0 or more"),
            _line("tool", _text(ball.name), "name of a [[tool]]; without it the first"),
            _line("surface_speed", _text("120 m/min"), "for this stage, over tool and material", _OFF),
            _line("feed_per_tooth", _mm(0.008 * ball.diameter), "for this stage, over tool and material", _OFF),
            "",
        ]
    return lines[:-1]


def _zone_overrides(part: MeasuredPart | None) -> list[str]:
    at = ", ".join(_mm(value) for value in _point_on(part))
    return [
        _title("what you decide for one zone; repeat the block for another"),
        f"{_OFF}[[zone]]",
        _line("at", f"[{at}]", "a point on or near the zone, in the part's coordinates", _OFF),
        _line("name", _text("sealing face"), "as you call it", _OFF),
        _line("strategy", _text("parallel_line"), '"constant_z", "parallel_line" or "constant_cusp"', _OFF),
        _line("shape", _text("land"), "which to prefer where the point lies near a border of several zones", _OFF),
        _line("merge", f"[[{at}]]", "points on other zones to join to this one", _OFF),
        _line("split", "false", "true: each surface of one slope class in it becomes a zone", _OFF),
        _line("exclude", "false", "true: leave the zone out of the plan", _OFF),
        _line("protect", "false", "true: no pass may touch the zone, nor overlap onto it", _OFF),
    ]


def _point_on(part: MeasuredPart | None) -> tuple[float, float, float]:
    """Middle of the facet that is largest seen along +Z: a point of the part to begin with."""
    if part is None:
        return (0.0, 0.0, 0.0)
    mesh = part.mesh
    x, y, z = (float(value) for value in mesh.middle[np.argmax(mesh.area_mm2 * mesh.normal[:, 2])])
    return (x, y, z)


def _own_material() -> list[str]:
    return [
        _title("cutting data of your own, for a material that the shipped table has not"),
        f"{'##[material.my-alloy]':<{_COMMENT_COLUMN}} # in place of material above; the whole block",
        _line(
            "group",
            _text("S"),
            "ISO 513: P steel, M stainless, K iron, N non-ferrous, S heat-proof, H hard",
            _ALTERNATIVE,
        ),
        _line(
            "surface_speed",
            '["40 m/min", "80 m/min"]',
            "lowest and highest, at the diameter that really cuts",
            _ALTERNATIVE,
        ),
        _line("feed_per_tooth_of_diameter", "[0.005, 0.01]", "lowest and highest, up to 0.2", _ALTERNATIVE),
        _line("kc11", _text("1400 N/mm2"), "specific force of a chip 1 mm by 1 mm, for bending", _ALTERNATIVE),
        _line("mc", "0.25", "0 to 1: how it grows for thinner chips", _ALTERNATIVE),
        _line("source", _text("trials of ours"), "where the numbers come from", _ALTERNATIVE),
    ]


def _materials() -> list[str]:
    names = "Materials of the table: " + ", ".join(material.name for material in all_materials())
    return [f"# {line}" for line in textwrap.wrap(names, width=_TITLE_WIDTH - 2)]
