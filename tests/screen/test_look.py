"""What is shown after each key and click."""

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.pack.maps import COLOUR_MODES
from advisor.screen.look import ACTIONS, KEYS, Action, Look, action_of_key, after, after_click

ZONES = st.one_of(st.none(), st.integers(1, 9))


def test_every_action_has_one_key_of_its_own():
    assert set(KEYS) == set(get_args(Action)) == set(ACTIONS)
    symbols = [symbol for symbol, _, _ in KEYS.values()]
    assert len(set(symbols)) == len(symbols)
    assert {action_of_key(symbol) for symbol in symbols} == set(ACTIONS)


def test_capitals_count_and_unknown_keys_do_nothing():
    assert action_of_key("Q") == action_of_key("q") == "quit"
    assert action_of_key("z") is None
    assert action_of_key("Shift_L") is None


@pytest.mark.parametrize("mode", COLOUR_MODES)
def test_colour_keys(mode):
    assert after(Look(), mode).mode == mode


def test_next_goes_round():
    look, seen = Look(modes=("class", "slope", "leftover")), []
    for _ in range(4):
        seen.append(look.mode)
        look = after(look, "next")
    assert seen == ["class", "slope", "leftover", "class"]


def test_a_colouring_that_the_plan_does_not_know_is_not_taken():
    look = Look(modes=("class", "slope"))
    assert after(look, "reach") == look


def test_fading_holds_the_zone_pointed_at_and_unfading_keeps_it_picked():
    faded = after(Look(pointed=3), "fade")
    assert (faded.picked, faded.only) == (3, 3)
    clear = after(faded, "unfade")
    assert (clear.picked, clear.only) == (3, None)


def test_fading_without_a_zone_changes_nothing():
    assert after(Look(), "fade") == Look()


def test_a_click_on_another_zone_moves_the_fading_to_it():
    assert after_click(after(Look(pointed=3), "fade"), 5).only == 5


@pytest.mark.parametrize("clicked", [3, None])
def test_a_click_on_the_picked_zone_or_beside_the_part_lets_go(clicked):
    look = after_click(after(Look(pointed=3), "fade"), clicked)
    assert (look.picked, look.only) == (None, None)


def test_a_view_asked_for_twice_turns_twice():
    once = after(Look(), "top")
    assert (once.view, once.turn) == ("top", 1)
    assert after(once, "top").turn == 2


@pytest.mark.parametrize("switch", ["edges", "lines", "help"])
def test_switches_switch_and_switch_back(switch):
    once = after(Look(), switch)
    assert getattr(once, switch) != getattr(Look(), switch)
    assert after(once, switch) == Look()


@given(st.lists(st.one_of(st.sampled_from(ACTIONS), st.tuples(ZONES)), max_size=30), ZONES)
def test_only_a_picked_zone_is_ever_alone_in_colour(steps, pointed):
    look = Look(pointed=pointed)
    for step in steps:
        look = after_click(look, step[0]) if isinstance(step, tuple) else after(look, step)
        assert look.only is None or look.only == look.picked
