"""What the plan says of a zone: its geometry, its neighbours, and the advice for it. Plain frozen records.

Lengths are mm, angles degrees, unless a name says otherwise. ``None`` means "not computed", never a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SlopeClass = Literal["flat", "shallow", "steep", "undercut"]
Strategy = Literal["constant_z", "parallel_line", "constant_cusp"]
Joint = Literal["tangent", "inside corner", "outside corner"]
TiltHold = Literal["holder", "shank", "cutter"]
TiltSide = Literal["both", "uphill", "downhill"]
SurfaceKind = Literal["plane", "cylinder", "sphere", "cone", "torus"]

SLOPE_CLASSES: tuple[SlopeClass, ...] = ("flat", "shallow", "steep", "undercut")
STRATEGIES: tuple[Strategy, ...] = ("constant_z", "parallel_line", "constant_cusp")

# A zone of many small features (drilled holes, pins, letters) that are noted together, not finished by a ball.
SMALL_FEATURES_SHAPE = "small features"


@dataclass(frozen=True)
class Spread:
    """Area-weighted spread of a facet quantity over a zone."""

    min: float
    p05: float
    mean: float
    p95: float
    max: float


@dataclass(frozen=True)
class Range:
    """Smallest and largest value over a zone."""

    min: float
    max: float


@dataclass(frozen=True)
class Cusp:
    """Predicted cusp height normal to the surface, um. ``None`` where the cutter leaves surface uncut."""

    target: float | None
    p95: float | None
    max: float | None


@dataclass(frozen=True)
class Neighbour:
    """A zone that shares boundary with this one."""

    zone: int
    length_mm: float
    joint: Joint


@dataclass(frozen=True)
class Repeats:
    """The zone is one of several congruent ones: program the first of its group, copy the rest.

    The model is turned about the tool axis through the origin by ``turn_deg``, then shifted. A mirror image is listed
    but cannot be copied so.
    """

    group: int
    of: int
    turn_deg: float
    shift_mm: tuple[float, float, float]
    model: int
    is_mirrored: bool
    pattern: str
    centre_mm: tuple[float, float, float] | None
    pitch_deg: float | None


@dataclass(frozen=True)
class Trade:
    """What keeping a zone together was weighed against: the split by slope that needs least path.

    ``blend_price_mm`` is what the blend line of the split counts for, in path. Split fields are ``None`` where no
    split holds the target.
    """

    whole_path_mm: float
    whole_min: float | None
    whole_tip_share: float | None
    split_at_deg: float | None
    split_path_mm: float | None
    split_min: float | None
    split_tip_share: float | None
    blend_mm: float | None
    blend_price_mm: float | None
    why: tuple[str, ...]


@dataclass(frozen=True)
class Tilt:
    """A tilt that keeps the contact off the tip, and what it gains at the contact of the least slope.

    ``allowed`` says whether the job's machine can tilt so far. Speeds are ``None`` where no spindle speed is known.
    ``spindle_rpm`` and ``feed_mm_per_min`` are those to run tilted: further up the ball the same spindle cuts faster.
    """

    tilt_deg: float
    allowed: bool
    contact_diameter_before_mm: float
    contact_diameter_after_mm: float
    surface_speed_before_m_per_min: float | None
    surface_speed_after_m_per_min: float | None
    spindle_rpm: float | None = None
    feed_mm_per_min: float | None = None


@dataclass(frozen=True)
class ErrorBudget:
    """How far the finished surface may lie from the drawn one: the parts, their plain sum, and the tolerance.

    The sum is the worst case. Parts that are not known are ``None`` and left out of it; ``largest`` names the
    largest part, ``within`` is ``None`` where the job states no tolerance.
    """

    cusp_um: float | None
    facets_um: float | None
    path_um: float
    bending_um: float | None
    total_um: float
    tolerance_um: float | None
    within: bool | None
    largest: str


@dataclass(frozen=True)
class StepPoint:
    """A candidate at one stepover along the surface: the cusp that 95 % of the zone stays within, path and minutes.

    Where ``is_laid`` the numbers are those of laid passes. At other stepovers they are these, or the estimates at the
    candidate's own, times what the sums of the family grow by; minutes are at the feed advised for the stepover.
    """

    stepover_mm: float
    cusp_p95_um: float
    path_mm: float
    feed_mm_per_min: float | None
    total_min: float | None
    is_laid: bool


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One way to cut one zone in one stage. Fields that a strategy does not use are ``None``.

    ``stepover_mm`` is measured along the surface, ``line_spacing_mm`` in plan, ``z_step_mm`` along the tool
    axis, ``direction_deg`` from +X (of the set-up) about the tool axis. Surface speeds are those at the contact.
    ``cusp_along_feed_um`` is the mark each tooth leaves on its way, beside ``cusp_um`` between passes.
    ``corner_feed_mm_per_min`` is the feed advised where a pass walks into an inside corner. Minutes are of this
    stage; ``total_min`` has links in it. A candidate that is not ``usable`` has no numbers of its passes.

    Where ``is_laid``, path, passes, lifts and minutes are those of passes laid on the part, and cusps those that a
    virtual cut leaves where the tool gets to. ``centre_path_mm`` is run by the middle of the cutter, ``link_mm`` goes
    along the surface between passes, ``lift_mm`` through the air. ``cusp_uniformity`` is standard deviation over mean
    of the cusp (the height that 95 % of a place stays within) from place to place. Shares are of the area the tool gets
    to, ``uncut_share`` of what no pass comes near, 1 where the tool gets nowhere; ``out_of_reach_share`` is that of the
    zone that the stage's tool, its holder with it, does not get to. ``gouge_um`` is the deepest cut below
    the smooth surface, but for 0.1 % of it. ``spirals`` is how many of the passes were wound from closed loops.

    ``step_curve`` is told of usable candidates of the last stage: what other stepovers would take and leave, closest
    first, with the candidate's own among them.
    """

    strategy: Strategy
    tool: int
    stage: str
    stepover_mm: float | None
    line_spacing_mm: float | None
    z_step_mm: float | None
    direction_deg: float | None
    cusp_um: Cusp
    ra_um: float | None
    contact_diameter_mm: Range | None
    tip_contact_share: float | None
    spindle_rpm: float | None
    surface_speed_m_per_min: Range | None
    mean_surface_speed_m_per_min: float | None = None
    feed_per_tooth_mm: float | None = None
    cusp_along_feed_um: float | None = None
    feed_mm_per_min: float | None
    corner_feed_mm_per_min: float | None = None
    passes: int | None
    path_mm: float | None
    lifts: int | None
    cutting_min: float | None
    total_min: float | None
    total_min_range: tuple[float, float] | None
    tilt: Tilt | None = None
    error_budget: ErrorBudget | None = None
    is_laid: bool = False
    centre_path_mm: float | None = None
    link_mm: float | None = None
    lift_mm: float | None = None
    cusp_mean_um: float | None = None
    cusp_uniformity: float | None = None
    above_target_share: float | None = None
    uncut_share: float | None = None
    out_of_reach_share: float | None = None
    gouge_um: float | None = None
    spirals: int | None = None
    step_curve: tuple[StepPoint, ...] = ()
    usable: bool
    why: tuple[str, ...]


