"""Zones worked on at once: answers in order, no more in hand than there is room for, and an end when nobody waits."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np
import pytest

from advisor.advice.side_by_side import side_by_side
from advisor.kernels.threads import threads

_TINY_S = 0.005


@pytest.fixture
def four(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.cpu_count", lambda: 4)
    monkeypatch.delenv("NUMBA_NUM_THREADS", raising=False)


def test_answers_come_in_order_and_large_work_is_alone(four: None) -> None:
    lock, in_hand, seen = threading.Lock(), dict[int, float](), list[dict[int, float]]()
    size = {number: 3.0 if number == 5 else 0.45 for number in range(9)}

    def work(number: int, check: Callable[[], None]) -> int:
        with lock:
            in_hand[number] = size[number]
            seen.append(dict(in_hand))
        time.sleep(_TINY_S * (9 - number))
        with lock:
            del in_hand[number]
        return number**2

    assert list(side_by_side(range(9), work, size.__getitem__, {})) == [number**2 for number in range(9)]
    assert all(sum(held.values()) <= 1.0 or held == {5: 3.0} for held in seen)
    assert max(map(len, seen)) == 2


def test_what_waits_for_another_comes_after_it(four: None) -> None:
    done: list[int] = []

    def work(number: int, check: Callable[[], None]) -> list[int]:
        before = list(done)
        time.sleep(_TINY_S)
        done.append(number)
        return before

    before = list(side_by_side(range(8), work, lambda number: 0.0, {3: 2, 7: 1}))
    assert 2 in before[3] and 1 in before[7]


def test_work_ends_when_nobody_waits_and_faults_reach_who_asked(four: None) -> None:
    begun: list[int] = []

    def endless(number: int, check: Callable[[], None]) -> int:
        begun.append(number)
        if number == 0:
            raise ZeroDivisionError
        while True:
            check()
            time.sleep(_TINY_S)

    with pytest.raises(ZeroDivisionError):
        list(side_by_side(range(50), endless, lambda number: 0.3, {}))
    assert 0 in begun and len(begun) < 50


@pytest.mark.skipif(np.lib.NumpyVersion(np.__version__) < "2.0.0", reason="numpy 1 tells threads nothing of it")
def test_faults_of_numbers_are_faults_in_threads_too(four: None) -> None:
    with np.errstate(divide="raise"), pytest.raises(FloatingPointError):
        list(side_by_side([0], lambda number, check: np.ones(1) / np.zeros(1), lambda number: 0.0, {}))


def test_processes_that_share_the_cores_work_on_one_zone_each(four: None, monkeypatch: pytest.MonkeyPatch) -> None:
    assert threads() == 4
    monkeypatch.setenv("NUMBA_NUM_THREADS", "1")
    assert threads() == 1
