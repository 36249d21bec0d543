"""The simplest analytic surface that a patch of facets stands for: plane, cylinder, sphere, cone or torus.

Each kind starts from a linear fit that uses normals, and is then settled on the points alone by a few Gauss-Newton
steps (axis of a surface of revolution from its normal lines: H. Pottmann, J. Wallner, "Computational Line Geometry",
Springer 2001; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from advisor import tolerances
from advisor.model import SurfaceKind
from advisor.part.mesh import Floats
from advisor.zones.analytic import Fit

_MOST_POINTS, _MOST_SETTLED = 20_000, 1_000
_FEWEST_POINTS = 8
_STEPS = 25
# A fit is given up where a step betters the squares by less than this share while the rms is this many tolerances.
_STANDS_STILL = 0.2
_HOPELESS = 5.0
# Added to lengths that are divided by.
_NIL = 1e-150


@dataclass(frozen=True)
class _Patch:
    """Points about their middle, in sizes of the patch, with unit normals and weights that add up to 1.

    A fit that stands still with an rms above `hopeless` (in sizes of the patch) is given up.
    """

    p: Floats
    n: Floats
    w: Floats
    middle: Floats
    size_mm: float
    hopeless: float


# A surface as numbers -> signed distances (k,) and outward directions (k, 3) of points from it.
_Distances = Callable[[Floats, Floats], tuple[Floats, Floats]]


def fit_surface(points_mm: Floats, normals: Floats, weights: Floats, tolerance_mm: float) -> Fit | None:
    """The simplest surface that holds: rms of residuals within `tolerance_mm`, none beyond four times that.

    Parameters
    ----------
    points_mm : (k, 3) float64 array
        On the surface: corners and middles of facets, so the tolerance should be above the chord error.
        Above 20,000 evenly many of them are used, the same each time.
    normals : (k, 3) float64 array
        Outward.
    weights : (k,) float64 array
        Such as a share of the facet's area; points without weight are left out.

    Returns
    -------
    Fit or None
        None where no kind holds, and where the patch turns too little to tell which it is.
    """
    patch = _patch(points_mm, normals, weights, tolerance_mm)
    if patch is None:
        return None
    plane = _plane(patch)
    if plane is None:
        flat_rms_mm = np.inf
    elif _holds(plane, tolerance_mm, tolerances.FIT_PLANE_LEANS_DEG):
        return plane
    else:
        flat_rms_mm = plane.residual_rms_mm
    most_rms_mm = flat_rms_mm / (
        tolerances.FIT_GAIN_OF_SHORT_ARC if _arc_deg(patch) < tolerances.FIT_SHORT_ARC_DEG else tolerances.FIT_GAIN
    )
    clearly_mm = tolerances.FIT_CLEARLY_OF_TOLERANCE * tolerance_mm
    largest_mm = tolerances.FIT_LARGEST_RADIUS_OF_SIZE * patch.size_mm
    held: list[Fit] = []
    for kinds in ((_cylinder, _sphere), (_cone,), (_torus,)):
        fits = [fit for kind in kinds if (fit := kind(patch)) is not None]
        held += [
            fit for fit in fits
            if _holds(fit, tolerance_mm, tolerances.FIT_CURVED_LEANS_DEG) and fit.residual_rms_mm <= most_rms_mm
            and max(fit.radius_mm, np.nan_to_num(fit.ring_radius_mm)) < largest_mm
        ]  # fmt: skip
        if any(fit.residual_rms_mm < clearly_mm for fit in held):
            break
    return _simplest(held, clearly_mm)


def _simplest(held: list[Fit], clearly_mm: float) -> Fit | None:
    """First of the fits, in the order of kinds, that no other outdoes by far.

    A flat cone passes for a cylinder within a wide tolerance, but its points show that it is none; a short piece of a
    cylinder passes for a sphere in its points, but not in its normals.
    """
    if not held:
        return None
    enough = max(clearly_mm, tolerances.FIT_FAR_BETTER * min(fit.residual_rms_mm for fit in held))
    near = [fit for fit in held if fit.residual_rms_mm <= enough]
    if {fit.kind for fit in near} >= {"cylinder", "sphere"}:
        return min(near[:2], key=lambda fit: fit.normals_rms_deg)
    return near[0]


def _patch(points_mm: Floats, normals: Floats, weights: Floats, tolerance_mm: float) -> _Patch | None:
    used = np.flatnonzero(weights > 0)
    used = used[:: max(1, -(-len(used) // _MOST_POINTS))]
    if len(used) < _FEWEST_POINTS:
        return None
    w = weights[used] / weights[used].sum()
    points, n = points_mm[used], normals[used]
    middle = w @ points
    p = points - middle
    size = 2.0 * float(np.sqrt(w @ np.einsum("ij,ij->i", p, p)))
    if not size > 0.0:
        return None
    return _Patch(p / size, n, w, middle, size, _HOPELESS * tolerance_mm / size)


def _holds(fit: Fit, tolerance_mm: float, leans_deg: float) -> bool:
    return (
        fit.residual_rms_mm <= tolerance_mm
        and fit.residual_max_mm <= tolerances.FIT_MOST_OVER_TOLERANCE * tolerance_mm
        and fit.normals_rms_deg <= leans_deg
    )


def _arc_deg(patch: _Patch) -> float:
    """Angle that 95 % of the normals turn through."""
    mean = patch.w @ patch.n
    lean = np.arccos(np.clip(patch.n @ mean / np.linalg.norm(mean), -1.0, 1.0)) if mean.any() else np.array([np.pi])
    return 2.0 * float(np.degrees(np.quantile(lean, 0.95)))


# ---------------------------------------------------------------------------------------- kinds


def _fit(
    kind: SurfaceKind, patch: _Patch, place: Floats, axis: Floats, distance: Floats, outward: Floats, radius: float,
    ring: float = np.nan, half_apex_deg: float = np.nan,
) -> Fit | None:  # fmt: skip
    """The record, in mm; None where normals point now to one side, now to the other."""
    cosine = np.einsum("ij,ij->i", patch.n, outward)
    share_hollow = float(patch.w[cosine < 0].sum())
    if min(share_hollow, 1.0 - share_hollow) > 1.0 - tolerances.FIT_ONE_SIDED_SHARE:
        return None
    is_hollow = share_hollow > 0.5
    lean = np.degrees(np.arccos(np.clip(-cosine if is_hollow else cosine, -1.0, 1.0)))
    size = patch.size_mm
    return Fit(
        kind, patch.middle + size * place, axis, float(size * radius), float(size * ring), half_apex_deg, is_hollow,
        size * float(np.sqrt(patch.w @ (distance * distance))), size * float(np.abs(distance).max()),
        float(np.sqrt(patch.w @ (lean * lean))),
    )  # fmt: skip


def _plane(patch: _Patch) -> Fit | None:
    axis = np.linalg.eigh((patch.p.T * patch.w) @ patch.p)[1][:, 0]
    axis = axis if patch.w @ (patch.n @ axis) >= 0 else -axis
    return _fit("plane", patch, np.zeros(3), axis, patch.p @ axis, np.broadcast_to(axis, patch.p.shape), np.nan)


def _sphere(patch: _Patch) -> Fit | None:
    # p = centre + r n, with r negative where hollow
    columns = np.concatenate([np.tile(np.eye(3), (len(patch.p), 1)), patch.n.reshape(-1, 1)], axis=1)
    start = _linear(patch, columns, patch.p)
    start[3] = abs(start[3])

    def distances(x: Floats, p: Floats) -> tuple[Floats, Floats]:
        away = p - x[:3]
        length = _lengths(away) + _NIL
        return length - x[3], away / length[:, None]

    found = _settled(patch, start, distances)
    if found is None:
        return None
    return _fit("sphere", patch, found[:3], np.full(3, np.nan), *distances(found, patch.p), found[3])


def _across(patch: _Patch, frame: Floats) -> Floats:
    """(k, 2) direction of the normals across the axis of a frame."""
    across = patch.n @ frame[:2].T
    return across / np.maximum(_lengths(across), 1e-9)[:, None]


def _rulings(frame: Floats) -> _Distances:
    """From a cylinder or cone: two tilts of its axis, its place across, the radius there, and its growth if any."""

    def distances(x: Floats, p: Floats) -> tuple[Floats, Floats]:
        a, b, c = _tilted(frame, x)
        u, v = p @ a - x[2], p @ b - x[3]
        away = np.sqrt(u * u + v * v) + _NIL
        growth = x[5:].sum()
        cosine = 1.0 / np.sqrt(1.0 + growth * growth)
        outward = (u / away)[:, None] * a + (v / away)[:, None] * b - growth * c
        return (away - x[4] - growth * (p @ c)) * cosine, outward * cosine

    return distances


def _cylinder(patch: _Patch) -> Fit | None:
    # normals lie on a great circle about the axis, and across it p = c + r m with m the normal's direction
    frame = _frame(np.linalg.eigh((patch.n.T * patch.w) @ patch.n)[1][:, 0])
    columns = np.concatenate([np.tile(np.eye(2), (len(patch.p), 1)), _across(patch, frame).reshape(-1, 1)], axis=1)
    u, v, radius = _linear(patch, columns, patch.p @ frame[:2].T)
    distances = _rulings(frame)
    found = _settled(patch, np.array([0.0, 0.0, u, v, abs(radius)]), distances)
    if found is None or found[4] <= 0.0:
        return None
    a, b, c = _tilted(frame, found)
    return _fit("cylinder", patch, found[2] * a + found[3] * b, c, *distances(found, patch.p), found[4])


def _cone(patch: _Patch) -> Fit | None:
    # normals lie on a small circle, and across the axis p = c + (r + t s) m at t along it
    from_mean = patch.n - patch.w @ patch.n
    frame = _frame(np.linalg.eigh((from_mean.T * patch.w) @ from_mean)[1][:, 0])
    across, along = _across(patch, frame), patch.p @ frame[2]
    growing = (across * along[:, None]).reshape(-1, 1)
    columns = np.concatenate([np.tile(np.eye(2), (len(along), 1)), across.reshape(-1, 1), growing], axis=1)
    u, v, radius, growth = _linear(patch, columns, patch.p @ frame[:2].T)
    sign = 1.0 if radius >= 0 else -1.0
    distances = _rulings(frame)
    found = _settled(patch, np.array([0.0, 0.0, u, v, sign * radius, sign * growth]), distances)
    if found is None or found[4] <= 0.0:
        return None
    a, b, c = _tilted(frame, found)
    half_apex_deg = float(np.degrees(np.arctan(abs(found[5]))))
    beyond_tip = (found[4] + found[5] * (patch.p @ c) < -1e-2).any()
    if beyond_tip or not tolerances.FIT_LEAST_HALF_APEX_DEG < half_apex_deg < tolerances.FIT_MOST_HALF_APEX_DEG:
        return None
    to_tip = -c if found[5] > 0 else c
    place = found[2] * a + found[3] * b
    return _fit("cone", patch, place, to_tip, *distances(found, patch.p), found[4], half_apex_deg=half_apex_deg)


def _torus(patch: _Patch) -> Fit | None:
    # every normal line (n, p x n) of a surface of revolution meets the axis (a, b): b . n + a . (p x n) = 0
    lines = np.concatenate([patch.n, np.cross(patch.p, patch.n)], axis=1)
    sums = (lines.T * patch.w) @ lines
    to_moment = np.linalg.pinv(sums[:3, :3], rcond=1e-10) @ sums[:3, 3:]
    axes = np.linalg.eigh(sums[3:, 3:] - sums[3:, :3] @ to_moment)[1].T
    # of noisy normals the best axis may be a wrong one; the next best is tried as well
    fits = [_torus_about(patch, axis, np.cross(axis, -to_moment @ axis)) for axis in axes[:2]]
    found = [fit for fit in fits if fit is not None]
    return min(found, key=lambda fit: fit.residual_rms_mm) if found else None


def _torus_about(patch: _Patch, axis: Floats, place: Floats) -> Fit | None:
    frame = _frame(axis)
    from_axis = patch.p - place
    plan = from_axis @ frame[:2].T
    reach = np.maximum(_lengths(plan), 1e-9)
    outward = np.einsum("ij,ij->i", patch.n @ frame[:2].T, plan) / reach
    # in the half-plane of the axis: (reach, along) = (ring, level) + r (outward, upward)
    columns = [np.tile(np.eye(2), (len(reach), 1)), np.stack([outward, patch.n @ axis], 1).reshape(-1, 1)]
    profile = np.stack([reach, from_axis @ axis], 1)
    ring, level, tube = _linear(patch, np.concatenate(columns, axis=1), profile)
    if ring <= 0.0:
        return None
    at = frame[:2] @ place
    distances = _tube(frame)
    found = _settled(patch, np.array([0.0, 0.0, at[0], at[1], axis @ place + level, ring, abs(tube)]), distances)
    if found is None or found[5] <= 0.0 or found[6] <= 0.0:
        return None
    a, b, c = _tilted(frame, found)
    middle = found[2] * a + found[3] * b + found[4] * c
    return _fit("torus", patch, middle, c, *distances(found, patch.p), found[6], found[5])


def _tube(frame: Floats) -> _Distances:
    """From a torus: two tilts of its axis, its centre, the radii of ring and tube."""

    def distances(x: Floats, p: Floats) -> tuple[Floats, Floats]:
        a, b, c = _tilted(frame, x)
        u, v, t = p @ a - x[2], p @ b - x[3], p @ c - x[4]
        away = np.sqrt(u * u + v * v) + _NIL
        out = away - x[5]
        length = np.sqrt(out * out + t * t) + _NIL
        radial = (u / away)[:, None] * a + (v / away)[:, None] * b
        return length - x[6], (out / length)[:, None] * radial + (t / length)[:, None] * c

    return distances


# ---------------------------------------------------------------------------------------- sums


def _linear(patch: _Patch, columns: Floats, right: Floats) -> Floats:
    """Weighted least squares of equations that come as many to a point as `right` (the points) has columns."""
    root = np.repeat(np.sqrt(patch.w), right.shape[1])
    solution: Floats = np.linalg.lstsq(columns * root[:, None], right.ravel() * root, rcond=1e-12)[0]
    return solution


def _settled(patch: _Patch, start: Floats, distances: _Distances) -> Floats | None:
    """Gauss-Newton steps with a little damping, on some of the points; None where they run away or lead nowhere."""
    step = max(1, -(-len(patch.p) // _MOST_SETTLED))
    p, root = patch.p[::step], np.sqrt(patch.w[::step])
    x, damping = start.astype(np.float64), 1e-6
    miss = distances(x, p)[0] * root
    for _ in range(_STEPS):
        if not np.isfinite(miss).all() or np.abs(x).max() > 1e4:
            return None
        slopes = np.empty((len(p), len(x)))
        for k in range(len(x)):
            nudge = np.zeros_like(x)
            nudge[k] = 1e-6 * max(1.0, abs(x[k]))
            slopes[:, k] = (distances(x + nudge, p)[0] - distances(x - nudge, p)[0]) * root / (2 * nudge[k])
        square = slopes.T @ slopes
        damped = square + np.diag(damping * np.diag(square) + 1e-14 * np.trace(square) + _NIL)
        change = np.linalg.lstsq(damped, -slopes.T @ miss, rcond=None)[0]
        after = distances(x + change, p)[0] * root
        if after @ after <= miss @ miss:
            gained = miss @ miss - after @ after
            x, miss, damping = x + change, after, damping / 10
            if gained <= 1e-5 * (after @ after) + _NIL:
                break
            if gained < _STANDS_STILL * (after @ after) and after @ after > patch.hopeless**2:
                return None
        else:
            damping *= 100
    return x


def _lengths(vectors: Floats) -> Floats:
    lengths: Floats = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    return lengths


def _frame(axis: Floats) -> Floats:
    """(3, 3) rows: two directions across the axis, and the axis."""
    helper = np.eye(3)[np.argmin(np.abs(axis))]
    first = np.cross(axis, helper)
    first /= np.linalg.norm(first)
    return np.array([first, np.cross(axis, first), axis])


def _tilted(frame: Floats, x: Floats) -> Floats:
    """The frame with its axis leant by ``x[0]`` and ``x[1]`` along its first two directions."""
    axis = frame[2] + x[0] * frame[0] + x[1] * frame[1]
    axis = axis / math.sqrt(axis @ axis)
    first = frame[0] - (frame[0] @ axis) * axis
    p, q, r = (first / math.sqrt(first @ first)).tolist()
    a, b, c = axis.tolist()
    # by hand: thousands of these are asked for, and numpy's cross takes longer than all the rest
    return np.array([[p, q, r], [b * r - c * q, c * p - a * r, a * q - b * p], [a, b, c]])
