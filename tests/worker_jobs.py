"""Work for worker processes, which find it by the name of this module: quick, and at times deadly."""

import errno
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from advisor.errors import InputError
from advisor.library.summary import Failure, PartSummary
from advisor.library.work import plan_one


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


def kill_the_worker(task):
    """Ends the process of a cluster that this one works for: always, once, or never."""
    word, mark = task
    if word == "always" or (word == "once" and not mark.exists()):
        mark.touch()
        os.kill(os.getppid(), signal.SIGKILL)
        time.sleep(60)
    return word


def hang_or_hoard(what):
    """Hangs, by itself or in a child; takes memory, by itself or in a child; prints; or gives back its word."""
    if what == "hang":
        time.sleep(600)
    if what == "hang in a child":
        subprocess.run([sys.executable, "-c", "import time; time.sleep(600)"], check=True)
    if what == "hoard":
        hoard = np.ones(1 << 27)  # a GiB
        time.sleep(600)
        return hoard.sum()
    if what == "hoard in a child":
        subprocess.run([sys.executable, "-c", "import time; hoard = b'x' * (1 << 30); time.sleep(600)"], check=True)
    if what == "print":
        print("among the results")
        os.write(1, b"and below them\n")
    return f"did {what}"


def pretend(task):
    """Stands for planning: the files of a plan folder, and a summary with the digest of the model."""
    data = task.path.read_bytes()
    if data == b"deadly":
        os._exit(9)
    if data == b"hang":
        time.sleep(600)
    if data == b"bad":
        return Failure(task.file, "is bad; give another")
    _write_whole(task, data)
    areas = {"flat": 1.0, "shallow": 2.0, "steep": 0.0, "undercut": 1.0}
    return PartSummary(
        task.file, f"plans/{task.place}", hashlib.sha256(data).hexdigest(), (30.0, 20.0, 10.0), 12, 1, True,
        4.0, 3, areas, "ball 6 mm", 6.0, 1500.0, ("one <b>note</b>",), 1.5, 2.0 + len(data) % 7, 5.0, 6.0, 2, 1,
    )  # fmt: skip


def _write_whole(task, data):
    folder = task.out / "plans" / task.place
    desk = folder.with_name(f".{folder.name}-ab12_xyz.part")
    desk.mkdir(parents=True, exist_ok=True)
    words = data if task.like is None else (task.out / "plans" / task.like / "plan.json").read_bytes()
    for name in ("plan.json", "zones.csv", "facets.npz"):
        (desk / name).write_bytes(words)
    if folder.exists():
        shutil.rmtree(folder)
    desk.rename(folder)


def pretend_and_log(task):
    """The same, with a line in a log of what was planned and what was copied."""
    with (task.out.parent / "log").open("a") as log:
        log.write(f"{task.file} {task.like}\n")
    return pretend(task)


def pretend_slowly(task):
    time.sleep(0.02)
    return pretend(task)


def leave_a_desk_and_die(task):
    desk = task.out / "plans" / f".{Path(task.place).name}-ab12_xyz.part"
    desk.mkdir(parents=True, exist_ok=True)
    (desk / "plan.json").touch()
    os._exit(9)


def plan_beside_faults(task):
    """Real planning, but of parts whose names say what befalls them."""
    name = task.path.name
    if name.startswith("hang"):
        time.sleep(600)
    if name.startswith("killed"):
        os.kill(os.getpid(), signal.SIGKILL)
    if name.startswith("full"):
        held, np.savez = np.savez, _disk_is_full
        try:
            return plan_one(task)
        finally:
            np.savez = held
    return plan_one(task)


def _disk_is_full(*_arguments, **_named):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
