"""The largest ball that fits at points of a surface."""

from __future__ import annotations

import numpy as np

from advisor.kernels.fit_radius import fit_radius
from advisor.kernels.threads import in_chunks
from advisor.part.facet_stock import FacetStock
from advisor.part.mesh import Floats
from advisor.part.plan_tree import PlanTree

# Points a thread takes at once.
_CHUNK = 512
# Walls lean over by rounding; what leans over by more no ball touches from above.
_LEANS_OVER = -1e-6
# Balls go into plane facets by so much: rounding must not decide.
_LEAST_INTO_MM = 1e-4


def largest_fitting_ball_mm(
    points_mm: Floats,
    normals: Floats,
    tree: PlanTree,
    tolerance_mm: Floats | float,
    least_mm: float,
    greatest_mm: Floats | float,
) -> Floats:
    """Radius of the largest ball that touches points of a surface and comes there along the axis of a tree.

    Exact for the facets to half a per cent. But facets are flat: between two of them in a hollow only small balls touch
    one of them. So give normals of the smooth surface and a tolerance of its chord error. A tolerance t lets a ball
    stand off by t: in a whole fillet between walls at an angle a it makes the radius ``t / (1 / sin(a / 2) - 1)`` too
    large; ``largest_ball_behind_facets_mm`` does not.

    Parameters
    ----------
    points_mm, normals : (k, 3) points of the surface and its unit normals there
    tree : PlanTree
        Every facet that may be in the way.
    tolerance_mm : float or (k,) array
        By how much a ball may stand off the point.
    least_mm : float
        Least radius looked for.
    greatest_mm : float or (k,) array
        Greatest radius looked for: less work where more is known not to fit.

    Returns
    -------
    (k,) float64 array, mm
        ``greatest_mm`` where nothing is in the way, as on all that is convex; 0 where not even the least fits; NaN
        where the surface leans over.
    """
    count = len(points_mm)
    radius = np.array(np.broadcast_to(greatest_mm, count), dtype=np.float64)
    if count == 0:
        return radius
    point, normal = np.ascontiguousarray(points_mm @ tree.frame.T), np.ascontiguousarray(normals @ tree.frame.T)
    off = np.array(np.broadcast_to(tolerance_mm, count), dtype=np.float64)

    def run(part: slice) -> None:
        fit_radius(
            point[part], normal[part], off[part], float(least_mm), tree.corners, tree.box, tree.levels, radius[part]
        )

    if len(tree.facet) > 0:
        in_chunks(count, _CHUNK, run)
    return np.where(normal[:, 2] < _LEANS_OVER, np.nan, radius)


def largest_ball_behind_facets_mm(
    points_mm: Floats,
    normals: Floats,
    tree: PlanTree,
    stock: FacetStock,
    least_mm: float,
    greatest_mm: Floats | float,
) -> Floats:
    """Radius of the largest ball that touches the smooth surface behind points of facets, and goes into nothing else.

    In a hollow of its own radius r a ball goes into the facets by what they stand over the surface, e at most. One
    smaller by e with the same middle goes into none: that one is looked for, and e added. Where the surface bends
    outward facets lie under it: the ball keeps off the point by as much.

    Parameters
    ----------
    stock : FacetStock
        At these points. In a hollow that turns by an angle a an error d of the most makes the radius too large by
        ``d / (1 - cos a)``.
    points_mm, normals, tree, least_mm, greatest_mm : as for ``largest_fitting_ball_mm``

    Returns
    -------
    (k,) float64 array, mm, as that of ``largest_fitting_ball_mm``
    """
    into = np.maximum(stock.most_mm, _LEAST_INTO_MM)
    most = np.maximum(np.asarray(greatest_mm) - into, least_mm)
    radius = largest_fitting_ball_mm(points_mm, normals, tree, into - stock.at_mm + stock.under_mm, least_mm, most)
    return np.where(radius > 0.0, radius + into, radius)
