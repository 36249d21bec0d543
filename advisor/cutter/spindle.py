"""Which spindle speed for a zone, the cutting speeds that come of it, and how many flutes really cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from advisor.cutter.checks import Values, not_negative, positive
from advisor.cutter.speeds import spindle_rpm, surface_speed_m_per_min
from advisor.job import DEFAULT_FLUTES, Tool

# Flutes that reach the centre of a ball with more of them, where the tool maker does not say (common practice, no
# source).
DEFAULT_CENTRE_FLUTES = 2
# From this share of a zone near the tip, only the flutes that reach the centre are counted on (common practice, no
# source).
MOSTLY_NEAR_TIP = 0.5

Limit: TypeAlias = Literal["wanted speed", "machine", "tool"]
SPINDLE_LIMITS: tuple[Literal["machine", "tool"], ...] = ("machine", "tool")


@dataclass(frozen=True)
class SpindleChoice:
    """A spindle speed for a zone.

    Attributes
    ----------
    rpm : float
    limited_by : "wanted speed", "machine" or "tool"
        What keeps it from being higher.
    least_speed_m_per_min, mean_speed_m_per_min, greatest_speed_m_per_min : float
        Where the cutter touches the surface; the mean over the area.
    effective_diameter_mm : float
        Diameter on which the cutting speed was set.
    """

    rpm: float
    limited_by: Limit
    least_speed_m_per_min: float
    mean_speed_m_per_min: float
    greatest_speed_m_per_min: float
    effective_diameter_mm: float


def choose_spindle(
    contact_diameters_mm: Values,
    weights: Values,
    effective_diameter_max_mm: float,
    wanted_m_per_min: float,
    highest_m_per_min: float,
    limits_rpm: Mapping[str, float | None],
) -> SpindleChoice:
    """Spindle speed at which the largest diameter that cuts anywhere in a zone runs at the wanted speed.

    n = 1000 v / (pi De), and no more than the machine or the tool may turn. At the tip there is no cutting speed,
    whatever the spindle: hence the speeds at the contact beside it.

    Parameters
    ----------
    contact_diameters_mm : (n,) array, mm, 0 or more
        Where the cutter touches the facets of the zone.
    weights : (n,) array, 0 or more
        Their areas.
    effective_diameter_max_mm : float, mm, above 0
        Largest diameter that cuts; a larger contact diameter takes its place.
    wanted_m_per_min, highest_m_per_min : float, m/min, above 0
        Cutting speed to aim at, and the one never to pass: the smaller counts.
    limits_rpm : mapping, rev/min, above 0
        Of ``SPINDLE_LIMITS``; None or left out where there is no limit.

    Raises
    ------
    ValueError
        An argument out of its range, arrays of different lengths, no facet or no area, an unknown limit.

    Examples
    --------
    >>> flat = choose_spindle(np.array([0.0, 2.0]), np.array([1.0, 3.0]), 2.8, 150.0, 200.0, {"machine": 12_000.0})
    >>> round(flat.rpm), flat.limited_by, round(flat.mean_speed_m_per_min, 2)
    (12000, 'machine', 56.55)
    """
    contact = not_negative(contact_diameters_mm, "contact diameter")
    share = _shares(weights, contact)
    if not set(limits_rpm) <= set(SPINDLE_LIMITS):
        raise ValueError(f"spindle limits are those of {' and '.join(SPINDLE_LIMITS)}, not of {', '.join(limits_rpm)}")
    effective = max(float(positive(effective_diameter_max_mm, "effective diameter")), float(contact.max()))
    wanted = min(float(positive(wanted_m_per_min, "wanted speed")), float(positive(highest_m_per_min, "highest speed")))
    rpm: dict[Limit, float] = {"wanted speed": float(spindle_rpm(wanted, effective))}
    for name in SPINDLE_LIMITS:
        limit = limits_rpm.get(name)
        if limit is not None:
            rpm[name] = float(positive(limit, f"highest spindle speed of the {name}"))
    limited_by = min(rpm, key=rpm.__getitem__)
    speed = surface_speed_m_per_min(rpm[limited_by], contact)
    return SpindleChoice(
        rpm=rpm[limited_by],
        limited_by=limited_by,
        least_speed_m_per_min=float(speed.min()),
        mean_speed_m_per_min=float(speed @ share),
        greatest_speed_m_per_min=float(speed.max()),
        effective_diameter_mm=effective,
    )


def _shares(weights: Values, values: Values) -> Values:
    weight = not_negative(weights, "weight")
    if weight.ndim != 1 or weight.shape != values.shape:
        raise ValueError(f"{values.shape} contact diameters and {weight.shape} weights do not go together")
    total = weight.sum()
    if not total > 0.0 or np.isnan(values).any():
        raise ValueError("a zone needs an area and a contact diameter on every facet")
    return np.asarray(weight / total)


def flutes_at_contact(flutes: int, centre_flutes: int | None, tip_share: float) -> int:
    """Flutes that really cut: all of them, or those that reach the centre where most of a zone is cut near the tip.

    ``flutes`` 1 or more; ``centre_flutes`` 1 to flutes, None for ``DEFAULT_CENTRE_FLUTES`` (common practice, no
    source); ``tip_share`` 0 to 1, the share of the zone cut near the tip. Raises ``ValueError`` elsewhere.

    >>> flutes_at_contact(6, None, 0.9), flutes_at_contact(6, 3, 0.9), flutes_at_contact(6, None, 0.1)
    (2, 3, 6)
    """
    centre = min(DEFAULT_CENTRE_FLUTES, flutes) if centre_flutes is None else centre_flutes
    if not 1 <= centre <= flutes:
        raise ValueError(f"{flutes} flutes of which {centre} reach the centre are no cutter")
    if not 0.0 <= tip_share <= 1.0:
        raise ValueError(f"share of the zone near the tip must lie within 0 to 1, but {tip_share:g} was given")
    return centre if tip_share >= MOSTLY_NEAR_TIP else flutes


def effective_flutes(tool: Tool, tip_share: float) -> int:
    """Flutes of a tool of the job that really cut: :func:`flutes_at_contact`, ``DEFAULT_FLUTES`` where it says none."""
    return flutes_at_contact(tool.flutes or DEFAULT_FLUTES, tool.centre_flutes, tip_share)
