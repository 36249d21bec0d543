"""What the user asks for: settings with their checks and defaults, from a TOML job file and from options."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    model_validator,
)

from advisor import units
from advisor.errors import InputError

# Slope where the surface spacing of parallel lines equals that of constant-Z for equal steps: p/cos = dz/sin.
EQUAL_SPACING_SLOPE_DEG = 45.0
# Young's modulus of cemented carbide, N/mm2: about 580 to 620 GPa (from memory).
CARBIDE_MODULUS_N_PER_MM2 = 600_000.0
DEFAULT_FLUTES = 2


def _in_job_unit(convert: Any) -> BeforeValidator:
    def validate(value: Any, info: ValidationInfo) -> float:
        unit = (info.context or {}).get("unit", "mm")
        return float(convert(value, unit))

    return BeforeValidator(validate)


Length = Annotated[float, _in_job_unit(units.length_mm)]
PositiveLength = Annotated[float, _in_job_unit(units.length_mm), Field(gt=0)]
PositiveArea = Annotated[float, _in_job_unit(units.area_mm2), Field(gt=0)]
PositiveFeed = Annotated[float, _in_job_unit(units.feed_mm_per_min), Field(gt=0)]
Angle = Annotated[float, BeforeValidator(units.angle_deg)]
SurfaceSpeed = Annotated[float, _in_job_unit(units.surface_speed_m_per_min), Field(gt=0)]
Stress = Annotated[float, BeforeValidator(units.stress_n_per_mm2), Field(gt=0)]
SpindleSpeed = Annotated[float, BeforeValidator(units.spindle_rpm), Field(gt=0)]
Acceleration = Annotated[float, BeforeValidator(units.acceleration_mm_per_s2), Field(gt=0)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


# Text of one line: without control signs.
_ONE_LINE = r"^[^\x00-\x1f\x7f]*$"
ShortText = Annotated[str, Field(max_length=80, pattern=_ONE_LINE)]
LongText = Annotated[str, Field(max_length=600, pattern=_ONE_LINE)]


class TitleBlock(_Section):
    """What stands in the title block of the report; the machine's name stands under ``[machine]``."""

    part: ShortText | None = None
    drawing: ShortText | None = None
    revision: ShortText | None = None
    by: ShortText | None = None
    note: LongText | None = None


class ZoneRules(_Section):
    """How facets become zones. Angles are slopes: 0 a floor facing the spindle, 90 a wall."""

    flat_below: Annotated[Angle, Field(gt=0, lt=90)] = 5.0
    steep_from: Annotated[Angle, Field(gt=0, lt=90)] = EQUAL_SPACING_SLOPE_DEG
    wall_tolerance: Annotated[Angle, Field(ge=0, le=10)] = 1.0
    smallest: PositiveArea = 4.0
    overlap: Annotated[float, Field(ge=0, le=10)] = 2.0
    corner_share: Annotated[float, Field(gt=0, le=1)] = 0.8
    keep_together: bool = True
    blend_price: Annotated[float, Field(ge=0, le=1000)] = 10.0
    zone_price: Annotated[Length, Field(ge=0)] = 500.0

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.flat_below >= self.steep_from:
            raise ValueError(
                f"flat_below ({self.flat_below:g} deg) must be smaller than steep_from ({self.steep_from:g} deg)"
            )
        return self


class Machine(_Section):
    """What the machine can do. Defaults are those of a small machining centre (common practice, no source)."""

    name: str | None = None
    axes: Annotated[Literal["3", "3+2", "5"], BeforeValidator(str)] = "3"
    max_spindle: SpindleSpeed = 12_000.0
    max_feed: PositiveFeed = 10_000.0
    acceleration: Acceleration = 3_000.0
    corner_deviation: PositiveLength = 0.01
    tool_change_min: Annotated[float, Field(ge=0, le=60)] = 1.0
    max_tilt: Annotated[Angle, Field(ge=0, le=120)] | None = None
    rotary_axis: str | tuple[float, float, float] | None = None

    @model_validator(mode="after")
    def _rotary_axis_known(self) -> Self:
        if self.rotary_axis is not None:
            parse_up(self.rotary_axis, "rotary_axis")
        return self

    @property
    def tilt_deg(self) -> float:
        """Largest tilt of the tool against the set-up's axis, degrees: none with three axes."""
        if self.axes == "3":
            return 0.0
        return 90.0 if self.max_tilt is None else self.max_tilt


class HolderStep(_Section):
    """One cylinder or cone of the holder, from the nose up."""

    diameter: PositiveLength
    length: PositiveLength
    top_diameter: PositiveLength | None = None