@dataclass(frozen=True)
class ClassAreas:
    """Area in each slope class, mm2."""

    flat: float
    shallow: float
    steep: float
    undercut: float


@dataclass(frozen=True)
class FittedSurface:
    """The plane, cylinder, sphere, cone or torus that a zone stands for.

    ``point_mm`` lies on a plane and on the axis of cylinder and cone beside the middle of the zone; it is the centre
    of sphere and torus. ``axis`` is a plane's outward normal; a cone's points to its tip. ``radius_mm`` is that of a
    cone at ``point_mm``, of a torus that of its tube; ``ring_radius_mm`` is from a torus' centre to the middle of the
    tube. ``is_hollow`` is True where the surface bends inward seen from outside the part. Residuals are those of
    corners of facets: rms within ``tolerance_um``, none beyond four times that.
    """

    kind: SurfaceKind
    point_mm: tuple[float, float, float]
    axis: tuple[float, float, float] | None
    radius_mm: float | None
    ring_radius_mm: float | None
    half_angle_deg: float | None
    is_hollow: bool
    rms_um: float
    max_um: float
    tolerance_um: float


@dataclass(frozen=True)
class ZoneOutline:
    """The zone's outline in short; ``outlines.npz`` has it in full.

    ``loops`` counts outer loops and holes, ``length_mm`` is of all. ``overlap_mm`` is how far the outline is pushed
    out over smooth borders, ``None`` where no stepover is known or the zone is not cut. ``deviation_um`` is how far
    the outline and the border of the facets lie apart at most.
    """

    loops: int
    holes: int
    length_mm: float
    overlap_mm: float | None
    deviation_um: float


@dataclass(frozen=True)
class ZoneLeftover:
    """What the finishing cutter leaves in a zone because it is too large: where, and how high over the surface."""

    area_mm2: float
    p95_um: float
    max_um: float


