"""The shipped table of materials: its rows, its names, its refusals, and rows of the user's own."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter import materials
from advisor.cutter.materials import (
    Material,
    all_materials,
    is_combustible,
    material_from_row,
    material_named,
    read_table,
)
from advisor.errors import InputError
from advisor.job import MaterialRow

TABLE = all_materials()

# Lowest and highest m/min of light finishing with carbide balls (from memory, common practice; good to +-50 %).
FINISHING_SPEEDS = {
    "6061": (300, 900), "brass": (200, 450), "grey iron": (150, 300), "ductile iron": (120, 250), "4140": (120, 250),
    "P20": (100, 220), "H13 annealed": (150, 250), "H13 48 HRC": (80, 200), "tool steel 55 HRC": (60, 160),
    "304": (70, 160), "316L": (70, 160), "17-4PH": (70, 150), "Ti-6Al-4V": (50, 120), "Inconel 718": (20, 60),
}  # fmt: skip

# Specific cutting force, N/mm2, lowest and highest of a group (from memory: Kienzle 1952 and lists that follow it).
SPECIFIC_FORCES = {"P": (1500, 1900), "M": (1800, 2200), "K": (900, 1300), "N": (350, 700), "H": (2800, 4500)}
TITANIUM_FORCES, NICKEL_FORCES = (1300, 1500), (2400, 2900)

ROW = MaterialRow(group="S", surface_speed=(60, 90), feed_per_tooth_of_diameter=(0.003, 0.006))

ONE_ROW = """
combustible_words = []
refused = {}
[group.P]
kc11 = 1700
mc = 0.25
[material.steel]
group = "P"
surface_speed = ["100 m/min", "200 m/min"]
feed_per_tooth_of_diameter = [0.005, 0.01]
combustible = false
source = "ours"
"""


def test_docstring_examples() -> None:
    assert doctest.testmod(materials).failed == 0


@pytest.mark.parametrize("material", TABLE, ids=lambda material: material.name)
def test_every_row_lies_within_the_commonly_listed_forces_and_says_where_it_comes_from(material: Material) -> None:
    ranges = SPECIFIC_FORCES | {"S": TITANIUM_FORCES if material.combustible else NICKEL_FORCES}
    least, most = ranges[material.group]
    assert material.kc11_n_per_mm2 is not None
    assert least <= material.kc11_n_per_mm2 <= most
    assert material.mc is not None
    assert 0.2 <= material.mc <= 0.3
    assert material.source.startswith(("from memory, common practice", "published: "))


@pytest.mark.parametrize(("name", "speeds"), FINISHING_SPEEDS.items())
def test_finishing_speeds(name: str, speeds: tuple[float, float]) -> None:
    assert material_named(name).surface_speed_m_per_min == speeds


def test_groups_of_the_common_alloys() -> None:
    """ISO 513 groups; every one of them is there."""
    groups = {
        "P": ["1045", "4140", "P20", "H13 annealed", "D2"], "M": ["304", "316L", "17-4PH", "duplex 2205"],
        "K": ["grey iron", "ductile iron"], "N": ["6061", "7075", "cast AlSi", "brass", "copper", "bronze"],
        "S": ["Ti-6Al-4V", "CP titanium", "Inconel 718", "Inconel 625", "cobalt-chrome"],
        "H": ["H13 48 HRC", "tool steel 55 HRC", "tool steel 62 HRC"],
    }  # fmt: skip
    assert {group: [material_named(name).group for name in names] for group, names in groups.items()} == {
        group: [group] * len(names) for group, names in groups.items()
    }


def test_titanium_is_fed_as_shops_do() -> None:
    """Common practice, no source: half-inch ball, 0.0012 in a tooth, about 215 ft/min at its contact, tilted 15 deg."""
    titanium = material_named("Ti-6Al-4V")
    least, most = titanium.feed_per_tooth_of_diameter
    assert least <= 0.0012 / 0.5 <= most
    slow, fast = titanium.surface_speed_m_per_min
    assert slow <= 215 * 0.3048 <= fast


@given(st.data())
def test_a_name_may_be_written_in_any_way(data: st.DataObject) -> None:
    table = materials._shipped()
    spelling, name = data.draw(st.sampled_from([pair for pair in table.spellings() if pair[1] in table.material]))
    between = st.sampled_from(["", " ", "-", "_", "  "])
    case = st.sampled_from([str.upper, str.lower, str.title])
    assert material_named("".join(data.draw(case)(letter) + data.draw(between) for letter in spelling)).name == name


@pytest.mark.parametrize(
    ("name", "suggested"),
    [
        ("H13", ["H13 annealed", "H13 48 HRC"]),
        ("titanium", ["Ti-6Al-4V", "CP titanium"]),
        ("Ti-6Al-4", ["Ti-6Al-4V"]),
        ("inconell 718", ["Inconel 718"]),
        ("aluminium", ["6061", "7075"]),
        ("stainless steel", ["304", "316L", "17-4PH"]),
    ],
)
def test_unknown_names_get_the_nearest_known(name: str, suggested: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        material_named(name)
    line = str(caught.value)
    assert [known for known in suggested if repr(known) in line] == suggested
    assert "\n" not in line
    assert "[material.NAME]" in line


@pytest.mark.parametrize("name", ["", "  ", "granite"])
def test_a_name_like_no_other_gets_the_whole_list(name: str) -> None:
    with pytest.raises(InputError, match=r"known are 1045, 4140, .*, tool steel 62 HRC; otherwise give its own data"):
        material_named(name)


@pytest.mark.parametrize("name", ["magnesium", "AZ91D", "we-43"])
def test_magnesium_has_no_data_but_may_be_given_some(name: str) -> None:
    with pytest.raises(InputError, match=r"catch fire.*\[material\.NAME\]"):
        material_named(name)
    assert name not in {material.name for material in TABLE}
    assert material_from_row(name, ROW).combustible


@pytest.mark.parametrize(
    ("name", "burns"),
    [("Ti-6Al-4V", True), ("grade 2 titanium", True), ("Ti-6242", True), ("Zirconium 702", True), ("my steel", False)],
)
def test_what_burns_is_told_by_the_name(name: str, burns: bool) -> None:
    assert is_combustible(name) is burns
    assert material_from_row(name, ROW).combustible is burns


def test_own_rows_borrow_the_force_of_their_group_and_say_so() -> None:
    bare = material_from_row("mine", ROW)
    assert (bare.kc11_n_per_mm2, bare.mc) == (2650.0, 0.25)
    assert bare.source == "the job file; kc11 and mc of group S"
    half = material_from_row("mine", ROW.model_copy(update={"kc11": 1480.0}))
    assert (half.kc11_n_per_mm2, half.mc, half.source) == (1480.0, 0.25, "the job file; mc of group S")
    full = material_from_row("mine", ROW.model_copy(update={"kc11": 1480.0, "mc": 0.21}))
    assert (full.kc11_n_per_mm2, full.mc, full.source) == (1480.0, 0.21, "the job file")


def test_the_table_may_be_edited() -> None:
    assert read_table(ONE_ROW).material["steel"].surface_speed == (100.0, 200.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"100 m/min"', '"300 m/min"', r"mine: material\.steel: surface_speed: the lowest \(300\) comes before"),
        ('"100 m/min"', '"100 kg"', r"mine: material\.steel\.surface_speed\.0: '100 kg' is not a cutting speed"),
        ("combustible = false", "fire = false", r"mine: material\.steel\.(combustible: Field required|fire: Extra)"),
        ('group = "P"', 'group = "X"', r"mine: material\.steel\.group: Input should be 'P'"),
        ("refused = {}", "refused = ", "mine: is not TOML"),
        ("refused = {}", 'refused.ore = { aliases = ["S-teel"], combustible = true, why = "" }', "'steel' and 'ore'"),
    ],
)
def test_a_spoilt_row_is_told_in_one_line(old: str, new: str, words: str) -> None:
    assert old in ONE_ROW
    with pytest.raises(InputError, match=words) as caught:
        read_table(ONE_ROW.replace(old, new), "mine")
    assert "\n" not in str(caught.value)