class Tool(_Section):
    """A ball or bull-nose cutter."""

    name: str = ""
    kind: Literal["ball", "bull"] = "ball"
    diameter: PositiveLength
    corner_radius: PositiveLength | None = None
    flutes: Annotated[int, Field(ge=1, le=20)] | None = None
    centre_flutes: Annotated[int, Field(ge=1, le=20)] | None = None
    flute_length: PositiveLength | None = None
    neck_diameter: PositiveLength | None = None
    neck_length: PositiveLength | None = None
    shank_diameter: PositiveLength | None = None
    stick_out: PositiveLength | None = None
    modulus: Stress = CARBIDE_MODULUS_N_PER_MM2
    max_spindle: SpindleSpeed | None = None
    surface_speed: SurfaceSpeed | None = None
    feed_per_tooth: PositiveLength | None = None
    holder: tuple[HolderStep, ...] = ()

    @model_validator(mode="after")
    def _flutes_and_lengths_agree(self) -> Self:
        if self.centre_flutes is not None and self.centre_flutes > (self.flutes or DEFAULT_FLUTES):
            raise ValueError("centre_flutes cannot be more than flutes")
        reach = (self.flute_length or 0.0) + (self.neck_length or 0.0)
        if self.stick_out is not None and reach > self.stick_out:
            raise ValueError("stick_out must be at least flute_length and neck_length together")
        return self

    @model_validator(mode="after")
    def _corner_fits(self) -> Self:
        if self.kind == "bull":
            if self.corner_radius is None:
                raise ValueError('a "bull" tool needs corner_radius')
            if self.corner_radius >= self.diameter / 2:
                raise ValueError("corner_radius must be smaller than half the diameter")
        elif self.corner_radius is not None and not math.isclose(self.corner_radius, self.diameter / 2):
            raise ValueError('a "ball" has corner_radius = diameter / 2: leave it out, or set kind = "bull"')
        return self

    @property
    def corner_radius_mm(self) -> float:
        """Radius of the rounded corner, mm; half the diameter for a ball."""
        return self.diameter / 2 if self.corner_radius is None else self.corner_radius


class Stage(_Section):
    """One finishing stage: a cusp, a stepover or an Ra to hold, and the stock it leaves."""

    name: str
    cusp: PositiveLength | None = None
    stepover: PositiveLength | None = None
    ra: PositiveLength | None = None
    stock_left: Annotated[Length, Field(ge=0)] = 0.0
    tool: str | None = None
    surface_speed: SurfaceSpeed | None = None
    feed_per_tooth: PositiveLength | None = None

    @model_validator(mode="after")
    def _one_target(self) -> Self:
        if sum(target is not None for target in (self.cusp, self.stepover, self.ra)) != 1:
            raise ValueError("give exactly one of cusp, stepover, ra")
        return self


class ZoneOverride(_Section):
    """What the user decides for the zone that a point lies on."""

    at: tuple[Length, Length, Length]
    name: ShortText | None = None
    shape: str | None = None
    strategy: Literal["constant_z", "parallel_line", "constant_cusp"] | None = None
    merge: tuple[tuple[Length, Length, Length], ...] = ()
    split: bool = False
    exclude: bool = False
    protect: bool = False

    @model_validator(mode="after")
    def _one_fate(self) -> Self:
        if self.exclude and self.protect:
            raise ValueError("exclude leaves a zone out of the plan, protect keeps passes off it; give one of the two")
        if self.protect and self.strategy is not None:
            raise ValueError("a protected zone is not cut; leave out strategy or protect")
        return self


class MaterialRow(_Section):
    """Cutting data of a material of the user's own; the shipped table has the same columns (cutter/materials.toml).

    Cutting speed holds at the diameter that really cuts; feed per tooth is for light finishing.
    """

    group: Literal["P", "M", "K", "N", "S", "H"]
    surface_speed: Annotated[tuple[SurfaceSpeed, SurfaceSpeed], Field(description="lowest and highest")]
    feed_per_tooth_of_diameter: tuple[Annotated[float, Field(gt=0, le=0.2)], Annotated[float, Field(gt=0, le=0.2)]]
    kc11: Stress | None = None
    mc: Annotated[float, Field(ge=0, lt=1)] | None = None
    source: str = "the job file"

    @model_validator(mode="after")
    def _low_before_high(self) -> Self:
        for name in ("surface_speed", "feed_per_tooth_of_diameter"):
            low, high = getattr(self, name)
            if low > high:
                raise ValueError(f"{name}: the lowest ({low:g}) comes before the highest ({high:g})")
        return self


DEFAULT_STAGES = (Stage(name="pre-finish", cusp=0.025, stock_left=0.1), Stage(name="finish", cusp=0.005))


class Job(_Section):
    """All that the user asks for; every field has a default. Lengths are mm once read."""

    unit: Literal["mm", "inch", "m"] = "mm"
    up: str | tuple[float, float, float] = "+Z"
    setups: Literal["one", "fewest"] | Annotated[tuple[str, ...], Field(min_length=1, max_length=12)] = "one"
    material: str | None = None
    own_material: MaterialRow | None = None
    tolerance: PositiveLength | None = None
    path_tolerance: PositiveLength = 0.002
    stock: PositiveLength = 0.5
    clearance: Annotated[Length, Field(ge=0)] = 0.5
    title: TitleBlock = TitleBlock()
    zones: ZoneRules = ZoneRules()
    machine: Machine = Machine()
    tool: tuple[Tool, ...] = ()
    stage: Annotated[tuple[Stage, ...], Field(min_length=1)] = DEFAULT_STAGES
    zone: tuple[ZoneOverride, ...] = ()

    @model_validator(mode="after")
    def _names_known(self) -> Self:
        parse_up(self.up)
        for axis in () if isinstance(self.setups, str) else self.setups:
            parse_up(axis)
        names = [tool.name for tool in self.tool]
        for stage in self.stage:
            if stage.tool is not None and stage.tool not in names:
                allowed = ", ".join(repr(name) for name in names) or "none listed"
                raise ValueError(f"stage {stage.name!r} asks for tool {stage.tool!r}; tools of the job: {allowed}")
        return self


