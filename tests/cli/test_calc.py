"""`advisor calc`: published values, units in and out, one line for every fault, and the docs as they print.

Values carry their digits as printed in the project's table of check values, and a tolerance of one unit in the last
of them. "Computed independently": a closed form evaluated outside this package.
"""

from __future__ import annotations

import json
import math
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import documented
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cli.main import run_for_code
from advisor.cutter.facet_sums import facet_sum
from advisor.cutter.measured_finish import RA_GRADES, filter_share, ra_grade, usual_cut_off_mm
from advisor.cutter.sums import cusp_sum, finish_sum, speed_sum, stepover_sum, tilt_sum
from advisor.errors import InputError
from advisor.part.coarseness import chord_tolerance_for_cusp_mm, facet_angle_deg

DOC = Path(__file__).resolve().parents[2] / "docs" / "how-to-calc.md"

# What other programs rely on; more may be added.
CONTRACT = {
    "cusp --ball 10 --stepover 0.5": {"cusp_um", "rz_um", "ra_um"},
    "stepover --ball 10 --cusp 0.01": {"stepover_mm", "line_spacing_mm", "z_step_mm"},
    "speed --ball 10 --surface-speed 200": {
        "spindle_rpm", "contact_diameter_mm", "contact_speed_m_per_min", "feed_mm_per_min",
    },
}  # fmt: skip


def printed(text: str) -> Any:
    """A printed number, to within one unit in its last digit."""
    return pytest.approx(float(text), rel=0.0, abs=10.0 ** -len(text.partition(".")[2]))


