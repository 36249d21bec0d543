"""Colours of the pictures as every eye sees them, by another library: differences, and models of lost cones.

CIEDE2000 is that of Sharma, Wu & Dalal 2005 (doi 10.1002/col.20070); the models of one kind of cone lost are those of
Brettel, Vienot & Mollon 1997 (doi 10.1364/JOSAA.14.002647), Vienot, Brettel & Mollon 1999
(doi 10.1002/(SICI)1520-6378(199908)24:4<243::AID-COL5>3.0.CO;2-3) and Machado, Oliveira & Fernandes 2009
(doi 10.1109/TVCG.2009.113), all as the library coloraide has them; the one of 1999 is not made for tritan eyes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

import pytest
from coloraide import Color

from advisor.model import SLOPE_CLASSES, STRATEGIES
from advisor.pack.cusp_maps import GOUGE
from advisor.pack.palette import (
    CLASS_STYLES,
    FREE,
    LEFT_OUT,
    NOT_ADVISED,
    REACH_PAINTS,
    STRATEGY_COLOURS,
    UNKNOWN,
    UNZONED,
    ZONE_COLOURS,
    Colour,
    Paint,
)
from advisor.pack.scales import MOST_BANDS, ramp

LEAST = 10.0
EYES = [
    None, ("protan", "brettel"), ("protan", "vienot"), ("protan", "machado"), ("deutan", "brettel"),
    ("deutan", "vienot"), ("deutan", "machado"), ("tritan", "brettel"), ("tritan", "machado"),
]  # fmt: skip


def seen(colour: Colour, eye: tuple[str, str] | None) -> Color:
    plain = Color("srgb", [value / 255 for value in colour])
    return plain if eye is None else plain.filter(eye[0], 1, method=eye[1])


def told_apart(pairs: Iterable[tuple[Colour, Colour]], eye: tuple[str, str] | None) -> None:
    near = [(pair, apart(*pair, eye)) for pair in pairs]
    assert near and not [one for one in near if one[1] < LEAST]


def apart(one: Colour, other: Colour, eye: tuple[str, str] | None) -> float:
    return float(seen(one, eye).delta_e(seen(other, eye), method="2000"))


def pairs_of(colours: Sequence[Colour]) -> list[tuple[Colour, Colour]]:
    return list(itertools.combinations(colours, 2))


@pytest.mark.parametrize("eye", EYES)
def test_any_two_names_of_a_map_are_told_apart(eye: tuple[str, str] | None) -> None:
    classes = [CLASS_STYLES[name].paint.lit for name in SLOPE_CLASSES]
    strategies = [STRATEGY_COLOURS[name] for name in STRATEGIES]
    reach = [paint.lit for paint in REACH_PAINTS]
    told_apart(pairs_of([*classes, UNZONED.lit]), eye)
    told_apart(pairs_of([*strategies, NOT_ADVISED]), eye)
    told_apart(pairs_of([*ZONE_COLOURS, UNZONED.lit]), eye)
    told_apart(pairs_of([*reach, UNZONED.lit]), eye)


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("count", range(2, MOST_BANDS + 1))
def test_bands_side_by_side_and_what_stands_beside_them_are_told_apart(count: int, eye: tuple[str, str] | None) -> None:
    bands = ramp(count)
    told_apart(itertools.pairwise(bands), eye)
    beside = [FREE, GOUGE, UNKNOWN, LEFT_OUT]
    plain = [paint for paint in beside if paint.hatch is None]
    told_apart(itertools.product([paint.lit for paint in plain], bands), eye)
    told_apart(itertools.product([GOUGE.lit], [FREE.lit, *bands]), eye)
    # greys that some eyes see in a band are hatched, and not in one way
    patterns = {paint.pattern for paint in beside if paint.hatch is not None}
    assert plain == [FREE] and LEFT_OUT.pattern != UNKNOWN.pattern and len(patterns) == 2


@pytest.mark.parametrize("eye", EYES)
def test_hatch_lines_show_on_their_paint(eye: tuple[str, str] | None) -> None:
    hatched = [*(style.paint for style in CLASS_STYLES.values()), *REACH_PAINTS, GOUGE, UNKNOWN, LEFT_OUT]
    lines = [(paint.lit, paint.hatch) for paint in hatched if paint.hatch is not None]
    told_apart(lines, eye)


def test_paints_of_a_grey_copy_keep_their_order() -> None:
    """The steeper, the darker: lightness alone tells the classes."""
    lightness = [Color("srgb", [v / 255 for v in paint_of(name).lit]).convert("lab-d65")["l"] for name in SLOPE_CLASSES]
    assert all(one - other >= LEAST for one, other in itertools.pairwise(lightness))


def paint_of(name: str) -> Paint:
    return CLASS_STYLES[name].paint  # type: ignore[index]
