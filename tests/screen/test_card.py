"""Zone cards: the plan's own numbers in words, in the job's unit."""

from dataclasses import replace

import pytest

from advisor.model import Advice, ClassAreas, Cusp, Neighbour, Range, Setting, Spread, Tilt
from advisor.pack.card import zone_card


def advice(**changes):
    made = Advice(
        strategy="parallel_line", tool=0, stage="finish", stepover_mm=0.508, line_spacing_mm=0.254, z_step_mm=None,
        direction_deg=30.0, cusp_um=Cusp(5.08, 4.0, 4.5), ra_um=1.2, contact_diameter_mm=Range(0.635, 2.54),
        tip_contact_share=0.25, spindle_rpm=None, surface_speed_m_per_min=None, feed_mm_per_min=None, passes=None,
        path_mm=100.0, lifts=None, cutting_min=None, total_min=None, total_min_range=None, usable=True,
        why=("It is short.",),
    )  # fmt: skip
    return replace(made, **changes)


def dome_of(plan):
    """The upper half of the ball: flat, shallow and steep kept together."""
    return next(zone for zone in plan.zones if zone.shape == "dome")


@pytest.fixture
def shallow(ball_plan):
    return replace(
        dome_of(ball_plan), id=7, name="Slope 5° to 45°", slope_class="shallow", area_mm2=645.16,
        class_area_mm2=ClassAreas(0.0, 645.16, 0.0, 0.0), slope_deg=Spread(5.0, 8.0, 30.0, 41.0, 45.0),
        z_mm=Range(-12.7, 25.4), neighbours=(Neighbour(2, 9.0, "tangent"), Neighbour(3, 4.0, "inside corner")),
        advice=advice(),
    )  # fmt: skip


def facts(plan, zone):
    return dict(zone_card(plan.record, zone).facts)


def test_a_card_says_what_the_plan_says(ball_plan, shallow):
    card = zone_card(replace(ball_plan.record, zones=(shallow, replace(shallow, area_mm2=3 * 645.16))), shallow)
    assert (card.zone.id, card.title, card.reasons) == (7, "Zone 7", ("It is short.",))
    assert dict(card.facts) == {
        "class": "shallow, 5° to 45°",
        "area": "645.2 mm², 25 % of the part",
        "slope": "5° to 45°, mean 30°",
        "mostly": "8° to 41° (nine tenths of it)",
        "Z": "-12.7 to 25.4 mm",
        "next to": "2 (tangent), 3 (inside corner)",
        "strategy": "parallel lines",
        "cutter": "ball Ø 6 mm, finish",
        "stepover": "0.508 mm along the surface",
        "line spacing": "0.254 mm in plan",
        "direction": "30° from +X",
        "cusp": "4.5 µm at most, 5.08 µm asked",
        "contact": "Ø 0.635 to 2.54 mm",
        "near the tip": "25 % of the zone",
    }


def test_a_zone_kept_together_tells_what_each_class_has_of_it(ball_plan):
    """Of a half ball cos 45 deg lies above 45 deg of slope, 1 - cos 5 deg = 0.4 % below 5; it ends at 91, a wall."""
    told = facts(ball_plan, dome_of(ball_plan))
    assert told["class"] == "flat less than 1 %, shallow 28 %, steep 71 %"
    assert told["strategy"] == "constant-cusp offset"


def test_an_inch_job_reads_in_inches(ball_plan, shallow):
    rest = [setting for setting in ball_plan.record.settings if setting.name != "unit"]
    inches = replace(ball_plan, record=replace(ball_plan.record, settings=(Setting("unit", "inch", "option"), *rest)))
    told = facts(inches, shallow)
    assert told["area"].startswith("1 in²")
    assert told["Z"] == "-0.5 to 1 in"
    assert told["stepover"] == "0.02 in along the surface"
    assert told["cusp"] == "0.00018 in at most, 0.0002 in asked"
    assert told["contact"] == "Ø 0.025 to 0.1 in"


def test_constant_z_has_a_z_step_and_no_direction(ball_plan, shallow):
    steep = replace(
        shallow, advice=advice(strategy="constant_z", z_step_mm=0.3, line_spacing_mm=None, direction_deg=None)
    )
    told = facts(ball_plan, steep)
    assert told["strategy"] == "constant-Z"
    assert told["Z-step"] == "0.3 mm"
    assert "direction" not in told and "line spacing" not in told


def test_no_numbers_are_given_for_a_pass_that_is_not_to_be_cut(ball_plan):
    undercut = next(zone for zone in ball_plan.zones if zone.slope_class == "undercut")
    card = zone_card(ball_plan.record, undercut)
    told = dict(card.facts)
    assert told["strategy"] == "another set-up"
    assert "stepover" not in told and "cusp" not in told
    assert card.reasons == undercut.advice.why


def test_a_plan_of_zones_alone_has_cards_without_advice(ball_plan, shallow):
    card = zone_card(ball_plan.record, replace(shallow, advice=None))
    assert "strategy" not in dict(card.facts)
    assert card.reasons == ()


def test_surface_left_uncut_is_said_so(ball_plan, shallow):
    told = facts(ball_plan, replace(shallow, advice=advice(cusp_um=Cusp(None, None, None))))
    assert told["cusp"] == "surface is left uncut"


def test_many_neighbours_are_counted(ball_plan, shallow):
    crowd = tuple(Neighbour(k, 1.0, "tangent") for k in range(10, 18))
    assert facts(ball_plan, replace(shallow, neighbours=crowd))["next to"].endswith("and 5 more")


def test_speeds_feed_tilt_and_minutes_are_told_where_they_are_known(ball_plan, shallow):
    moving = advice(
        spindle_rpm=12732.4, surface_speed_m_per_min=Range(30.48, 91.44), feed_mm_per_min=508.0,
        corner_feed_mm_per_min=254.0, total_min=12.34, total_min_range=(11.1, 16.7),
        tilt=Tilt(15.0, False, 0.0, 2.6, 0.0, 80.0),
    )  # fmt: skip
    told = facts(ball_plan, replace(shallow, advice=moving))
    assert told["spindle"] == "12,732 rev/min; 30 to 91 m/min at the contact"
    assert told["feed"] == "508 mm/min, 254 in corners"
    assert told["tilt"] == "15°, more than the machine can"
    assert told["time"] == "12.3 min (11.1 to 16.7), this stage"
    rest = [setting for setting in ball_plan.record.settings if setting.name != "unit"]
    inches = replace(ball_plan, record=replace(ball_plan.record, settings=(Setting("unit", "inch", "option"), *rest)))
    told = facts(inches, replace(shallow, advice=moving))
    assert told["spindle"] == "12,732 rev/min; 100 to 300 ft/min at the contact"
    assert told["feed"] == "20 in/min, 10 in corners"
