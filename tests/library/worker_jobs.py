"""Work for worker processes, which find it by the name of this module: quick, and at times deadly."""

import hashlib
import os
import signal
import time
from pathlib import Path

from advisor.errors import InputError
from advisor.library.summary import Failure, PartSummary


def double_or_die(number):
    if number == 3:
        os._exit(7)
    if number == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.02)
    return 2 * number


def clocked(number):
    began = time.monotonic()
    time.sleep(0.05)
    return number, began, time.monotonic(), os.environ.get("NUMBA_NUM_THREADS"), os.getpid()


def mark_both_ends(mark):
    mark.with_name(f"{mark.name}-begun").touch()
    if mark.name == "slow":
        time.sleep(2.0)
    mark.touch()


def raise_input_error(number):
    raise InputError("part", f"number {number} is bad", "give another")


def pretend(task):
    """Stands for planning: the files of a plan folder, empty, and a summary with the digest of the model."""
    data = task.path.read_bytes()
    if data == b"deadly":
        os._exit(9)
    if data == b"bad":
        return Failure(task.file, "is bad; give another")
    folder = task.out / "plans" / task.place
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("plan.json", "zones.csv", "facets.npz"):
        (folder / name).touch()
    areas = {"flat": 1.0, "shallow": 2.0, "steep": 0.0, "undercut": 1.0}
    return PartSummary(
        task.file, f"plans/{task.place}", hashlib.sha256(data).hexdigest(), (30.0, 20.0, 10.0), 12, 1, True,
        4.0, 3, areas, "ball 6 mm", 6.0, 1500.0, ("one <b>note</b>",),
    )  # fmt: skip


def leave_a_desk_and_die(task):
    desk = task.out / "plans" / f".{Path(task.place).name}-ab12_xyz.part"
    desk.mkdir(parents=True, exist_ok=True)
    (desk / "plan.json").touch()
    os._exit(9)