def answer(capsys: pytest.CaptureFixture[str], line: str) -> dict[str, Any]:
    """The JSON answer to a line after `advisor calc`."""
    assert run_for_code(["calc", *shlex.split(line), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    fields: dict[str, Any] = json.loads(out)
    assert all(value is None or isinstance(value, bool | int | float | str) for value in fields.values()), "flat"
    return fields


@pytest.mark.parametrize("line", CONTRACT)
def test_json_holds_what_others_rely_on(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert CONTRACT[line] <= answer(capsys, line).keys()


PUBLISHED = {
    # cusp: computed independently; textbook geometry (B. K. Choi and R. B. Jerard 1998, from memory)
    "cusp --ball 10 --stepover 0.5": {"cusp_um": "6.25391", "rz_um": "6.253911", "ra_um": "1.604553"},
    "cusp --ball 10 --stepover 1": {"cusp_um": "25.0628", "ra_um": "6.427884"},
    "cusp --ball 6 --stepover 0.3": {"ra_um": "0.962732"},
    "cusp --ball '12.7 mm' --stepover 0.762": {"cusp_um": "11.4403"},
    # curved: computed independently, and brute force
    "cusp --ball 10 --stepover 1 --surface-radius 25": {"cusp_um": "30.12591"},
    "cusp --ball 10 --stepover 1 --surface-radius -25": {"cusp_um": "20.02341"},
    # lines and constant-Z on a slope, equal at mirrored slopes: computed independently
    "cusp --ball 10 --line-spacing 0.4 --slope 30": {"cusp_um": "5.3362"},
    "cusp --ball 10 --z-step 0.4 --slope '60 deg'": {"cusp_um": "5.3362"},
    "cusp --ball 10 --line-spacing 0.4 --slope 75": {"cusp_um": "60.0737"},
    # stepover: computed independently
    "stepover --ball 10 --cusp 0.01": {"stepover_mm": "0.6321392", "line_spacing_mm": "0.6321392", "z_step_mm": "0.0"},
    "stepover --ball 10 --cusp '10 um' --slope 15": {"line_spacing_mm": "0.6105996", "z_step_mm": "0.1636097"},
    "stepover --ball 10 --cusp 0.01 --slope 90": {"line_spacing_mm": "0.0", "z_step_mm": "0.6321392"},
    "stepover --ball 10 --cusp 0.01 --surface-radius 25": {"stepover_mm": "0.5769493"},
    "stepover --ball 10 --cusp 0.01 --surface-radius -25": {"stepover_mm": "0.7069004"},
    "stepover --ball 6 --cusp 0.01 --surface-radius -10": {"stepover_mm": "0.585366"},
    # finish: computed independently (closed form of shallow arcs: hence fewer digits); ISO 4288 and ISO 16610-21 from
    # memory
    "finish --ball 10 --ra '0.8 um'": {"stepover_mm": "0.353", "cut_off_mm": "0.8"},
    "finish --ball 10 --ra N6": {"stepover_mm": "0.353", "ra_um": "0.8"},
    "finish --ball 6 --ra '0.4 um'": {"stepover_mm": "0.1934"},
    "finish --ball 10 --rz '4 um'": {"stepover_mm": "0.3999", "cusp_um": "4.0", "rz_um": "4.0"},
    "finish --ball 10 --rz 6.253911um --cut-off 0.8": {"stepover_mm": "0.500000", "filter_share": "0.8304"},
    "finish --ball 10 --rz '6.253911 um'": {
        "cut_off_mm": "2.5", "filter_share": "1.0000", "common_filter_share": "0.8304",
    },
    # speed: computed independently; spindle and feed as Machinery's Handbook, from memory
    "speed --ball 10 --surface-speed 200": {"spindle_rpm": "6366.198", "contact_diameter_mm": "0.0"},
    "speed --ball '0.5 in' --surface-speed '500 sfm'": {"spindle_rpm": "3819.719"},
    "speed --ball 10 --surface-speed 150 --depth 0.2": {
        "spindle_rpm": "4774.65", "contact_diameter_mm": "2.8", "contact_speed_m_per_min": "42.0",
        "effective_spindle_rpm": "17052.3",
    },
    "speed --ball 10 --surface-speed 150 --depth 0.2 --tilt 15": {
        "contact_diameter_mm": "2.588190", "effective_diameter_mm": "5.189255", "effective_spindle_rpm": "9201.03",
    },
    "speed --ball 12.7 --surface-speed 200 --slope 20": {"contact_diameter_mm": "4.3437"},
    "speed --ball 6 --surface-speed 200 --slope 30 --tilt 15": {"contact_diameter_mm": "4.2426"},
    # tilt: computed independently
    "tilt --ball 10 --depth 0.1": {"tilt_deg": "11.4783"},
    "tilt --ball 10 --depth 0.5 --slope 5": {"tilt_deg": "20.8419"},
    "tilt --ball 12.7 --wanted-diameter 3.2870": {"tilt_deg": "15.000", "contact_diameter_mm": "3.2870"},
    # facets: computed independently (the sagitta of a chord)
    "facet --chord-error 0.01 --radius 25": {
        "facet_angle_deg": "3.241247", "normal_error_deg": "1.620623", "facets_per_circle": "112",
        "chord_mm": "1.414072",
    },
    "facet --chord-error 0.05 --radius 5": {"facet_angle_deg": "16.21923"},
    "facet --angle '3.241247 deg' --radius 25": {"chord_error_mm": "0.010000"},
    # a fifth to a tenth of the cusp: rule of thumb, from memory
    "facet --cusp 0.005": {"chord_error_mm": "0.0005", "most_chord_error_mm": "0.001"},
}  # fmt: skip


@pytest.mark.parametrize("line", PUBLISHED)
def test_published_values(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    fields = answer(capsys, line)
    assert {name: fields[name] for name in PUBLISHED[line]} == {
        name: printed(text) for name, text in PUBLISHED[line].items()
    }


# Inch lines beside the same in mm. Shop numbers of common practice (no source): a 1/2 in ball at 833 ft/min.
INCHES = {
    "cusp --unit inch --ball 0.5 --stepover 0.03": "cusp --ball 12.7 --stepover 0.762",
    "stepover --unit inch --ball 0.25 --cusp 0.0005": "stepover --ball '6.35 mm' --cusp '12.7 um'",
    "finish --unit inch --ball 0.5 --ra '32 uin'": "finish --ball 12.7 --ra '0.8128 um'",
    "speed --unit inch --ball 0.5 --surface-speed 833 --depth 0.005 --flutes 4 --feed-per-tooth 0.0012":
        "speed --ball 12.7 --surface-speed 253.8984 --depth 0.127 --flutes 4 --feed-per-tooth 0.03048",
    "tilt --unit inch --ball 0.5 --depth 0.01 --wanted-diameter 0.1":
        "tilt --ball 12.7 --depth 0.254 --wanted-diameter 2.54",
    "facet --unit inch --chord-error 0.001 --radius 1": "facet --chord-error 0.0254 --radius 25.4",
}  # fmt: skip


@pytest.mark.parametrize("line", INCHES)
def test_inches_give_the_same_metric_json(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    inch, metric = answer(capsys, line), answer(capsys, INCHES[line])
    assert inch.keys() == metric.keys()
    for name, value in metric.items():
        assert inch[name] == (pytest.approx(value, rel=1e-9) if isinstance(value, float) else value), name


def test_inches_of_the_shop(capsys: pytest.CaptureFixture[str]) -> None:
    """Common practice (no source): 833 ft/min nominal with a 1/2 in ball, on a floor and tilted 15 deg."""
    line = "calc speed --unit inch --ball 0.5 --surface-speed 833 --depth 0.005 --flutes 4 --feed-per-tooth 0.0012"
    assert run_for_code(line.split()) == 0
    told = capsys.readouterr().out
    assert "6364 rpm" in told and "0.0995 in, 165.8 ft/min" in told and "30.55 in/min" in told
    assert run_for_code([*line.split(), "--tilt", "15"]) == 0
    assert "diameter 0.1294 in" in capsys.readouterr().out
    # computed independently: D 0.25 in, h 0.0005 in -> 0.0223383 in
    assert run_for_code(["calc", "stepover", "--unit", "inch", "--ball", "0.25", "--cusp", "0.0005"]) == 0
    assert "0.02234 in" in capsys.readouterr().out


@pytest.mark.parametrize(
    "line", [*PUBLISHED, *INCHES, "stepover --ball 10 --cusp 0.01 --slope 45", "finish --ball 50 --ra '90 um'"]
)
def test_answers_in_words_are_short_and_in_one_unit(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["calc", *shlex.split(line)]) == 0
    out, err = capsys.readouterr()
    assert err == "" and 2 <= out.count("\n") <= 6
    wrong = (" mm", " um", " m/min") if "--unit inch" in line else (" in,", " in ", " uin", " ft/min")
    for words in out.splitlines()[:-1]:
        assert not any(unit in words.replace(" in plan", "") for unit in wrong), words


FAULTS = {
    "cusp --ball 10": "--stepover: exactly one of stepover, line spacing and z step",
    "cusp --ball 10 --stepover 1 --z-step 1": "exactly one",
    "cusp --ball banana --stepover 1": "--ball: 'banana' is not a length",
    "cusp --ball 0 --stepover 1": "--ball: 0 is not above zero",
    "cusp --ball 10 --stepover -1": "--stepover: -1 is not above zero",
    "cusp --ball 10 --stepover 10": "--stepover: passes so far apart do not meet",
    "cusp --ball 10 --z-step 1": "--z-step: constant-Z passes leave a floor uncut",
    "cusp --ball 10 --z-step 1 --slope 2": "--z-step: passes so far apart do not meet",
    "cusp --ball 10 --line-spacing 1 --slope 90": "--line-spacing: lines stepped into a wall leave it uncut",
    "cusp --ball 10 --stepover 1 --slope 200": "--slope: 200 deg is out of range; give 0 to 180 degrees",
    "cusp --ball 10 --stepover 1 --surface-radius -5": "--surface-radius: the ball does not fit a hollow",
    "cusp --ball 10 --stepover 1 --surface-radius 0": "--surface-radius: is that of a sharp edge",
    "cusp --ball 10 --stepover 1 --unit furlong": "--unit: 'furlong' is no unit of these sums; use mm or inch",
    "cusp --ball 10 --stepover 1 --unit m": "--unit",
    "cusp --stepover 1": "missing option '--ball'",
    "stepover --ball 10 --cusp 5": "--cusp: reaches the ball radius",
    "stepover --ball 10 --cusp 0.5 --surface-radius -5.001": "--cusp: the ball all but fills the hollow",
    "stepover --ball 10 --cusp 4 --surface-radius 1": "--cusp: no stepover leaves so high a cusp",
    "stepover --ball 10 --cusp 0.01 --surface-radius -4mm": "--surface-radius: the ball does not fit a hollow",
    "finish --ball 10": "--ra: exactly one of ra and rz",
    "finish --ball 10 --ra 0.8": "--ra: '0.8' has no unit; write for example '0.8 um' or '32 uin'",
    "finish --ball 10 --rz N6": "--rz: 'N6' is not a length",
    "finish --ball 10 --ra N13": "--ra: 'N13' is no Ra grade",
    "finish --ball 10 --ra '3 mm'": "--ra: no stepover of this ball leaves so rough a finish",
    "finish --ball 10 --rz '5 mm'": "--rz: reaches the ball radius",
    "speed --ball 10 --surface-speed 10mm": "--surface-speed",
    "speed --ball 10 --surface-speed 0": "--surface-speed: 0 is not above zero",
    "speed --ball 10 --surface-speed 99 --tilt 91": "--tilt: 91 deg is out of range",
    "speed --ball 10 --surface-speed 99 --flutes 0": "--flutes: 0 is no number of flutes",
    "speed --ball 10 --surface-speed 99 --flutes two": "--flutes",
    "tilt --ball 10": "--depth",
    "tilt --ball 10 --depth 6": "--depth: no tilt keeps the tip out of a cut deeper than the ball radius",
    "tilt --ball 10 --wanted-diameter 11": "--wanted-diameter: is more than the ball has",
    "facet --chord-error 0.01": "--radius: is missing",
    "facet --radius 5": "--chord-error: exactly one of",
    "facet --radius 5 --chord-error 6": "--chord-error: is too much for a round of that radius",
    "facet --radius 0.1 --cusp 2": "--cusp: is too much",
    "facet --radius 5 --angle 181": "--angle",
    "sine --of 3": "no such command",
    "": "missing command",
}


@pytest.mark.parametrize("line", FAULTS)
def test_faults_are_one_line_that_names_the_option(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["calc", *shlex.split(line)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("error: ") and err.count("\n") == 1, err
    assert FAULTS[line] in err


def test_feed_needs_flutes_and_feed_per_tooth(capsys: pytest.CaptureFixture[str]) -> None:
    """n 6000, z 2, fz 0.08 -> 960 mm/min: computed independently."""
    speed = f"speed --ball 10 --surface-speed '{6000 * math.pi / 100} m/min'"
    assert answer(capsys, f"{speed} --flutes 2 --feed-per-tooth 0.08")["feed_mm_per_min"] == pytest.approx(960.0)
    assert answer(capsys, f"{speed} --flutes 2")["feed_mm_per_min"] is None
    assert answer(capsys, f"{speed} --feed-per-tooth 0.08")["feed_mm_per_min"] is None


BALLS = st.floats(0.2, 50.0)
SHARES = st.floats(1e-4, 0.9)
SLOPES = st.floats(1.0, 89.0)


@given(BALLS, SHARES, SLOPES)
def test_all_spacings_of_a_cusp_lead_back_to_it(ball: float, share: float, slope: float) -> None:
    cusp = 0.4 * ball * share
    apart = stepover_sum(ball, cusp, slope_deg=slope)
    ways = (
        cusp_sum(ball, apart.stepover_mm, slope_deg=slope),
        cusp_sum(ball, line_spacing_mm=apart.line_spacing_mm, slope_deg=slope),
        cusp_sum(ball, z_step_mm=apart.z_step_mm, slope_deg=slope),
    )
    for way in ways:
        assert way.cusp_um == pytest.approx(1000 * cusp, rel=1e-9)
        assert (way.line_spacing_mm, way.z_step_mm) == pytest.approx((apart.line_spacing_mm, apart.z_step_mm), rel=1e-9)


@given(BALLS, SHARES, st.sampled_from([3.0, 20.0, math.inf, -20.0, -3.0]))
def test_a_finish_leaves_the_ra_asked_for(ball: float, share: float, bend: float) -> None:
    asked = 1000 * 0.02 * ball * share
    found = finish_sum(ball, ra_um=asked, surface_radius_mm=bend * ball)
    left = cusp_sum(ball, found.stepover_mm, surface_radius_mm=bend * ball)
    assert left.ra_um == pytest.approx(asked, rel=1e-6) and left.rz_um == found.rz_um


@given(st.floats(0.1, 500.0), st.floats(1e-5, 0.9))
def test_facets_there_and_back(radius: float, share: float) -> None:
    found = facet_sum(radius_mm=radius, chord_error_mm=radius * share)
    assert found.facet_angle_deg is not None and found.facets_per_circle is not None
    assert found.chord_error_mm == pytest.approx(radius * share, rel=1e-9)
    back = facet_sum(radius_mm=radius, angle_deg=found.facet_angle_deg)
    assert (back.chord_error_mm, back.chord_mm) == pytest.approx((found.chord_error_mm, found.chord_mm), rel=1e-9)
    assert (found.facets_per_circle - 1) * found.facet_angle_deg < 360.0 * (1 + 1e-8)
    assert found.facets_per_circle * found.facet_angle_deg >= 360.0 * (1 - 1e-8)
    # the part's own estimate of its facets speaks the same language
    assert found.facet_angle_deg == pytest.approx(facet_angle_deg(radius * share, radius), rel=1e-9)
    assert facet_sum(cusp_mm=share).most_chord_error_mm == pytest.approx(chord_tolerance_for_cusp_mm(share))


def test_whole_numbers_of_facets_stay_whole() -> None:
    for count in range(3, 200):
        assert facet_sum(radius_mm=7.0, angle_deg=360.0 / count).facets_per_circle == count


@given(BALLS, SHARES, SHARES, st.floats(0.0, 180.0))
def test_a_tilt_does_what_was_asked_and_no_more(ball: float, depth: float, wanted: float, slope: float) -> None:
    found = tilt_sum(ball, slope_deg=slope, depth_mm=depth * ball / 2, wanted_diameter_mm=wanted * ball)
    assert found.tilt_deg == max(found.tip_clear_tilt_deg or 0.0, found.wanted_diameter_tilt_deg or 0.0) >= 0.0
    assert found.contact_diameter_mm >= wanted * ball * (1 - 1e-9)
    if found.tilt_deg == found.wanted_diameter_tilt_deg > 0.0:
        assert found.contact_diameter_mm == pytest.approx(wanted * ball)


@given(st.floats(1.0, 30.0), st.floats(10.0, 500.0), st.floats(0.0, 90.0), st.floats(0.0, 40.0), st.floats(0.001, 0.4))
def test_speeds_go_with_their_diameters(ball: float, speed: float, slope: float, tilt: float, depth: float) -> None:
    found = speed_sum(ball, speed, slope_deg=slope, tilt_deg=tilt, depth_mm=depth * ball)
    assert found.effective_diameter_mm is not None and found.effective_speed_m_per_min is not None
    assert found.contact_diameter_mm <= found.effective_diameter_mm <= ball * (1 + 1e-12)
    for diameter, there in (
        (found.contact_diameter_mm, found.contact_speed_m_per_min),
        (found.effective_diameter_mm, found.effective_speed_m_per_min),
    ):
        assert there == pytest.approx(speed * diameter / ball)


def test_grades_take_the_rougher_one() -> None:
    """ISO 1302:1992 grades as listed by roymech.org; Ra 7.4 to 7.8 is N10 (finishing.com; excerpts read)."""
    assert [ra_grade(ra) for ra in (7.4, 7.8, 0.8, 0.801, 1.6, 0.001, 50.0, 50.1)] == [
        "N10", "N10", "N6", "N7", "N7", "N1", "N12", None,
    ]  # fmt: skip
    for name, (um, uin) in RA_GRADES.items():
        assert (ra_grade(um), ra_grade(uin * 0.0254, in_uin=True)) == (name, name)


def test_cut_offs_by_spacing() -> None:
    """ISO 4288:1996, from memory."""
    spacings = (0.005, 0.02, 0.04, 0.05, 0.13, 0.2, 0.4, 0.5, 1.3, 2.0, 4.0, 4.1)
    assert [usual_cut_off_mm(spacing) for spacing in spacings] == [
        0.08, 0.08, 0.08, 0.25, 0.25, 0.8, 0.8, 2.5, 2.5, 8.0, 8.0, None,
    ]  # fmt: skip


def test_filter_shares() -> None:
    """ISO 16610-21, from memory; computed independently."""
    rows = {
        (0.3, 0.8): "0.9928",
        (0.5, 0.8): "0.8304",
        (1.0, 0.8): "0.3583",
        (0.5, 2.5): "1.0000",
        (0.8, 0.8): "0.5000",
    }
    for (spacing, cut_off), share in rows.items():
        assert filter_share(spacing, cut_off) == printed(share)


def test_sums_name_the_argument_in_python() -> None:
    with pytest.raises(InputError, match=r"^surface radius: the ball does not fit"):
        cusp_sum(10.0, 1.0, surface_radius_mm=-5.0)


def test_the_docs_print_what_the_commands_print() -> None:
    document = DOC.read_text("utf-8")
    assert len(documented.commands_of(document)) >= 8
    assert documented.renewed(document) == document, "renew with: python tests/documented.py docs/how-to-calc.md"


def test_help_needs_no_numbers() -> None:
    code = (
        "import sys; from advisor.cli.main import run_for_code; "
        "assert run_for_code(['calc', 'speed', '--help']) == 0; "
        "assert run_for_code(['job', '--help']) == 0; "
        "slow = {'numpy', 'numba', 'trimesh', 'scipy', 'pint'} & set(sys.modules); "
        "assert not slow, slow"
    )
    environment = {**os.environ, "COLUMNS": "200"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stderr
    assert "--feed-per-tooth" in done.stdout and "--force" in done.stdout
