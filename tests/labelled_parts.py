"""Makers of the labelled parts: ``labelled_parts()`` gives them all, each maker takes ``chord_error_mm``.

What a machinist would draw as one zone (tool axis +Z; common practice, no source):

- what looks down, and what lies hidden under it all over: "undercut", one zone for each connected area;
- a level plane: "land" where all round it falls away, "floor" where something rises from it;
- a wall with the fillet at its foot and the round at its top, all round a block or a pocket: "wall";
- a pocket whose floor joins its wall through a fillet: "pocket", with its rim round; with a sharp inside edge, or
  with an island on its floor, floor and wall are two zones;
- a curved hollow without a plane floor: "bowl"; a curved hill with its foot fillet: "dome"; a hill whose level
  top joins its flank through a round: "boss"; a sharp top is a "land" of its own;
- planes and cones below 60 degrees and gentle waves: "slope"; from 60 degrees: "wall";
- a channel, straight or led round a centre: "groove"; a lying half-cylinder: "round";
- a fillet tighter than the ball: "fillet", a zone of its own between its neighbours;
- drilled holes narrower than the ball, three or more: "small features", one zone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan, ceil, cos, degrees, inf, pi, radians, sin, sqrt, tan

import numpy as np
from labelled import (
    LabelledPart,
    Outline,
    Piece,
    Run,
    Zone,
    arc,
    assembled,
    base,
    chain,
    circle,
    drawn,
    flat,
    level,
    line,
    polygon,
    rectangle,
    swept,
)
from solids import CHORD_ERROR_MM, Points, facet_angle_rad

OUTSIDE, TOP_LAND, TOP_FLOOR = Zone("outside", "wall"), Zone("top", "land"), Zone("top", "floor")
HOLES = Zone("holes", "small features")
UNDER = Zone("base", "undercut")
WALL_FROM_DEG = 60.0

# ---------------------------------------------------------------------------------------- features


@dataclass(frozen=True)
class Feature:
    """Pieces, the loop they leave open in the face they lie in, and the loops they open in the base."""

    pieces: list[Piece]
    opening: Points
    through: tuple[Points, ...] = ()


@dataclass(frozen=True)
class Zones:
    """Zones of a stage: the arc at its outer edge, its wall, the arc at its inner edge, its level face."""

    outer: Zone
    wall: Zone
    inner: Zone
    level: Zone


def stage(
    name: str,
    zones: Zones,
    outline: Outline,
    z_mm: tuple[float, float],
    radii_mm: tuple[float, float],
    chord_error_mm: float,
    draft_deg: float = 0.0,
    features: Sequence[Feature] = (),
) -> Feature:
    """A wall from one level to another and the level face within it, with features in that; up: a hill, down: a pocket.

    The outline is the edge of the opening, at the outer end of its round or fillet. The wall leans ``draft_deg``
    from upright and is tangent to its arcs.
    """
    lean, (start, end), (outer, inner) = radians(draft_deg), z_mm, radii_mm
    # from the opening to where wall and outer level would meet without the arc
    first = outer * tan((pi / 2 - lean) / 2)
    last = first + abs(end - start) * tan(lean)
    corners = [(first - 100, start, 0.0, None), (first, start, outer, zones.wall)]
    runs = chain([*corners, (last, end, inner, None), (last + 100, end, 0.0, None)], chord_error_mm)
    arcs = [k for k, run in enumerate(runs) if run.kind == "arc"]
    for k in arcs:
        zone = zones.outer if k == 0 else zones.inner
        runs[k] = Run(runs[k].kind, runs[k].points, zone, runs[k].centre_mm)
    inside = outline.inset(runs[-1].points[-1, 0])
    face = level(f"{name} level", zones.level, inside, [feature.opening for feature in features], end)
    pieces = [*swept(name, outline, runs), face, *(piece for feature in features for piece in feature.pieces)]
    return Feature(pieces, outline.inset(0), tuple(loop for feature in features for loop in feature.through))


def pocket(
    name: str,
    outline: Outline,
    top_mm: float,
    depth_mm: float,
    fillet_mm: float,
    ball_mm: float,
    chord_error_mm: float,
    rim_mm: float = 0.0,
    draft_deg: float = 0.0,
    features: Sequence[Feature] = (),
) -> Feature:
    """Pocket by the rules: one zone, or floor and wall, or floor, fillet and wall."""
    one, wall, floor = Zone(name, "pocket"), Zone(f"{name} wall", "wall"), Zone(f"{name} floor", "floor")
    if fillet_mm == 0 or features:
        zones = Zones(wall, wall, wall, floor)
    elif fillet_mm < ball_mm / 2:
        zones = Zones(wall, wall, Zone(f"{name} fillet", "fillet"), floor)
    else:
        zones = Zones(one, one, one, one)
    z = (top_mm, top_mm - depth_mm)
    return stage(name, zones, outline, z, (rim_mm, fillet_mm), chord_error_mm, draft_deg, features)


def hill(
    name: str,
    outline: Outline,
    foot_mm: float,
    height_mm: float,
    fillet_mm: float,
    ball_mm: float,
    chord_error_mm: float,
    round_mm: float = 0.0,
    draft_deg: float = 0.0,
) -> Feature:
    """Hill with a level top by the rules: a boss where the top is rounded, else land and flank."""
    if round_mm > 0:
        flank = top = Zone(name, "boss")
    else:
        flank = Zone(f"{name} flank", "wall" if 90 - draft_deg >= WALL_FROM_DEG else "slope")
        top = Zone(f"{name} land", "land")
    foot = Zone(f"{name} fillet", "fillet") if 0 < fillet_mm < ball_mm / 2 else flank
    z = (foot_mm, foot_mm + height_mm)
    return stage(name, Zones(foot, flank, flank, top), outline, z, (fillet_mm, round_mm), chord_error_mm, draft_deg)


Where = tuple[float, float]


def cap(
    name: str,
    at: Where,
    z_mm: float,
    way: int,
    sphere_mm: float,
    steepest_deg: float,
    chord_error_mm: float,
    arc_mm: float = 0.0,
) -> Feature:
    """Spherical bowl (way -1) with a rim round, or dome (way 1) with a foot fillet, of radius ``arc_mm``."""
    zone, steepest = Zone(name, "dome" if way > 0 else "bowl"), radians(steepest_deg)
    opening = (sphere_mm + arc_mm) * sin(steepest)
    # of a dome; a bowl is its mirror image
    centre = (opening, arc_mm * (1 - cos(steepest)) - sphere_mm * cos(steepest))
    runs = [arc(centre, sphere_mm, 90 + steepest_deg, 90, zone, chord_error_mm)]
    if arc_mm > 0:
        runs.insert(0, arc((0.0, arc_mm), arc_mm, -90, steepest_deg - 90, zone, chord_error_mm))
    runs = [Run("arc", run.points * (1, way) + (0, z_mm), zone, run.centre_mm) for run in runs]
    outline = circle(opening, chord_error_mm).placed(*at)
    return Feature(swept(name, outline, runs), outline.inset(0))


def paraboloid(
    name: str,
    at: Where,
    z_mm: float,
    way: int,
    radius_mm: float,
    height_mm: float,
    chord_error_mm: float,
    arc_mm: float = 0.0,
) -> Feature:
    """Paraboloid of revolution, hollow (way -1) or a hill (way 1), with a rim round or foot fillet ``arc_mm``."""
    zone, steepest = Zone(name, "dome" if way > 0 else "bowl"), atan(2 * height_mm / radius_mm)
    opening, rise = radius_mm + arc_mm * sin(steepest), arc_mm * (1 - cos(steepest))
    steps = ceil(radius_mm / sqrt(8 * chord_error_mm * radius_mm**2 / (2 * height_mm)))
    from_axis = np.linspace(radius_mm, 0, steps + 1)
    curve = np.column_stack((opening - from_axis, rise + height_mm * (1 - (from_axis / radius_mm) ** 2)))
    runs = [Run("free", curve, zone)]
    if arc_mm > 0:
        runs.insert(0, arc((0.0, arc_mm), arc_mm, -90, degrees(steepest) - 90, zone, chord_error_mm))
    runs = [Run(run.kind, run.points * (1, way) + (0, z_mm), zone, run.centre_mm) for run in runs]
    outline = circle(opening, chord_error_mm).placed(*at)
    return Feature(swept(name, outline, runs), outline.inset(0))


def bore(
    name: str, zone: Zone, at: Where, z_mm: float, diameter_mm: float, chord_error_mm: float, depth_mm: float = inf
) -> Feature:
    """Hole with a sharp edge: through to the base, or ``depth_mm`` deep with a drill's point of 118 degrees."""
    radius, through = diameter_mm / 2, depth_mm == inf
    outline, bottom = circle(radius, chord_error_mm).placed(*at), 0.0 if through else z_mm - depth_mm
    runs = [line((0, z_mm), (0, bottom), zone)]
    if not through:
        runs.append(line((0, bottom), (radius, bottom - radius / tan(radians(59))), zone))
    opening = outline.inset(0)
    return Feature(swept(name, outline, runs), opening, (opening,) if through else ())


