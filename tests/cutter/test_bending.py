"""Bending of the cutter against published beams and against slices added up."""

from __future__ import annotations

import doctest

import naive
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter import bending
from advisor.cutter.bending import (
    FLUTE_CORE_SHARE,
    STICK_OUT_LIMIT,
    Section,
    compliance_mm_per_n,
    deflection_normal_um,
    sections_of_tool,
    slenderness,
)
from advisor.job import CARBIDE_MODULUS_N_PER_MM2, Tool

sections = st.lists(
    st.builds(
        Section, st.floats(0.5, 40), st.floats(0.5, 20), st.one_of(st.none(), st.floats(0.5, 20))
    ),
    min_size=1,
    max_size=4,
)  # fmt: skip


def test_docstring_examples() -> None:
    assert doctest.testmod(bending).failed == 0


def test_plain_cantilevers() -> None:
    """Computed independently (textbook F L^3 / 3 E I): d 6, E 600 GPa."""
    rod = compliance_mm_per_n([Section(30, 6)], 600_000)
    assert 1000 * rod == pytest.approx(0.235785, abs=5e-7)
    longer = compliance_mm_per_n([Section(40, 6)], CARBIDE_MODULUS_N_PER_MM2)
    assert longer / rod == pytest.approx(2.370370, abs=5e-7)
    assert deflection_normal_um(20.0, longer, 90.0) == pytest.approx(11.178, abs=5e-4)


def test_cone_by_quadrature() -> None:
    """x^2 / (E I) over a cone of 4 to 10 mm, by Gauss's rule."""
    node, weight = np.polynomial.legendre.leggauss(60)
    x = 15 * (node + 1)
    inertia = np.pi * (4 + 6 * x / 30) ** 4 / 64
    expected = 15 * (weight * x**2 / (600_000 * inertia)).sum()
    assert compliance_mm_per_n([Section(30, 4, 10)], 600_000) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "stack",
    [
        [Section(40, 6)],
        [Section(9, 4.8), Section(21, 5.6), Section(12, 6, 10), Section(5, 10)],
        [Section(10, 2, 6), Section(10, 6, 3)],
    ],
)
def test_slices_bent_one_by_one_give_the_same(stack: list[Section]) -> None:
    plain = [(s.length_mm, s.diameter_mm, s.top_diameter_mm or s.diameter_mm) for s in stack]
    sliced = naive.naive_compliance(plain, 600_000, steps=1000)
    assert compliance_mm_per_n(stack, 600_000) == pytest.approx(sliced, rel=2e-5)


@given(sections, st.floats(0.05, 0.95), st.floats(0.2, 5.0))
def test_laws_of_bars(stack: list[Section], cut: float, factor: float) -> None:
    give = compliance_mm_per_n(stack, 600_000)
    first = stack[0]
    top = first.diameter_mm if first.top_diameter_mm is None else first.top_diameter_mm
    middle = first.diameter_mm + cut * (top - first.diameter_mm)
    halves = [
        Section(cut * first.length_mm, first.diameter_mm, middle),
        Section((1 - cut) * first.length_mm, middle, top),
    ]
    assert compliance_mm_per_n([*halves, *stack[1:]], 600_000) == pytest.approx(give, rel=1e-9)
    scaled = [
        Section(factor * s.length_mm, factor * s.diameter_mm, s.top_diameter_mm and factor * s.top_diameter_mm)
        for s in stack
    ]
    assert compliance_mm_per_n(scaled, 600_000) == pytest.approx(give / factor, rel=1e-9)
    assert compliance_mm_per_n(stack, 300_000) == pytest.approx(2 * give, rel=1e-12)
    assert compliance_mm_per_n([*stack, Section(1, 20)], 600_000) > give


def bar(tool: Tool, stick_out: float) -> list[tuple[float, float]]:
    return [(round(s.length_mm, 9), round(s.diameter_mm, 9)) for s in sections_of_tool(tool, stick_out)]


def test_bar_of_a_cutter() -> None:
    assert FLUTE_CORE_SHARE == 0.8  # common practice, no source
    assert bar(Tool(diameter=6, flute_length=9), 30) == [(9, 4.8), (21, 6)]
    assert bar(Tool(diameter=6), 30) == [(12, 4.8), (18, 6)]
    small = Tool(diameter=2, flute_length=3, neck_length=17, neck_diameter=1.9, shank_diameter=6)
    assert bar(small, 25) == [(3, 1.6), (17, 1.9), (5, 6)]
    # what is held does not bend, and a neck without a length is all there is above the flutes
    assert bar(small, 10) == [(3, 1.6), (7, 1.9)]
    assert bar(small, 2) == [(2, 1.6)]
    endless = Tool(diameter=2, flute_length=3, neck_diameter=1.9, shank_diameter=6)
    assert bar(endless, 25) == [(3, 1.6), (22, 1.9)]


@given(st.floats(1, 20), st.floats(5, 100))
def test_sections_add_up_to_the_stick_out(diameter: float, stick_out: float) -> None:
    tool = Tool(diameter=diameter, neck_diameter=0.9 * diameter, neck_length=10)
    assert sum(s.length_mm for s in sections_of_tool(tool, stick_out)) == pytest.approx(stick_out)


def test_stick_out_limits() -> None:
    """Common practice, no source: bending shows from 4 diameters."""
    assert slenderness(Tool(diameter=10, stick_out=45)) == 4.5
    assert slenderness(Tool(diameter=10)) is None
    assert STICK_OUT_LIMIT < 4.5


def test_way_given_square_to_the_surface() -> None:
    """Force and move as vectors: only what lies across the tool counts, and of that what lies on the normal."""
    for slope in (0.0, 20.0, 45.0, 90.0, 120.0):
        normal = np.array([np.sin(np.radians(slope)), np.cos(np.radians(slope))])
        move = 0.0006 * 30.0 * np.array([normal[0], 0.0])
        assert deflection_normal_um(30.0, 0.0006, slope) == pytest.approx(1000 * move @ normal, abs=1e-12)


@pytest.mark.parametrize("wrong", [Section(0, 6), Section(10, 0), Section(10, 6, -1)])
def test_a_section_needs_a_size(wrong: Section) -> None:
    with pytest.raises(ValueError, match="above zero"):
        compliance_mm_per_n([wrong], 600_000)
