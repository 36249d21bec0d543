"""A batch that was killed, whenever it was, goes on as if nothing had been: nothing is lost and nothing doubled."""

import csv
import io
import signal
import time

import pytest
from asked_for import few_of
from folders import folder_bytes
from killed_batches import kill_and_resume, start_batch

PARTS = few_of(140, 240)
BAD = len(range(3, PARTS, 50))
# Each is a batch that starts, reads its ledger and goes on.
KILLS = few_of(3, 5)


@pytest.fixture
def parts(tmp_path):
    folder = tmp_path / "parts"
    for number in range(PARTS):
        path = folder / f"{number % 7}" / f"{number:03d}.stl"
        path.parent.mkdir(parents=True, exist_ok=True)
        # among them twins, and some that cannot be planned
        path.write_bytes(b"bad" if number % 50 == 3 else str(number % 120).encode())
    return folder


def test_killed_several_times_the_folder_is_that_of_a_straight_run(parts, tmp_path):
    with start_batch(parts, tmp_path / "straight", "pretend_slowly") as batch:
        assert batch.wait() == 0
    killed = kill_and_resume(parts, tmp_path / "killed", "pretend_slowly", kills=KILLS, within_seconds=few_of(2.0, 3.0))
    assert killed >= KILLS // 2 + 1  # the others had come to their end
    straight = folder_bytes(tmp_path / "straight")
    assert folder_bytes(tmp_path / "killed") == straight
    rows = list(csv.DictReader(io.StringIO(straight["parts.csv"].decode())))
    assert len(rows) == PARTS
    assert sum(row["status"] == "planned" for row in rows) == PARTS - BAD
    assert sum(name.endswith("plan.json") for name in straight) == PARTS - BAD


def test_interrupted_from_the_keyboard_it_ends_by_itself_and_lists_what_there_is(parts, tmp_path):
    out = tmp_path / "out"
    with start_batch(parts, out, "pretend_slowly") as batch:
        # of two workers no more than two plans may be there that are not entered yet
        while len(list(out.glob("plans/*/*/plan.json"))) < 5:
            assert batch.poll() is None
            time.sleep(0.01)
        batch.send_signal(signal.SIGINT)
        batch.wait(timeout=20.0)
    rows = list(csv.DictReader(io.StringIO((out / "parts.csv").read_text())))
    assert 0 < len(rows) < PARTS
    assert "still to do" not in [row["status"] for row in rows]
    assert not list(out.glob("plans/**/.*"))