Height = Callable[[Points, Points], Points]


def pad(
    name: str, at: Where, turn_deg: float, size_mm: Where, z_mm: float, height: Height, steps: tuple[int, int]
) -> Feature:
    """Upright-walled pad on a rectangle, its top ``height(x, y)`` above the foot, x and y from the pad's middle."""
    zone, wall = Zone(f"{name} top", "slope"), Zone(f"{name} wall", "wall")
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
    x, y = (np.linspace(-size / 2, size / 2, count + 1) for size, count in zip(size_mm, steps, strict=True))
    up = height(*np.meshgrid(x, y))

    def put(points: Points) -> Points:
        return np.column_stack((points[:, :2] @ np.array([(c, s), (-s, c)]) + at, points[:, 2] + z_mm))

    grid = np.dstack((*np.meshgrid(x, y), up))
    placed = put(grid.reshape(-1, 3)).reshape(grid.shape)
    top = Piece(_surface(placed), f"{name} top", "plane" if steps == (1, 1) else "free", zone)
    pieces = [top]
    edges = [grid[0], grid[:, -1], grid[-1, ::-1], grid[::-1, 0]]
    for k, edge in enumerate(edges):
        along = np.hypot(*(edge[:, :2] - edge[0, :2]).T)
        foot = [(0.0, 0.0), (along[-1], 0.0)]
        loop = np.array(foot + [(u, v) for u, v in zip(along[::-1], edge[::-1, 2], strict=True) if v > 0])
        if len(loop) > 2:
            way = (edge[-1, :2] - edge[0, :2]) / along[-1]
            pieces.append(flat(f"{name} wall {k}", wall, loop, [], _upright(edge[0, :2], way, put)))
    corners = np.array([edge[0] * (1, 1, 0) for edge in edges])
    return Feature(pieces, put(corners)[:, :2])


def _upright(origin: Points, way: Points, put: Callable[[Points], Points]) -> Callable[[Points], Points]:
    return lambda plan: put(np.column_stack((origin + plan[:, :1] * way, plan[:, 1])))


def _surface(grid: Points) -> Points:
    a, b, c, d = (part.reshape(-1, 3) for part in (grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]))
    return np.concatenate((np.stack((a, b, c), 1), np.stack((a, c, d), 1)))


