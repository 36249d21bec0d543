"""How far a facet model lies from the surface that it stands for.

A file of facets does not say what it was made from, nor within which tolerance; but where neighbours bend alike
they stand for one rounded surface, and how they bend tells how far it bulges over them.
"""

from __future__ import annotations

import math

import numpy as np

from advisor import tolerances
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.sagitta import facet_rises
from advisor.part.mesh import Mesh
from advisor.part.smooth import SmoothSurface
from advisor.units import UM_PER_MM

# Share of the bent area that may lie further off than the answer: odd facets at seams and rims.
_TAIL_SHARE = 0.05
# Uneven facets rise by more than the narrower neighbour at each edge tells, by up to this (measured on meshes
# shaken by a fifth of an edge).
UNEVEN = 1.5
# Facets of the chord error t look like cusps of the height t; this much finer they do not show (rule of thumb, from
# memory).
CUSP_OVER_CHORD = 5.0


def chord_error_um(mesh: Mesh, smooth: SmoothSurface, most_um: float | None = None) -> float | None:
    """Estimated distance between the facets and the smooth surface behind them, um.

    Over each facet the surface is taken as the quadric that the normals at its corners tell, but no further off
    than the bends at its edges allow: a strip of width w that turns by an angle lies w * angle / 8 off. The answer
    is what 95 % of the bent area keeps within. Creases do not count: facets meet there as the part does.

    Parameters
    ----------
    mesh : Mesh
    smooth : SmoothSurface
        Of the same mesh.
    most_um : float, optional
        Where facets were cut from exact surfaces: what they were cut to keep within. Long facets that end in a gentle
        edge, as where two fillets meet, are else taken for coarse ones that bend along their length.

    Returns
    -------
    float or None
        ``None`` where nothing bends: plane faces are exact, however large their facets. On spheres, cylinders,
        tori and fillets with chord errors of 0.005 to 0.05 mm within 10 % of the largest distance.

    Notes
    -----
    Derived here. Noise of a scan is no part of it.
    """
    least_chord = math.radians(tolerances.NO_BEND_DEG)
    rise_mm, area_mm2 = facet_rises(
        mesh.vertices, mesh.faces, mesh.twins, smooth.corner_normal, smooth.is_crease, smooth.bend_deg, least_chord,
        UNEVEN,
    )  # fmt: skip
    if len(rise_mm) == 0:
        return None
    share = np.array([1.0 - _TAIL_SHARE])
    told_um = UM_PER_MM * float(weighted_quantiles(rise_mm, area_mm2, share)[0])
    return told_um if most_um is None else min(told_um, most_um)


def facet_angle_deg(chord_error_mm: float, radius_mm: float) -> float:
    """Angle of a facet whose middle is `chord_error_mm` off an arc: 2 acos(1 - t / R), degrees.

    Textbook geometry, in the form 4 asin(sqrt(t / 2R)) that keeps its digits. The facet's normal is off by up to
    half of it. Raises ``ValueError`` for a radius not above zero, or a chord error below zero or above the radius.

    >>> print(round(facet_angle_deg(0.01, 25.0), 6))
    3.241247
    """
    if not 0.0 < radius_mm < math.inf:
        raise ValueError(f"radius must be above zero and finite, but {radius_mm:g} was given")
    if not 0.0 <= chord_error_mm <= radius_mm:
        raise ValueError(f"chord error must lie within zero and the radius ({radius_mm:g}), not {chord_error_mm:g}")
    return math.degrees(4.0 * math.asin(math.sqrt(0.5 * chord_error_mm / radius_mm)))


def chord_tolerance_for_cusp_mm(cusp_mm: float) -> float:
    """Chord tolerance to export a part with, so that its facets do not show among cusps: a fifth of the cusp.

    Rule of thumb, from memory: facets as far off as the cusp is high look exactly like cusps. Raises
    ``ValueError`` for a cusp that is not above zero.

    >>> chord_tolerance_for_cusp_mm(0.005)
    0.001
    """
    if not 0.0 < cusp_mm < math.inf:
        raise ValueError(f"cusp must be above zero and finite, but {cusp_mm:g} was given")
    return cusp_mm / CUSP_OVER_CHORD