@dataclass(frozen=True)
class ZoneReach:
    """How much of a zone the finishing tool gets to.

    ``share`` is what it touches without gouging and clear of shank and holder; ``cutter_share`` is what it is too
    large for, ``shank_or_holder_share`` what these would touch at the stick-out of the job: ``shank_share`` neck or
    shank, and with flutes or neck longer by ``shank_short_mm`` no more (``None`` where they are clear);
    ``holder_share`` the holder alone. ``depth_mm`` is from the
    part's highest point to the zone's lowest. ``stick_out_mm`` is the least length out of the holder that keeps it
    clear wherever the cutter gets; ``None`` where the job describes no holder. ``largest_diameter_mm`` is that of the
    largest cutter that gets to as much of the zone as any does and fits its corners, of the job's tools or, where it
    lists none, of balls on most shelves. ``fit_diameter_mm`` is measured: of the largest ball that fits on
    99 % of what any ball fits on, 50 where nothing hinders one so large, ``None`` where none fits; ``fit_share`` is the
    share of all the zone that it fits on. ``held_back_by`` is what keeps the tool off most of what it does not reach,
    ``None`` where it reaches all that counts.
    """

    share: float
    cutter_share: float
    shank_or_holder_share: float
    depth_mm: float
    stick_out_mm: float | None
    largest_diameter_mm: float | None
    leftover: ZoneLeftover | None
    fit_diameter_mm: float | None = None
    fit_share: float | None = None
    shank_share: float = 0.0
    holder_share: float = 0.0
    shank_short_mm: float | None = None
    held_back_by: TiltHold | None = None
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class FeedTilt:
    """A tilt that turns with the feed, on a machine with five axes: the smallest that is clear and keeps the tip off.

    ``side`` says to which side: ``both`` where passes run there and back, so that both must be clear. 0 deg where none
    is clear or none is better than upright; ``held_back_by`` is what touches where a better one is not clear, and
    ``held_back_share`` on how much of the zone, the clearest of those taken. ``lost_share`` is what of the zone is
    reached upright and not so.
    """

    tilt_deg: float
    side: TiltSide
    off_tip_share: float
    held_back_by: TiltHold | None
    held_back_share: float | None
    lost_share: float = 0.0


@dataclass(frozen=True)
class ZoneTilt:
    """How to tilt the tool over a zone so that the ball cuts beside its tip and all of the tool stays clear.

    ``tilt_deg`` is that of a fixed tool axis, 0 where no other is clear or none is better than upright; with 3+2 axes
    it is that of the zone's orientation, else the smallest for the zone. The spindle leans towards ``azimuth_deg``,
    from +X of the set-up about its tool axis; ``None`` upright. ``off_tip_share`` is what of the zone's area is reached
    and cut beside the tip, ``reached_share`` what is reached at all. ``clear_azimuths_deg`` are those, of all 10 deg
    apart, that are clear at this tilt. ``held_back_by`` is what touches mostly where a better tilt is not clear,
    ``held_back_share`` on how much of the zone, the clearest of those taken. ``lead`` is in the direction of the feed,
    ``lean`` across it; ``None`` but for five axes. ``places`` is at how many points of the zone that was asked,
    ``lost_share`` what of its area is reached upright and not so, ``lost_by`` what mostly touches there.
    ``spindle_rpm`` and ``feed_mm_per_min`` are those not to pass at any tilt told.
    """

    tilt_deg: float
    azimuth_deg: float | None
    tool_axis: tuple[float, float, float]
    off_tip_share: float
    upright_off_tip_share: float
    reached_share: float
    upright_reached_share: float
    clear_azimuths_deg: tuple[float, ...]
    held_back_by: TiltHold | None
    held_back_share: float | None
    stick_out_mm: float | None
    lead: FeedTilt | None
    lean: FeedTilt | None
    why: tuple[str, ...]
    places: int = 0
    lost_share: float = 0.0
    lost_by: TiltHold | None = None
    spindle_rpm: float | None = None
    feed_mm_per_min: float | None = None


@dataclass(frozen=True)
class Zone:
    """A connected area that is finished in one way.

    ``slope_class`` is the one that covers most of it; a zone kept together over several has all of them in
    ``class_area_mm2``. ``z_mm`` is along the set-up's tool axis, from the part's origin; heights in ``name`` are X, Y
    or Z of the part where the axis is along one of them, else those of ``z_mm``. ``concave_radius_mm`` is the tightest
    hollow: 1 % of the area may be tighter. ``surface`` is ``None`` where no simple one holds.
    """

    id: int
    setup: int
    name: str
    slope_class: SlopeClass
    shape: str | None
    is_closed: bool | None
    facets: int
    area_mm2: float
    plan_area_mm2: float
    class_area_mm2: ClassAreas
    slope_deg: Spread
    z_mm: Range
    concave_radius_mm: float | None
    reachable_share: float | None
    features: int
    is_protected: bool
    repeats: Repeats | None
    neighbours: tuple[Neighbour, ...]
    advice: Advice | None
    steps: tuple[Advice, ...]
    candidates: tuple[Advice, ...]
    trade: Trade | None = None
    surface: FittedSurface | None = None
    outline: ZoneOutline | None = None
    reach: ZoneReach | None = None
    tilt: ZoneTilt | None = None