def ramp(
    name: str, at: Where, turn_deg: float, size_mm: Where, z_mm: float, slope_deg: float, low_mm: float
) -> Feature:
    """Pad whose top is a plane that rises along its own x from ``low_mm`` above the foot."""
    rise = tan(radians(slope_deg))
    return pad(name, at, turn_deg, size_mm, z_mm, lambda x, y: low_mm + rise * (x + size_mm[0] / 2) + 0 * y, (1, 1))


def plate(outline: Outline, height_mm: float, top: Zone, features: Sequence[Feature]) -> list[Piece]:
    """Base, outside wall, top and the features in it."""
    through = [loop for feature in features for loop in feature.through]
    zones = Zones(OUTSIDE, OUTSIDE, OUTSIDE, top)
    body = stage("plate", zones, outline, (0, height_mm), (0, 0), 1.0, features=features)
    return [base(outline.inset(0), through), *body.pieces]


# ---------------------------------------------------------------------------------------- plates with hollows


def round_pocket_plate(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Twelve round pockets, no two depths and fillets alike but for one repeated pair."""
    measures = [  # x, y, radius, depth, fillet, rim round
        (-62, 34, 17, 14, 5, 0), (-24, 36, 14, 9.5, 4.5, 1.5), (9, 37, 15, 18, 6, 0), (46, 33, 20, 11, 8, 2),
        (-64, -3, 15, 20, 7, 1), (-30, 3, 12, 7, 5, 0), (2, 2, 16, 15, 4.2, 2.5), (39, -7, 13, 9, 4, 0),
        (66, -2, 10, 12, 6, 0), (-47, -37, 17, 14, 5, 0), (-9, -34, 18, 16.5, 9, 3), (33, -37, 14, 6, 4.5, 1),
    ]  # fmt: skip
    pockets = [
        pocket(f"pocket {k}", circle(r, chord_error_mm).placed(x, y), 26, depth, fillet, 7, chord_error_mm, rim)
        for k, (x, y, r, depth, fillet, rim) in enumerate(measures)
    ]
    outline = rectangle(172, 122, 0, chord_error_mm)
    return assembled("round_pocket_plate", plate(outline, 26, TOP_LAND, pockets), 7)


def sharp_pocket_plate(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Pockets with sharp inside edges between floor and wall: square, rounded, round and L-shaped."""
    ell = [(-18, -14), (18, -14), (18, 2), (2, 2), (2, 16), (-18, 16)]
    outlines = [
        rectangle(38, 24, 0, chord_error_mm).placed(-52, 33, 8),
        rectangle(26, 26, 0, chord_error_mm).placed(-6, 34, -14),
        rectangle(44, 22, 6, chord_error_mm).placed(42, 34, 3),
        circle(13.5, chord_error_mm).placed(-61, -4),
        polygon(ell, 0, chord_error_mm).placed(-20, -5, 11),
        polygon(ell, 5, chord_error_mm).placed(27, -7, -25),
        rectangle(20, 16, 0, chord_error_mm).placed(60, 2, 30),
        rectangle(30, 20, 7, chord_error_mm).placed(-50, -38),
        rectangle(26, 20, 0, chord_error_mm).placed(-8, -40),
        circle(10, chord_error_mm).placed(22, -42),
        circle(10, chord_error_mm).placed(58, -34),
    ]
    depths = (9, 12.5, 6, 14, 8, 10, 4.5, 11, 9, 7, 7)
    pockets = [
        pocket(f"pocket {k}", outline, 22, depth, 0, 7, chord_error_mm)
        for k, (outline, depth) in enumerate(zip(outlines, depths, strict=True))
    ]
    body = rectangle(160, 116, 10, chord_error_mm)
    return assembled("sharp_pocket_plate", plate(body, 22, TOP_LAND, pockets), 7)


def bowl_plate(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Spherical and parabolic bowls, with sharp and with round rims."""
    spheres = [  # x, y, sphere radius, steepest slope, rim round
        (-56, 30, 24, 58, 0), (-10, 32, 19, 72, 3), (30, 35, 30, 35, 0), (-60, -19, 24, 58, 0), (-22, -8, 16, 50, 4.5),
        (14, -6, 21, 44, 2), (53, -1, 18, 80, 0), (-26, -43, 14, 66, 1.5),
    ]  # fmt: skip
    parabolas = [(64, 37, 13, 9, 0), (14, -41, 15, 8, 3), (51, -39, 17, 12.5, 2)]  # x, y, radius, depth, rim round
    bowls = [
        cap(f"bowl {k}", (x, y), 30, -1, radius, steepest, chord_error_mm, rim)
        for k, (x, y, radius, steepest, rim) in enumerate(spheres)
    ] + [
        paraboloid(f"parabola {k}", (x, y), 30, -1, radius, depth, chord_error_mm, rim)
        for k, (x, y, radius, depth, rim) in enumerate(parabolas)
    ]
    body = rectangle(170, 124, 0, chord_error_mm)
    return assembled("bowl_plate", plate(body, 30, TOP_LAND, bowls), 9)


def drafted_pockets(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Rounded rectangular pockets with draft in a block with draft that stands on a flange."""
    measures = [  # x, y, turn, width, height, corner, depth, draft, fillet, rim round
        (-64, 30, 0, 46, 36, 14, 18, 7, 5.5, 2), (-14, 31, 6, 40, 34, 13, 13, 10, 6, 0),
        (32, 29, -9, 36, 38, 15, 21, 5, 6.5, 2.5), (73, 33, 0, 30, 30, 12, 9, 8, 5, 0),
        (-68, -18, 0, 36, 40, 14, 18, 7, 5.5, 2), (-26, -12, 0, 32, 26, 12, 8, 6, 6, 1.5),
        (12, -16, 12, 30, 30, 13.5, 16, 9, 5, 0), (57, -18, 0, 46, 40, 16, 24, 7.5, 7, 3),
        (-26, -42, 0, 40, 22, 10.5, 10, 5, 5, 1),
    ]  # fmt: skip
    pockets = [
        pocket(
            f"pocket {k}",
            rectangle(w, h, corner, chord_error_mm).placed(x, y, turn),
            42,
            depth,
            fillet,
            9,
            chord_error_mm,
            rim,
            draft,
        )  # fmt: skip
        for k, (x, y, turn, w, h, corner, depth, draft, fillet, rim) in enumerate(measures)
    ]
    flank = Zone("flank", "wall")
    foot = rectangle(208, 142, 24, chord_error_mm)
    land = Zone("land", "land")
    block = stage("block", Zones(flank, flank, flank, land), foot, (12, 42), (6, 3), chord_error_mm, 6, pockets)
    note = "the top's edge is rounded: by the pockets in it the top is a land, not the top of a boss"
    pieces = plate(rectangle(224, 160, 12, chord_error_mm), 12, Zone("flange", "floor"), [block])
    return assembled("drafted_pockets", pieces, 9, note)


def tight_fillets(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Pockets and hills, most with fillets tighter than the ball of 10 mm; a wide one of each for comparison."""
    measures = [  # x, y, radius, depth, fillet, rim round
        (-50, 28, 18, 14, 2, 0), (-6, 30, 15, 9, 3.5, 1.5), (37, 27, 20, 17, 4.2, 2), (-54, -14, 13, 8, 3, 0),
        (-21, -7, 14, 11, 5.5, 0),
    ]  # fmt: skip
    hollows = [
        pocket(f"pocket {k}", circle(r, chord_error_mm).placed(x, y), 30, depth, fillet, 10, chord_error_mm, rim)
        for k, (x, y, r, depth, fillet, rim) in enumerate(measures)
    ]
    box = rectangle(40, 26, 8, chord_error_mm).placed(-26, -40, 4)
    hollows.append(pocket("box", box, 30, 12, 2.5, 10, chord_error_mm))
    hills = [
        hill("peg", circle(14, chord_error_mm).placed(18, -6), 30, 11, 2, 10, chord_error_mm),
        hill("knob", circle(15, chord_error_mm).placed(52, -11), 30, 8, 3, 10, chord_error_mm, 4, 15),
        hill("cone", circle(13, chord_error_mm).placed(17, -42), 30, 6, 2.5, 10, chord_error_mm, 0, 40),
        hill("post", circle(16, chord_error_mm).placed(52, -45), 30, 13, 6, 10, chord_error_mm, 0, 5),
    ]
    outline = rectangle(144, 126, 0, chord_error_mm)
    return assembled("tight_fillets", plate(outline, 30, TOP_FLOOR, hollows + hills), 10)


def island_pockets(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Pockets with hills on their floors: floor, wall with fillet and rim round, and the hills."""
    measures: list[tuple[Outline, float, float, float, list[tuple[float, ...]]]] = [
        # outline, depth, fillet, rim round, hills: x, y, foot radius, height, fillet, round, draft
        (circle(28, chord_error_mm).placed(-44, 30), 16, 5, 2, [(-41, 31, 13, 9, 4, 2, 5)]),
        (rectangle(70, 50, 16, chord_error_mm).placed(26, 31), 14, 6, 0,
         [(11, 33, 13, 8, 4, 0, 0), (40, 28, 14, 17, 5, 3, 8)]),
        (rectangle(60, 48, 14, chord_error_mm).placed(-42, -31, 5), 12, 4.5, 1.5,
         [(-52, -34, 11, 7, 0, 2, 10), (-29, -27, 9, 5, 0, 0, 20)]),
        (circle(24, chord_error_mm).placed(18, -28), 10, 0, 0, [(16, -30, 11, 4, 0, 0, 45)]),
        (circle(16, chord_error_mm).placed(62, -30), 12, 5, 0, [(62.5, -29, 8, 9, 0, 3, 0)]),
    ]  # fmt: skip
    pockets = []
    for k, (outline, depth, fillet, rim, hills) in enumerate(measures):
        islands = [
            hill(f"island {k}{'ab'[i]}", circle(r, chord_error_mm).placed(x, y), 28 - depth, height, foot, 7,
                 chord_error_mm, top, draft)
            for i, (x, y, r, height, foot, top, draft) in enumerate(hills)
        ]  # fmt: skip
        pockets.append(pocket(f"pocket {k}", outline, 28, depth, fillet, 7, chord_error_mm, rim, 0, islands))
    outline = rectangle(166, 126, 9, chord_error_mm)
    return assembled("island_pockets", plate(outline, 28, TOP_LAND, pockets), 7)


def plate_with_holes(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Drilled holes narrower than the ball or hardly wider, through and blind, wider bores, and stepped bores."""
    z, chord = 20.0, chord_error_mm
    small = [
        (-60, 48, 3), (-45, 46, 5), (-30, 49, 6.5), (-15, 47, 3), (0, 48, 5), (15, 50, 6.5), (30, 46, 3), (45, 48, 5),
        (60, 49, 6.5),
    ]  # fmt: skip
    features = [bore(f"hole {k}", HOLES, (x, y), z, d, chord) for k, (x, y, d) in enumerate(small)]
    blind = [(-52, -48, 4, 9), (-37, -47, 4, 9), (-20, -49, 6, 12), (-3, -48, 3.3, 7), (14, -47, 5, 11)]
    features += [bore(f"blind {k}", HOLES, (x, y), z, d, chord, t) for k, (x, y, d, t) in enumerate(blind)]
    for k, (x, y, diameter) in enumerate([(-55, 22, 22), (-20, 24, 30), (17, 22, 18), (50, 20, 26), (62, -46, 12)]):
        features.append(bore(f"bore {k}", Zone(f"bore {k}", "wall"), (x, y), z, diameter, chord))
    stepped = [(-50, -16, 15, 6, 12), (-9, -15, 19, 11, 20), (36, -18, 17, 4, 14), (62, -16, 8, 5, 9)]
    for k, (x, y, radius, depth, diameter) in enumerate(stepped):
        # a 9 mm bore is bored, not walked down with an 8 mm ball
        inner_zone = HOLES if diameter < 10 else Zone(f"inner {k}", "wall")
        inner = bore(f"inner {k}", inner_zone, (x, y), z - depth, diameter, chord)
        seat = pocket(f"seat {k}", circle(radius, chord).placed(x, y), z, depth, 0, 8, chord, features=[inner])
        features.append(seat)
    return assembled("plate_with_holes", plate(rectangle(156, 122, 14, chord), z, TOP_LAND, features), 8)


# ---------------------------------------------------------------------------------------- plates with hills


def dome_plate(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Spherical and parabolic domes, with creases and with fillets at their feet."""
    spheres = [  # x, y, sphere radius, steepest slope, foot fillet
        (-54, 31, 22, 55, 0), (-8, 30, 17, 62, 5), (32, 32, 28, 38, 0), (-55, -12, 22, 55, 0), (-16, -8, 13, 75, 4.5),
        (18, -9, 12, 90, 0), (51, -8, 15, 48, 9), (-50, -46, 14, 41, 4),
    ]  # fmt: skip
    parabolas = [(66, 33, 11, 9, 0), (-12, -44, 13, 8, 5), (34, -44, 15, 12, 4.5)]  # x, y, radius, height, fillet
    domes = [
        cap(f"dome {k}", (x, y), 14, 1, radius, steepest, chord_error_mm, fillet)
        for k, (x, y, radius, steepest, fillet) in enumerate(spheres)
    ] + [
        paraboloid(f"parabola {k}", (x, y), 14, 1, radius, height, chord_error_mm, fillet)
        for k, (x, y, radius, height, fillet) in enumerate(parabolas)
    ]
    body = rectangle(166, 130, 8, chord_error_mm)
    return assembled("dome_plate", plate(body, 14, TOP_FLOOR, domes), 7)


def boss_plate(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Hills with level tops: rounded, sharp and steep, sharp and gentle, with and without foot fillets."""
    chord = chord_error_mm
    measures = [  # outline, height, foot fillet, top round, draft
        (circle(17, chord).placed(-58, 34), 12, 5, 3, 0), (circle(15, chord).placed(-17, 36), 8, 0, 2, 12),
        (rectangle(40, 30, 13, chord).placed(26, 33, 10), 14, 4.5, 2.5, 6),
        (circle(13, chord).placed(66, 35), 9, 0, 0, 0),
        (rectangle(34, 26, 12, chord).placed(-56, -6, -7), 10, 5, 0, 8),
        (circle(16, chord).placed(-16, -2), 7, 0, 0, 40),
        (circle(17, chord).placed(21, -6), 12, 5, 3, 0), (circle(19, chord).placed(60, -6), 5, 6, 0, 55),
        (rectangle(30, 22, 0, chord).placed(-54, -44, 15), 9, 0, 0, 0),
        (circle(14, chord).placed(-18, -42), 11, 4, 1.5, 20),
        (rectangle(36, 24, 11, chord).placed(22, -44), 6, 0, 1, 0), (circle(12, chord).placed(62, -44), 15, 0, 0, 25),
    ]  # fmt: skip
    hills = [
        hill(f"boss {k}", outline, 12, height, fillet, 7, chord, top, draft)
        for k, (outline, height, fillet, top, draft) in enumerate(measures)
    ]
    return assembled("boss_plate", plate(rectangle(174, 132, 0, chord), 12, TOP_FLOOR, hills), 7)


def terrace_block(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Three terraces, each within the other, with wedges of several slopes standing on them."""
    chord, wall = chord_error_mm, [Zone(f"riser {k}", "wall") for k in range(3)]
    peak = stage(
        "peak", Zones(wall[2], wall[2], wall[2], Zone("peak", "land")), rectangle(24, 18, 0, chord).placed(6, 27, 20),
        (30, 37), (0, 0), chord,
    )  # fmt: skip
    upper = [
        ramp("ramp 0", (-20, 20), 0, (22, 14), 30, 24, 0),
        ramp("ramp 1", (-16, -5), 35, (16, 20), 30, 41, 2),
        ramp("ramp 2", (21, -2), 110, (20, 12), 30, 15, 3),
        peak,
    ]
    lower = [
        ramp("ramp 3", (-52, -2), 90, (40, 14), 21, 12, 0),
        ramp("ramp 4", (-10, -32), 180, (34, 12), 21, 24, 0),
        ramp("ramp 5", (36, -32), 20, (18, 15), 21, 52, 1.5),
    ]
    ground = [ramp("ramp 6", (64, 6), -90, (60, 10), 12, 9, 4), ramp("ramp 7", (10, -55), 0, (70, 9), 12, 6, 0)]
    second = stage(
        "second", Zones(wall[1], wall[1], wall[1], Zone("upper", "floor")), rectangle(78, 62, 0, chord).placed(2, 12),
        (21, 30), (0, 0), chord, features=upper,
    )  # fmt: skip
    first = stage(
        "first", Zones(wall[0], wall[0], wall[0], Zone("lower", "floor")), rectangle(120, 92, 0, chord).placed(-7, 3),
        (12, 21), (0, 0), chord, features=[second, *lower],
    )  # fmt: skip
    body = rectangle(156, 126, 0, chord)
    return assembled("terrace_block", plate(body, 12, TOP_FLOOR, [first, *ground]), 8)


def wave_block(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Pads with gentle waves on them, along, across, both ways and askew."""
    waves = [  # x, y, turn, size, amplitudes along and across, wave lengths, foot to middle
        (-46, 27, 0, (56, 40), (2.2, 0), (28, 1), 7), (20, 29, 8, (48, 36), (0, 3), (1, 40), 9),
        (60, 27, 90, (44, 20), (0.9, 0), (15, 1), 5), (-50, -22, 0, (44, 38), (1.5, 1.1), (31, 23), 8),
        (-2, -23, -15, (40, 30), (2.4, 1.6), (24, 37), 10), (46, -24, 20, (38, 34), (0.8, 0.8), (15, 17), 4),
    ]  # fmt: skip
    pads = []
    for k, (x, y, turn, size, amplitudes, lengths, middle) in enumerate(waves):
        per_mm = [2 * pi / length for length in lengths]
        # chord of a wave: s^2 A k^2 / 8, halved where waves of two ways add up
        tight = [a * p**2 * (1 + (min(amplitudes) > 0)) for a, p in zip(amplitudes, per_mm, strict=True)]
        steps = [ceil(s * sqrt(t / (8 * chord_error_mm))) if t else 1 for s, t in zip(size, tight, strict=True)]
        pads.append(pad(f"wave {k}", (x, y), turn, size, 10, _wave(amplitudes, per_mm, middle), (steps[0], steps[1])))
    body = rectangle(160, 110, 6, chord_error_mm)
    return assembled("wave_block", plate(body, 10, TOP_FLOOR, pads), 9)


def _wave(amplitudes_mm: Where, per_mm: Sequence[float], middle_mm: float) -> Height:
    return lambda x, y: (
        middle_mm
        + amplitudes_mm[0] * np.cos(per_mm[0] * x + 0.7)
        + amplitudes_mm[1] * np.sin(per_mm[1] * y + 0.4)
    )  # fmt: skip


# ---------------------------------------------------------------------------------------- drawn parts


def _land(k: int, end: Where, width_mm: float, shape: str) -> list[Run]:
    return [line(end, (end[0] - width_mm, end[1]), Zone(f"level {k}", shape))]


def _bent(
    zone: Zone, end: Where, radius_mm: float, steepest_deg: float, straight_mm: float, chord_error_mm: float, way: int
) -> list[Run]:
    """Arc between equal slopes, hollow (way -1) or standing (way 1), straight sides above (below) it."""
    s, c = sin(radians(steepest_deg)), cos(radians(steepest_deg))
    across, up = straight_mm * c, straight_mm * s
    y, z = end[0] - across - radius_mm * s, end[1] + way * (up - radius_mm * c)
    turn = 90 if way > 0 else -90
    bow = arc((y, z), radius_mm, turn - way * steepest_deg, turn + way * steepest_deg, zone, chord_error_mm)
    if straight_mm == 0:
        return [bow]
    first, last = bow.points[0], bow.points[-1]
    return [line(end, (first[0], first[1]), zone), bow, line((last[0], last[1]), (last[0] - across, end[1]), zone)]


def _channelled(elements: Sequence[tuple[float, ...] | tuple[str, float]], top_mm: float, chord: float) -> list[Run]:
    """Closed section: block of the width of its elements, and on top, from +y to -y, lands and bent elements.

    An element is ("land" or "floor", width) or (way, radius, steepest slope, straight length).
    """
    end, runs = (0.0, top_mm), []
    for k, element in enumerate(elements):
        if element[0] in ("land", "floor"):
            runs += _land(k, end, float(element[1]), str(element[0]))
        else:
            way, radius, steepest, straight = (float(value) for value in element)
            zone = Zone(f"groove {k}", "groove") if way < 0 else Zone(f"bead {k}", "round")
            runs += _bent(zone, end, radius, steepest, straight, chord, int(way))
        end = (float(runs[-1].points[-1, 0]), top_mm)
        runs[-1].points[-1, 1] = top_mm
    width = -end[0]
    block = [line(end, (end[0], 0), OUTSIDE), line((end[0], 0), (0, 0), UNDER), line((0, 0), (0, top_mm), OUTSIDE)]
    return [
        Run(run.kind, run.points + (width / 2, 0), run.zone, (run.centre_mm[0] + width / 2, run.centre_mm[1]))
        for run in [*runs, *block]
    ]


def trough_block(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Half-round, shallow, V and U channels and lying half-cylinders, drawn straight along X."""
    elements = [
        ("land", 7), (-1, 9, 90, 0), ("land", 5), (-1, 14, 50, 0), ("floor", 6), (1, 6, 90, 0), ("floor", 9),
        (1, 11, 60, 0), ("floor", 4), (-1, 5, 50, 7), ("land", 6.5), (-1, 5.5, 90, 4), ("land", 8), (-1, 9, 90, 0),
        ("floor", 5.5), (1, 4, 75, 0), ("floor", 10), (-1, 6, 35, 5), ("land", 3.5),
    ]  # fmt: skip
    runs = _channelled(elements, 24, chord_error_mm)
    pieces = drawn("bar", runs, np.array((-55.0, 55.0)), lambda at, x: np.insert(at, 0, x, axis=1))
    return assembled("trough_block", pieces, 7)


def bend_block(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Channels led round a centre through 110 degrees, open at both ends."""
    elements = [
        ("land", 6), (-1, 8, 90, 0), ("land", 5), (-1, 13, 55, 0), ("land", 8), (-1, 5.5, 50, 6), ("land", 4.5),
        (-1, 6, 90, 3), ("land", 7), (-1, 8, 90, 0), ("land", 9),
    ]  # fmt: skip
    runs = _channelled(elements, 25, chord_error_mm)
    middle = 105.0
    steps = ceil(radians(110) / facet_angle_rad(middle + max(run.points[:, 0].max() for run in runs), chord_error_mm))

    def place(at: Points, turn: float) -> Points:
        radius = middle - at[:, 0]
        return np.column_stack((radius * cos(turn), radius * sin(turn), at[:, 1]))

    pieces = drawn("bend", runs, np.radians(np.linspace(-20, 90, steps + 1)), place)
    return assembled("bend_block", pieces, 9)


def stair_block(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Steps and ramps over the full width, drawn along Y."""
    del chord_error_mm  # nothing is curved
    path = [  # length, rise, shape of what leads there
        (14, 0, "floor"), (0, 9, ""), (18, 0, "floor"), (22, 8, "slope"), (12, 0, "land"), (0, -6, ""),
        (17, 0, "floor"), (11, 12, "slope"), (9, 0, "floor"), (0, 7, ""), (16, 0, "land"), (0, -15, ""),
        (13, 0, "floor"), (20, -13, "slope"), (15, 0, "floor"),
    ]  # fmt: skip
    corners, zones, x, z = [(0.0, 12.0)], [], 0.0, 12.0
    for k, (length, rise, shape) in enumerate(path):
        x, z = x + length, z + rise
        corners.append((x, z))
        zones.append(Zone(f"tread {k}", shape) if shape else OUTSIDE)
    corners, zones = [(0.0, 0.0), *corners, (x, 0.0)], [OUTSIDE, *zones, OUTSIDE]
    runs = [line(a, b, zone) for a, b, zone in zip(corners, corners[1:], zones, strict=False)]
    # seen from -y the section runs against the clock: across is -x
    runs = [Run("line", run.points * (-1, 1) + (x / 2, 0), run.zone) for run in runs]
    runs.append(line((-x / 2, 0), (x / 2, 0), UNDER))
    pieces = drawn(
        "stair", runs, np.array((-37.0, 37.0)), lambda at, y: np.column_stack((-at[:, 0], 0 * at[:, 0] + y, at[:, 1]))
    )
    note = "risers over the full width join the outside wall round its upright edges"
    return assembled("stair_block", pieces, 8, note)


# ---------------------------------------------------------------------------------------- turned parts


Corner = tuple[float, float, float, Zone | None]  # radius, z, radius of its arc, zone of the line that leaves it


def _turned(
    radius_mm: float, runs: Sequence[Run], disk: Zone, features: Sequence[Feature], chord: float
) -> list[Piece]:
    """Base, runs of (inset, z) from the lower outer edge inwards, and a level last disk with features in it."""
    outline = circle(radius_mm, chord)
    inset, z = runs[-1].points[-1]
    through = [loop for feature in features for loop in feature.through]
    top = level("disk", disk, outline.inset(inset), [feature.opening for feature in features], z)
    sides = swept("turned", outline, runs)
    return [base(outline.inset(0), through), *sides, top, *(piece for feature in features for piece in feature.pieces)]


def _section(corners: Sequence[Corner], chord: float) -> list[Run]:
    outer = corners[0][0]
    return chain([(outer - radius, z, corner, zone) for radius, z, corner, zone in corners], chord)


def ring_tool(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Round tool with two ring grooves and cones of several slopes, a conical hollow in its middle."""
    steps = [  # shape, width, slope of a cone or steepest slope of a groove
        ("floor", 6, 0), ("wall", 3, 70), ("land", 5, 0), ("groove", 16, 90), ("floor", 4, 0), ("slope", 4, 55),
        ("floor", 3.5, 0), ("slope", 9, 40), ("land", 3, 0), ("groove", 17, 55), ("land", 4, 0), ("slope", 8, -50),
    ]  # fmt: skip
    runs = [line((0, 0), (0, 14), OUTSIDE)]
    for k, (shape, width, slope) in enumerate(steps):
        inset, z = (float(value) for value in runs[-1].points[-1])
        zone, steepest = Zone(f"{shape} {k}", shape), radians(slope)
        if shape == "groove":
            tube = width / 2 / sin(steepest)
            centre = (inset + width / 2, z + tube * cos(steepest))
            runs.append(arc(centre, tube, -90 - slope, slope - 90, zone, chord_error_mm))
            runs[-1].points[-1] = inset + width, z
        else:
            runs.append(line((inset, z), (inset + width, z + width * tan(steepest)), zone))
    return assembled("ring_tool", _turned(90, runs, Zone("bottom", "floor"), [], chord_error_mm), 9)


def turned_steps(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Turned part with steps, some of them filleted and rounded, a ring hollow and a dome."""
    lean, high, peak = tan(radians(75)), 24 + 4 * tan(radians(75)), 33 + 4 * tan(radians(65))
    corners: list[Corner] = [
        (76, 0, 0, OUTSIDE), (76, 10, 0, Zone("flange", "floor")), (66, 10, 5, Zone("wall 0", "wall")),
        (66, 24, 0, Zone("step 0", "floor")), (58, 24, 4, Zone("wall 1", "wall")),
        (58 - (high - 24) / lean, high, 2, Zone("step 1", "floor")), (46, high, 6, Zone("cone", "slope")),
        (38, high + 8, 0, Zone("step 2", "land")), (31, high + 8, 1.5, Zone("wall 2", "wall")),
        (31, 33, 0, Zone("ring floor", "floor")), (24, 33, 0, Zone("wall 3", "wall")), (20, peak, 0, None),
        (10, peak, 0, None),
    ]  # fmt: skip
    dome = cap("dome", (0, 0), peak, 1, 12, 50, chord_error_mm)
    pieces = _turned(76, _section(corners, chord_error_mm), Zone("middle", "floor"), [dome], chord_error_mm)
    return assembled("turned_steps", pieces, 7)


def spool(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Turned part with three ring slots in its side: roofs and walls are hidden, of floors the spindle sees a third."""
    corners: list[Corner] = [(60, 0, 0, OUTSIDE)]
    slots = [(60, 9, 46, 8, 56, 0, 10), (56, 27, 40, 6, 52, 8, 7), (52, 48, 30, 12, 44, 0, 6)]
    for k, (outer, z, inner, high, above, roof_rise, rim) in enumerate(slots):
        roof = z + high
        corners += [
            (outer, z, 0, Zone(f"slot {k} floor", "floor")), (inner, z, 0, Zone(f"slot {k}", "undercut")),
            (inner, roof, 0, Zone(f"slot {k}", "undercut")),
            (above, roof + roof_rise, 0, Zone(f"rim {k}", "wall")),
        ]  # fmt: skip
        top = roof + roof_rise + rim
    corners += [(44, top, 0, None), (40, top, 0, None)]
    hollow = pocket("pocket", circle(17, chord_error_mm).placed(6, -4), top, 11, 5, 7, chord_error_mm, 1)
    sharp = pocket("seat", circle(9, chord_error_mm).placed(-24, 12), top, 5, 0, 7, chord_error_mm)
    runs = _section(corners, chord_error_mm)
    pieces = _turned(60, runs, TOP_LAND, [hollow, sharp], chord_error_mm)
    return assembled("spool", pieces, 7, "the slots' walls are hidden from a tool along Z")


# ---------------------------------------------------------------------------------------- all in one


def mould_plate(chord_error_mm: float = CHORD_ERROR_MM) -> LabelledPart:
    """Block with draft on a wide flange: twenty hollows in its land, hills and bolt holes on the flange."""
    c, ball, top = chord_error_mm, 9, 52

    def round_one(k: int, at: Where, r: float, depth: float, fillet: float, rim: float, draft: float = 0) -> Feature:
        return pocket(f"round {k}", circle(r, c).placed(*at), top, depth, fillet, ball, c, rim, draft)

    def box(
        k: int, at: Where, turn: float, size: Where, corner: float, depth: float, fillet: float, rim: float, lean: float
    ) -> Feature:
        outline = rectangle(*size, corner, c).placed(*at, turn)
        return pocket(f"box {k}", outline, top, depth, fillet, ball, c, rim, lean)

    hollows = [
        round_one(0, (-75, 55), 17, 20, 6, 1.5), round_one(1, (-38, 57), 15, 11, 5, 0),
        box(0, (2, 55), 5, (34, 30), 13, 16, 5.5, 2, 6), cap("bowl 0", (41, 55), top, -1, 18, 60, c, 2),
        box(1, (76, 54), 0, (30, 34), 12, 22, 6, 0, 5), cap("bowl 1", (-76, 18), top, -1, 22, 48, c),
        box(2, (-37, 20), -10, (32, 24), 0, 9, 0, 0, 0), round_one(2, (3, 18), 16, 18, 7, 2.5, 8),
        round_one(3, (42, 19), 15, 13, 2.5, 1), paraboloid("hollow", (77, 18), top, -1, 14, 11, c, 1.5),
        box(3, (-74, -20), 0, (36, 32), 14, 24, 6.5, 2, 7), round_one(4, (-39, -19), 13, 8, 0, 0),
        cap("bowl 2", (1, -21), top, -1, 18, 60, c, 2), box(4, (42, -18), 14, (28, 26), 11, 14, 5, 1, 10),
        round_one(5, (75, -19), 17, 20, 6, 1.5), box(5, (-75, -57), 8, (30, 26), 8, 7, 0, 0, 0),
        paraboloid("trough", (-37, -56), top, -1, 16, 9, c), box(6, (3, -59), 0, (34, 26), 10, 12, 3, 0, 0),
        round_one(6, (41, -57), 12, 25, 5, 0), box(7, (75, -57), -6, (34, 28), 13, 16, 5.5, 2, 6),
    ]  # fmt: skip
    flank = Zone("flank", "wall")
    outline = rectangle(206, 166, 20, c)
    block = stage("block", Zones(flank, flank, flank, Zone("land", "land")), outline, (14, top), (6, 0), c, 4, hollows)
    hills = [
        cap("dome 0", (128, 62), 14, 1, 16, 52, c),
        hill("boss 0", circle(15, c).placed(129, 24), 14, 12, 5, ball, c, 3, 5),
        cap("dome 1", (130, -17), 14, 1, 11, 64, c, 5), hill("peg", circle(13, c).placed(128, -57), 14, 9, 0, ball, c),
        hill("boss 1", rectangle(34, 26, 11, c).placed(-127, 55, 90), 14, 10, 0, ball, c, 2, 8),
        hill("hub", circle(15, c).placed(-128, -52), 14, 7, 5, ball, c, 0, 42),
    ]  # fmt: skip
    bolts = [(112, 84), (150, 88), (148, 4), (149, -86), (113, -85), (-110, -85), (-148, -84), (-146, 2), (-149, 86)]
    holes = [bore(f"bolt {k}", HOLES, at, 14, 6.5 if k % 2 else 8, c) for k, at in enumerate(bolts)]
    body = rectangle(312, 190, 14, c)
    return assembled("mould_plate", plate(body, 14, Zone("flange", "floor"), [block, *hills, *holes]), ball)


MAKERS = (
    stair_block, terrace_block, round_pocket_plate, sharp_pocket_plate, bowl_plate, dome_plate, boss_plate, wave_block,
    trough_block, bend_block, tight_fillets, ring_tool, island_pockets, drafted_pockets, turned_steps, spool,
    plate_with_holes, mould_plate,
)  # fmt: skip


def labelled_parts(chord_error_mm: float = CHORD_ERROR_MM) -> list[LabelledPart]:
    """All parts, their curves within ``chord_error_mm``; from 0.005 to 0.1 mm they keep their faces and zones."""
    return [make(chord_error_mm) for make in MAKERS]
