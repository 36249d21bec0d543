"""What is asked of a what-if: lengths as typed become finishing targets, and settings for every ball."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from advisor.advice.settings import Settings, resolve
from advisor.advice.target import StageTarget
from advisor.cutter.tool_body import cutter_of
from advisor.errors import InputError
from advisor.job import Tool
from advisor.part.measured import MeasuredPart
from advisor.units import UM_PER_MM, length_mm
from advisor.words import plain_number

Lengths = str | float | Sequence[str | float]
Asked = Literal["cusp", "stepover"]

# Where nothing is asked: shares of the job's own target, two below and two above, that are round for round targets.
_USUAL_SHARES = (0.4, 0.6, 1.0, 1.6, 2.4)
# More rows than a person reads: a list has slipped.
_MOST_ROWS = 400


@dataclass(frozen=True)
class Question:
    """The steps to ask: cusps or stepovers, mm, smallest first."""

    kind: Asked
    values_mm: tuple[float, ...]

    def target(self, of: StageTarget, value_mm: float) -> StageTarget:
        """The finishing target with another cusp or stepover."""
        if self.kind == "cusp":
            return replace(of, cusp_mm=value_mm, step_mm=None)
        return replace(of, cusp_mm=None, step_mm=value_mm)


def balls_asked(part: MeasuredPart, own: Settings, given: Given, balls: Lengths | None) -> tuple[Settings, ...]:
    """Settings for every ball, smallest first; the job's own finishing tool where none is asked.

    A ball that the job lists as a tool is that tool, with its flutes and its holder; any other is a bare one in every
    stage, as with the option ``--ball``.
    """
    if balls is None:
        return (own,)
    return tuple(_with_ball(part, own, given, ball) for ball in lengths_mm("--balls", balls, own.job.unit))


def question_of(
    own: Settings, by_ball: Sequence[Settings], stepovers: Lengths | None, cusps: Lengths | None
) -> Question:
    """What to ask of every ball: what is given, or a range about the job's own target.

    Raises
    ------
    InputError
        Where both are given, or a value is more than a ball can leave.
    """
    if stepovers is not None and cusps is not None:
        raise InputError("--stepovers and --cusps", "both are given", "give one of the two")
    tools = [settings.stages[-1].tool for settings in by_ball]
    asked = stepovers if cusps is None else cusps
    if asked is not None:
        kind: Asked = "stepover" if cusps is None else "cusp"
        values = lengths_mm(f"--{kind}s", asked, own.job.unit)
        _check_fit(kind, values[-1], tools)
    else:
        target = own.stages[-1].target
        kind, value = ("cusp", target.cusp_mm) if target.step_mm is None else ("stepover", target.step_mm)
        assert value is not None
        usual = [float(f"{share * value:.9g}") for share in _USUAL_SHARES]
        values = tuple(one for one in usual if one == usual[2] or one < min(_most_mm(kind, tool) for tool in tools))
        _check_fit(kind, usual[2], tools)
    if len(values) * len(tools) > _MOST_ROWS:
        raise InputError(
            f"--balls and --{kind}s", f"ask for {len(values) * len(tools)} rows", f"ask for {_MOST_ROWS} or fewer"
        )
    return Question(kind, values)


@dataclass(frozen=True)
class Given:
    """A job as it was given: keys of the file, options, and what opens error lines."""

    keys: Mapping[str, Any]
    options: Mapping[str, Any]
    subject: str

    def settings(self, part: MeasuredPart, **more: Any) -> Settings:
        """Settings in force for a part, with more options."""
        return resolve(part.mesh, self.keys, {**self.options, **more}, self.subject, part)


def lengths_mm(option: str, given: Lengths, unit: str) -> tuple[float, ...]:
    """Lengths in mm, smallest first, each once.

    Parameters
    ----------
    option : str
        Opens error lines.
    given : str, number, or several of them
        Text may hold several lengths with commas between. Where only the last has a unit, it is that of all.
    unit : str
        Of bare numbers: that of the job.

    >>> lengths_mm("--cusps", "2, 3, 5 um", "mm"), lengths_mm("--balls", ["1 in", 6], "mm")
    ((0.002, 0.003, 0.005), (6.0, 25.4))
    """
    items: list[str | float] = []
    for item in [given] if isinstance(given, str | int | float) else given:
        items.extend(_with_last_unit(item.split(",")) if isinstance(item, str) else [item])
    values = [_length_mm(option, item, unit) for item in items]
    if not values:
        raise InputError(option, "holds no length", "give one or more, such as '6 mm, 8 mm'")
    return tuple(sorted(set(values)))


def _with_last_unit(items: list[str]) -> list[str]:
    items = [item.strip() for item in items]
    sign = items[-1].lstrip("+-.,0123456789eE ")
    if sign and all(_is_bare(item) for item in items[:-1]):
        return [*(f"{item} {sign}" for item in items[:-1]), items[-1]]
    return items


def _is_bare(item: str) -> bool:
    try:
        float(item)
    except ValueError:
        return False
    return True


def _length_mm(option: str, item: str | float, unit: str) -> float:
    try:
        value = length_mm(item, unit)
    except ValueError as fault:
        problem, _, remedy = str(fault).partition("; ")
        raise InputError(option, problem, remedy or "correct it") from fault
    if value <= 0:
        raise InputError(option, f"{item!r} is not above zero", "give positive lengths, such as '0.1 mm'")
    return value


def _with_ball(part: MeasuredPart, own: Settings, given: Given, ball_mm: float) -> Settings:
    finish = own.stages[-1]
    listed = [n for n, tool in enumerate(own.tools) if tool.kind == "ball" and abs(tool.diameter - ball_mm) < 1e-9]
    if finish.target.tool in listed:
        return own
    if not (own.job.tool and listed):
        try:
            return given.settings(part, ball=f"{ball_mm!r} mm")
        except InputError as fault:
            raise InputError("--balls", fault.problem, fault.remedy) from fault
    tool = own.tools[listed[0]]
    target = replace(finish.target, tool=listed[0], cutter=cutter_of(tool))
    return replace(own, stages=(*own.stages[:-1], replace(finish, tool=tool, target=target)))


def _most_mm(kind: Asked, tool: Tool) -> float:
    """What a tool cannot leave: a cusp of its corner's radius, a step of twice that."""
    return tool.corner_radius_mm * (1.0 if kind == "cusp" else 2.0)


def _check_fit(kind: Asked, value_mm: float, tools: Sequence[Tool]) -> None:
    for tool in tools:
        if value_mm >= _most_mm(kind, tool):
            told = f"{value_mm:g} mm" if value_mm >= 0.1 else f"{plain_number(value_mm * UM_PER_MM)} um"
            raise InputError(
                f"--{kind}s",
                f"a {kind} of {told} is more than the {tool.diameter:g} mm {tool.kind} can leave",
                "ask for less, and check its unit (for example 0.005 mm)",
            )