_AXES = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


def parse_up(up: str | tuple[float, float, float], key: str = "up") -> tuple[float, float, float]:
    """Unit vector of the tool axis, pointing from the part to the spindle, or of another direction of the job.

    Parameters
    ----------
    up : str or 3 floats
        ``+Z``, ``-x``, ``Y``, ``0,0,1`` or a vector.
    key : str
        What the job file calls it.

    Raises
    ------
    ValueError
        Where it is none of these, or of no length.
    """
    vector = _axis_by_name(up) if isinstance(up, str) else tuple(float(value) for value in up)
    length = math.sqrt(math.fsum(value * value for value in vector))
    if len(vector) != 3 or not math.isfinite(length) or length < 1e-12:
        raise ValueError(f"{key} = {up!r} is not a direction; use +X, -X, +Y, -Y, +Z, -Z or a vector such as 0,0,1")
    x, y, z = (value / length for value in vector)
    return (x, y, z)


def _axis_by_name(up: str) -> tuple[float, ...]:
    text = up.strip().upper()
    sign = -1.0 if text.startswith("-") else 1.0
    if text.lstrip("+-") in _AXES and len(text) <= 2:
        return tuple(sign * value for value in _AXES[text.lstrip("+-")])
    try:
        return tuple(float(value) for value in text.split(","))
    except ValueError:
        return ()


def load_job(path: str | Path) -> tuple[Job, Mapping[str, Any]]:
    """The job in a TOML file, and the file's own keys (to tell settings from defaults).

    Raises
    ------
    InputError
        One line with the file, the key and what is allowed.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
        # a shell that writes UTF-16 (`advisor job > job.toml` in some) marks it so
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
        keys = tomllib.loads(text)
    except OSError as fault:
        raise InputError(str(path), f"cannot be read ({fault.strerror})", "give the path of a TOML job file") from fault
    except ValueError as fault:  # not TOML, not text, or a number of thousands of digits
        raise InputError(str(path), f"is not TOML ({fault})", "see docs/file-formats.md for an example") from fault
    return job_from_keys(keys, str(path)), keys


def job_from_keys(keys: Mapping[str, Any], subject: str) -> Job:
    """A checked job from plain keys; `subject` opens the error line."""
    unit = keys.get("unit", "mm")
    try:
        unit = units.unit_name(unit) if isinstance(unit, str) else unit
    except InputError as fault:
        raise InputError(f"{subject}: unit", fault.problem, fault.remedy) from fault
    material = _material_keys(keys, subject)
    try:
        return Job.model_validate({**keys, **material, "unit": unit}, context={"unit": unit})
    except ValidationError as fault:
        raise _first_fault(fault, subject) from fault


def _material_keys(keys: Mapping[str, Any], subject: str) -> Mapping[str, Any]:
    """``material`` is a name of the shipped table, or ``[material.NAME]`` the one row of the user's own."""
    if "own_material" in keys:
        raise InputError(f"{subject}: own_material", "is no key of a job file", "write [material.NAME]")
    material = keys.get("material")
    if not isinstance(material, Mapping):
        return {}
    if len(material) != 1:
        raise InputError(f"{subject}: material", f"holds {len(material)} materials", "give one [material.NAME]")
    ((name, row),) = material.items()
    return {"material": name, "own_material": row}


def _first_fault(fault: ValidationError, subject: str) -> InputError:
    # a key that does not exist explains the one that is missing
    first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
    key = ".".join(str(step) for step in first["loc"]).replace("own_material", "material.NAME") or "job"
    if first["type"] == "extra_forbidden":
        return InputError(f"{subject}: {key}", "is no key of a job file", _suggest(first["loc"]))
    message = str(first["msg"]).removeprefix("Value error, ")
    problem, _, remedy = message.partition("; ")
    problem = problem.replace("Input should be", f"{first['input']!r} is not allowed: it should be")
    return InputError(f"{subject}: {key}", problem, remedy or "correct this value")


def _suggest(location: tuple[int | str, ...]) -> str:
    models: dict[str, type[BaseModel]] = {
        "zones": ZoneRules, "machine": Machine, "tool": Tool, "stage": Stage, "zone": ZoneOverride,
        "own_material": MaterialRow, "title": TitleBlock,
    }  # fmt: skip
    model = models.get(str(location[0]), Job) if len(location) > 1 else Job
    if "holder" in location[:-1]:
        model = HolderStep
    allowed = list(model.model_fields)
    near = difflib.get_close_matches(str(location[-1]), allowed, n=1)
    if near:
        return f"did you mean {near[0]!r}?"
    return "allowed here: " + ", ".join(allowed)
