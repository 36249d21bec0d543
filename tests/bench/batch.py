"""Batches: ``python -m tests.bench.batch [rate|short|memory|kills|index] [count] [facets_from] [facets_to]``.

- ``rate 60``: parts per second without passes and pictures on one and two workers, of parts of our own demo generators
  with 5,000 to 50,000 facets, no two alike. Told beside the clock is processor time of the batch with all its
  processes, which other work on the machine touches less.
- ``short 60``: the same in short, as for a quote.
- ``memory 10000``: memory of the process that leads and size of the ledger, while so many parts are planned by a stub.
- ``kills 50``: so many runs of real planning of small parts killed at random moments; the folder must then be that of
  a straight run.
- ``index 10000``: time and memory to write the lists of so many parts, size of the page, and the browser's time.
"""

from __future__ import annotations

import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import psutil

from advisor.library.ledger import LEDGER_FILE
from advisor.library.lists import BatchHead, write_lists
from advisor.library.quantities import ONE_EACH
from advisor.library.summary import PartMarks, PartSummary, ZoneMarks
from tests import solids
from tests.folders import folder_bytes
from tests.killed_batches import kill_and_resume, start_batch

TOP = Path(__file__).parents[2]
sys.path.insert(0, str(TOP / "meshes"))
import make_demo_parts as demo  # noqa: E402  (beside the package, in no package itself)

_SHAPES = (
    (demo.EggTray(), demo.egg_tray_tool),
    (demo.FruitCup(), demo.fruit_cup_tool),
    (demo.BottleMould(), demo.bottle_shoulder_mould),
    (demo.PaddleBlade(), demo.paddle_blade),
)

# Coarser, the fillets of the demo parts are no longer round enough to be swept.
_COARSEST_MM = 0.15


def make_parts(folder: Path, count: int, facets_from: int, facets_to: int) -> list[int]:
    """Write `count` different parts as STL; their facets are spread evenly from fewest to most (roughly)."""
    folder.mkdir(parents=True)
    made = []
    for number in range(count):
        shape, make = _SHAPES[number % len(_SHAPES)]
        wanted = facets_from + (facets_to - facets_from) * number / max(1, count - 1)
        # facets of curved parts are about as the inverse of the chord error
        chord_mm = shape.chord_error_mm
        for _ in range(4):
            facets = len(make(replace(shape, chord_error_mm=chord_mm)))
            if abs(facets - wanted) < 0.1 * wanted:
                break
            chord_mm = min(_COARSEST_MM, chord_mm * facets / wanted)
        chord_mm *= 1.0 - 1e-4 * number / count
        triangles = make(replace(shape, chord_error_mm=chord_mm))
        made.append(len(triangles))
        (folder / f"part_{number:04d}.stl").write_bytes(demo.stl_bytes(f"part {number}", triangles))
    return made


