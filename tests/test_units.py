"""Typed values: every spelling of one value agrees, and slips are told at once."""

from __future__ import annotations

import doctest
import math
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import units, words
from advisor.cli import batch
from advisor.library import lists, lost

CONVERTERS = (
    units.length_mm, units.area_mm2, units.angle_deg, units.feed_mm_per_min, units.surface_speed_m_per_min,
    units.stress_n_per_mm2, units.spindle_rpm, units.acceleration_mm_per_s2,
)  # fmt: skip


@pytest.mark.parametrize("module", [units, words, lists, lost, batch])
def test_examples(module: object) -> None:
    done = doctest.testmod(module)  # type: ignore[arg-type]
    assert done.attempted and not done.failed


@pytest.mark.parametrize("value", ["soon", "5 mm", "nan", "1e9 h", None])
def test_limits_of_a_part_are_times_and_sizes(value: object) -> None:
    for convert in (units.time_s, units.memory_bytes):
        with pytest.raises(ValueError, match=r"is (not )?(a time|a size of memory)|must be a number"):
            convert(value)  # type: ignore[arg-type]


@pytest.mark.parametrize("convert", CONVERTERS)
@pytest.mark.parametrize("value", ["1e400", "-1e400", "1e15", 1e15, math.inf, 10**400, 10**5000], ids=lambda _: "")
def test_values_beyond_any_machine(convert: object, value: object) -> None:
    with pytest.raises(ValueError, match=r"^.{1,80} is an? [a-z ]+ beyond any machine; give \d+ \S+ or less$"):
        convert(value)  # type: ignore[operator]


@pytest.mark.parametrize("value", ["5parsec", "1e300 lightyear", "100.1 m", "4000 inch"])
def test_lengths_up_to_a_hundred_metres(value: str) -> None:
    assert units.length_mm("100 m") == units.LONGEST_MM
    with pytest.raises(ValueError, match="is a length beyond any machine; give 100 m or less"):
        units.length_mm(value)


@pytest.mark.parametrize(
    "value",
    [math.nan, "", "mm", "5 mm**9**9**9", "5 9**9**9*mm", "5 (mm", "5 '''mm", "1 " + "mm*" * 3000 + "mm", "1 s"],
)
def test_no_lengths(value: object) -> None:
    with pytest.raises(ValueError, match=r"^.{1,80} is not a length; write for example '0.1 mm'$"):
        units.length_mm(value)  # type: ignore[arg-type]


@given(
    st.floats(1e-6, 100.0), st.sampled_from([("in", "inch"), ("mm", "millimetre"), ("um", "micron"), ("m", "meter")])
)
def test_spellings_agree(number: float, spellings: tuple[str, str]) -> None:
    short, long = (units.length_mm(f"{number!r} {name}") for name in spellings)
    assert short == pytest.approx(long, rel=1e-12)


def test_unusual_spellings() -> None:
    assert units.stress_n_per_mm2("3 kN/cm**2") == pytest.approx(30.0)
    assert units.stress_n_per_mm2("2 newton * (millimeter ** -2)") == pytest.approx(2.0)
    assert units.area_mm2("1 cm^2") == pytest.approx(100.0)
    assert units.acceleration_mm_per_s2("1 mm/s**2") == pytest.approx(1.0)


def test_what_is_kept_of_units_does_not_outlive_the_library_it_was_read_from(tmp_path: Path) -> None:
    """An environment that was removed leaves what it kept behind: another one reads units all the same."""
    import pint

    gone = tmp_path / "gone"
    shutil.copytree(Path(pint.__file__).parent, gone / "pint")
    asks = "from advisor.units import length_mm; print(length_mm('2 decimeter'))"
    kept = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "kept"), "LOCALAPPDATA": str(tmp_path / "kept")}
    for paths in (str(gone), ""):
        where = os.pathsep.join(part for part in (paths, os.environ.get("PYTHONPATH", "")) if part)
        told = subprocess.run(
            [sys.executable, "-c", asks], capture_output=True, text=True, env={**kept, "PYTHONPATH": where}, check=False
        )  # fmt: skip
        assert (told.returncode, told.stdout.strip()) == (0, "200.0"), told.stderr
        shutil.rmtree(gone, ignore_errors=True)
