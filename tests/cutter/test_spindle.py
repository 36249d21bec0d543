"""Spindle speed of a zone: published values, limits, and laws."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter import spindle
from advisor.cutter.contact import contact_diameter_mm, effective_diameter_mm
from advisor.cutter.speeds import surface_speed_m_per_min
from advisor.cutter.spindle import DEFAULT_CENTRE_FLUTES, choose_spindle, effective_flutes, flutes_at_contact
from advisor.job import Tool

ONE = np.array([1.0])
speeds = st.floats(1.0, 2000.0)
limits = st.one_of(st.none(), st.floats(100.0, 60_000.0))


def test_docstring_examples() -> None:
    assert doctest.testmod(spindle).failed == 0


@pytest.mark.parametrize(("tilt_deg", "rpm"), [(0.0, 17052.3), (15.0, 9201.03)])
def test_speed_is_set_on_the_diameter_that_cuts(tilt_deg: float, rpm: float) -> None:
    """Computed independently: 150 m/min on a 10 mm ball 0.2 mm deep; on the nominal diameter it would be 4774.65."""
    effective = float(effective_diameter_mm(0.2, 10.0, tilt_deg))
    contact = np.array([contact_diameter_mm(10.0, 0.0, tilt_deg)])
    choice = choose_spindle(contact, ONE, effective, 150.0, 400.0, {})
    assert choice.rpm == pytest.approx(rpm, rel=1e-5)
    assert choice.limited_by == "wanted speed"
    assert surface_speed_m_per_min(choice.rpm, choice.effective_diameter_mm) == pytest.approx(150.0)


def test_half_inch_ball_tilted_15_deg_at_833_ft_per_min() -> None:
    """Common practice, no source: about 6,364 rev/min, and 0.129 in at the contact, so about 215 ft/min."""
    contact = np.array([contact_diameter_mm(12.7, 0.0, 15.0)])
    choice = choose_spindle(contact, ONE, 12.7, 833 * 0.3048, 833 * 0.3048, {"machine": 12_000.0})
    assert choice.rpm == pytest.approx(6364, abs=1)
    assert choice.mean_speed_m_per_min / 0.3048 == pytest.approx(0.129 / 0.5 * 833, rel=5e-3)


@pytest.mark.parametrize(
    ("limits_rpm", "rpm", "limited_by"),
    [
        ({"machine": 12_000.0, "tool": None}, 12_000.0, "machine"),
        ({"machine": 12_000.0, "tool": 9_000.0}, 9_000.0, "tool"),
        ({"machine": 40_000.0}, 200.0e3 / (2.8 * np.pi), "wanted speed"),
    ],
)
def test_machine_and_tool_cap_the_spindle(limits_rpm: dict[str, float | None], rpm: float, limited_by: str) -> None:
    choice = choose_spindle(np.array([0.5, 2.0]), np.array([1.0, 3.0]), 2.8, 200.0, 250.0, limits_rpm)
    assert (choice.rpm, choice.limited_by) == (pytest.approx(rpm), limited_by)
    assert choice.mean_speed_m_per_min == pytest.approx(np.pi * rpm * (0.5 * 0.25 + 2.0 * 0.75) / 1000.0)


def test_the_highest_speed_wins_over_the_wanted_one() -> None:
    assert choose_spindle(ONE, ONE, 2.0, 300.0, 100.0, {}).rpm == choose_spindle(ONE, ONE, 2.0, 100.0, 100.0, {}).rpm


@given(
    st.lists(st.tuples(st.floats(0.0, 20.0), st.floats(0.01, 9.0)), min_size=1, max_size=20),
    st.floats(0.1, 20.0), speeds, speeds, limits, limits,
)  # fmt: skip
def test_nothing_in_the_zone_runs_too_fast_and_no_higher_spindle_is_allowed(
    facets: list[tuple[float, float]], effective: float, wanted: float, highest: float,
    machine: float | None, tool: float | None,
) -> None:  # fmt: skip
    contact, area = np.array(facets).T
    choice = choose_spindle(contact, area, effective, wanted, highest, {"machine": machine, "tool": tool})
    fastest = surface_speed_m_per_min(choice.rpm, max(effective, contact.max()))
    caps = {"wanted speed": fastest / min(wanted, highest)}
    caps |= {name: choice.rpm / cap for name, cap in (("machine", machine), ("tool", tool)) if cap is not None}
    assert max(caps.values()) == pytest.approx(1.0)
    assert caps[choice.limited_by] == pytest.approx(1.0)
    least, mean, greatest = choice.least_speed_m_per_min, choice.mean_speed_m_per_min, choice.greatest_speed_m_per_min
    assert least <= mean * (1.0 + 1e-12)
    assert mean <= greatest * (1.0 + 1e-12)
    assert greatest <= fastest * (1.0 + 1e-12)


@pytest.mark.parametrize(
    ("flutes", "centre", "tip_share", "cutting"),
    [(6, None, 0.5, 2), (6, None, 0.49, 6), (1, None, 1.0, 1), (2, None, 1.0, 2), (4, 3, 1.0, 3), (4, 3, 0.0, 4)],
)
def test_near_the_tip_only_the_flutes_that_reach_it_cut(
    flutes: int, centre: int | None, tip_share: float, cutting: int
) -> None:
    """Common practice, no source: of many flutes two meet at the tip."""
    assert flutes_at_contact(flutes, centre, tip_share) == cutting
    assert effective_flutes(Tool(diameter=6.0, flutes=flutes, centre_flutes=centre), tip_share) == cutting


def test_a_tool_that_says_nothing_has_two_flutes() -> None:
    assert effective_flutes(Tool(diameter=6.0), 0.0) == effective_flutes(Tool(diameter=6.0), 1.0) == 2
    assert DEFAULT_CENTRE_FLUTES == 2


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: choose_spindle(ONE, np.ones(2), 2.0, 100.0, 100.0, {}), "do not go together"),
        (lambda: choose_spindle(np.ones(0), np.ones(0), 2.0, 100.0, 100.0, {}), "a zone needs an area"),
        (lambda: choose_spindle(ONE, 0.0 * ONE, 2.0, 100.0, 100.0, {}), "a zone needs an area"),
        (lambda: choose_spindle(np.nan * ONE, ONE, 2.0, 100.0, 100.0, {}), "a contact diameter on every facet"),
        (lambda: choose_spindle(-ONE, ONE, 2.0, 100.0, 100.0, {}), "contact diameter must be zero or more"),
        (lambda: choose_spindle(ONE, ONE, 0.0, 100.0, 100.0, {}), "effective diameter"),
        (lambda: choose_spindle(ONE, ONE, 2.0, 0.0, 100.0, {}), "wanted speed"),
        (lambda: choose_spindle(ONE, ONE, 2.0, 100.0, 0.0, {}), "highest speed"),
        (lambda: choose_spindle(ONE, ONE, 2.0, 100.0, 100.0, {"tool": 0.0}), "spindle speed of the tool"),
        (lambda: choose_spindle(ONE, ONE, 2.0, 100.0, 100.0, {"drive": 9.0}), "not of drive"),
        (lambda: flutes_at_contact(2, 3, 0.0), "are no cutter"),
        (lambda: flutes_at_contact(0, None, 0.0), "are no cutter"),
        (lambda: flutes_at_contact(2, 2, 1.1), "share of the zone near the tip"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()