def rate(count: int = 60, facets_from: int = 5_000, facets_to: int = 50_000, *more: str) -> None:
    """Print parts per second."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        facets = make_parts(top / "parts", count, facets_from, facets_to)
        make_parts(top / "warm", 4, facets_from, facets_from)
        print(f"{count} parts of {min(facets):,} to {max(facets):,} facets, {sum(facets) / 1e6:.2f} million in all")
        _timed(top / "warm", top / "warm-out", 1, *more)
        for workers in (1, 2):
            clock, processor = _timed(top / "parts", top / f"out-{workers}", workers, *more)
            print(
                f"{workers} workers: {count / clock:.2f} parts/s ({clock:.1f} s); processor time {processor:.1f} s, "
                f"{count / processor:.2f} parts per second of it"
            )
        clock, processor = _timed(top / "parts", top / "out-2", 2, *more)
        print(f"again, nothing to do: {clock:.1f} s; processor time {processor:.1f} s")


def short(count: int = 60, facets_from: int = 5_000, facets_to: int = 50_000) -> None:
    """Print parts per second, planned in short."""
    rate(count, facets_from, facets_to, "--short")


def _timed(parts: Path, out: Path, workers: int, *more: str) -> tuple[float, float]:
    """Seconds by the clock, and of processor time of a batch with all its processes."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    words = ["batch", str(parts), "--out", str(out), "--ball", "6 mm", "--no-pictures", "--workers", str(workers)]
    subprocess.run([sys.executable, "-m", "advisor.cli", *words, *more, "--quiet"], check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.monotonic() - began, used


def memory(count: int = 10_000) -> None:
    """Print memory of the leading process and size of the ledger as parts come in."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        for number in range(count):
            path = top / "parts" / f"{number // 100:03d}" / f"part_{number:06d}.stl"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(str(number).encode())
        began = time.monotonic()
        with start_batch(top / "parts", top / "out", "pretend") as batch:
            watched, told, most = psutil.Process(batch.pid), -1, 0
            processor = 0.0
            while batch.poll() is None:
                time.sleep(0.2)
                try:
                    held, times = watched.memory_info().rss, watched.cpu_times()
                except psutil.Error:
                    break
                most, processor = max(most, held), times.user + times.system
                done = _planned(top / "out")
                if done and done * 10 // count > told:
                    told = done * 10 // count
                    size = (top / "out" / LEDGER_FILE).stat().st_size
                    print(f"{done:7,} planned: {held / 1e6:6.1f} MB held, ledger {size / 1e6:5.2f} MB", flush=True)
        print(
            f"most {most / 1e6:.1f} MB; leading process {1000 * processor / count:.2f} ms of processor time a part; "
            f"{time.monotonic() - began:.0f} s by the clock; exit code {batch.returncode}"
        )


def _planned(out: Path) -> int:
    if not (out / LEDGER_FILE).exists():
        return 0
    try:
        with closing(sqlite3.connect(f"file:{out / LEDGER_FILE}?mode=ro", uri=True, timeout=1.0)) as ledger:
            (count,) = ledger.execute("SELECT count(*) FROM part WHERE state = 'planned'").fetchone()
            return int(count)
    except sqlite3.OperationalError:  # not made yet
        return 0


def kills(count: int = 50, parts: int = 150) -> None:
    """Kill runs of real planning of small parts, and print whether the folder is that of a straight run."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        (top / "parts").mkdir()
        for number in range(parts):
            wedge = solids.to_stl_bytes(*solids.wedge(10.0 + 50.0 * number / parts))
            (top / f"parts/wedge_{number:03d}.stl").write_bytes(wedge)
        shutil.copy(top / "parts/wedge_003.stl", top / "parts/twin.stl")
        (top / "parts/bad.stl").write_bytes(b"solid cut short")
        with start_batch(top / "parts", top / "straight", "plan_beside_faults") as batch:
            batch.wait()
        killed = kill_and_resume(top / "parts", top / "killed", "plan_beside_faults", count, within_seconds=12.0)
        straight, other = folder_bytes(top / "straight"), folder_bytes(top / "killed")
        differ = sorted(file for file in {*straight, *other} if straight.get(file) != other.get(file))
        print(f"{killed} of {count} runs killed before their end")
        print(f"{len(straight)} files, {len(differ)} differ {differ[:5]}")
        if differ:
            raise SystemExit(1)


def index(count: int = 10_000) -> None:
    """Print what the lists of many parts cost."""
    with tempfile.TemporaryDirectory() as name:
        out = Path(name)
        before, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
        head = BatchHead(
            "many", count, False, True, False, (), 5.0, 45.0, "advisor", "2025-01-01", ONE_EACH, lambda _failure: ""
        )
        if write_lists(out, head, lambda: _made_up(count), []):
            raise SystemExit("not written")
        took = time.process_time() - began
        more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        sizes = ", ".join(f"{file.name} {file.stat().st_size / 1e6:.1f} MB" for file in sorted(out.iterdir()))
        print(f"{count:,} parts: {took:.2f} s of processor time, {more / 1e3:.0f} MB more at most; {sizes}")
        _in_browser(out / "index.html")


def _in_browser(page_file: Path) -> None:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=shutil.which("chromium") or shutil.which("google-chrome"), args=["--no-sandbox"]
        )
        page = browser.new_page()
        began = time.monotonic()
        page.goto(page_file.as_uri())
        print(f"shown after {time.monotonic() - began:.2f} s", end="")
        began = time.monotonic()
        page.locator("#table-parts th button", has_text="time").first.click()
        print(f", sorted in {time.monotonic() - began:.2f} s", end="")
        began = time.monotonic()
        page.fill("#by-name", "99")
        print(f", filtered in {time.monotonic() - began:.2f} s", end="")
        print()
        browser.close()


def _made_up(count: int) -> Iterator[PartSummary]:
    """Parts in families of ten, their numbers within a percent, and twelve zones each."""
    random = np.random.default_rng(1)
    like, like_zone = random.random((count // 10 + 1, 34)), random.random((count // 10 + 1, 12, 21))
    for number in range(count):
        family = number // 10
        zones = like_zone[family] + random.normal(0.0, 0.003, (12, 21))
        marks = PartMarks(
            tuple((like[family] + random.normal(0.0, 0.003, 34)).round(6).tolist()),
            tuple(ZoneMarks(k + 1, f"Pocket Z {k}", tuple(zones[k].round(6).tolist())) for k in range(12)),
        )
        areas = {"flat": 100.0 + number % 7, "shallow": 50.0, "steep": 30.0 + number % 11, "undercut": 0.0}
        place = f"{number // 100:03d}/part_{number:06d}"
        yield PartSummary(
            f"{place}.stl", f"plans/{place}", "0" * 64, (100.0, 60.0, 30.0), 20_000 + number, 1, True,
            sum(areas.values()), 12, areas, "ball 6 mm", 6.0, 1e5, ("the file names no unit: mm was assumed",), 10.0,
            1.0 + (number * 7919) % 10_007 / 50, 5.0, 4.0, 1, 2, marks,
        )  # fmt: skip


if __name__ == "__main__":
    what = {"rate": rate, "short": short, "memory": memory, "kills": kills, "index": index}
    chosen = sys.argv[1:2] or list(what)
    for one in chosen:
        what[one](*(int(argument) for argument in sys.argv[2:]))
