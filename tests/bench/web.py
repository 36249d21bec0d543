"""Times of the live page in a browser: ``python -m tests.bench.web [facets] [steps]``.

A slider is moved step by step over a sculptured block. Told are, from the moment the slider moves: the slope classes on
the screen, the advised map with its advice on the screen, and processor time of the server, which other work on the
machine touches less; 5 % of the steps take longer than the p95. Wanted are 300 and 1000 ms on two cores that do nothing
else.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import psutil
from playwright.sync_api import sync_playwright

from tests.bench.plan import sculptured_block

OPTIONS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-first-run"]
LONG_MS = 900_000
# Moves a slider and waits until a picture with the classes, and one with the answer, has been drawn: reading a pixel
# waits for the drawing.
STEP = """async ([slider, value]) => {
  const gl = document.getElementById("scene").getContext("webgl2");
  const drawn = () => new Promise((done) => requestAnimationFrame(() => {
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
    done(performance.now());
  }));
  const answers = () => Number(document.body.dataset.answers ?? 0);
  const before = answers();
  const range = document.getElementById(slider);
  const began = performance.now();
  range.value = String(value);
  range.dispatchEvent(new Event("input", { bubbles: true }));
  const classes = (await drawn()) - began;
  while (answers() === before) await new Promise((wait) => setTimeout(wait, 4));
  const map = (await drawn()) - began;
  return { classes, map };
}"""


def main(facets: int = 200_000, steps: int = 30) -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "block.stl"
        sculptured_block(facets).export(path)
        words = [sys.executable, "-m", "advisor.cli", "web", str(path), "--port", "0", "--quiet"]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
            try:
                assert server.stdout is not None
                times = measured(server.stdout.readline().strip(), steps, psutil.Process(server.pid))
            finally:
                server.terminate()
    print(f"{facets} facets, {steps} steps a slider, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    for name, rows in times.items():
        for what in ("classes", "map", "processor"):
            values = [row[what] for row in rows]
            median, p95 = np.quantile(values, [0.5, 0.95])
            print(f"{name:6} {what:9} median {median:6.0f} ms   p95 {p95:6.0f} ms")


def measured(link: str, steps: int, server: psutil.Process) -> dict[str, list[dict[str, float]]]:
    """Times of every step, by slider."""
    with sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=shutil.which("chromium"), args=OPTIONS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.set_default_timeout(LONG_MS)
        page.goto(link)
        page.wait_for_selector("body[data-settled=yes]")
        page.select_option("#material", "Ti-6Al-4V")
        page.wait_for_selector("body[data-settled=yes]")
        # the first step is not counted: numba loads what it has not yet
        moves = {"steep": np.linspace(35, 55, steps + 1), "flat": np.linspace(3, 13, steps + 1)}
        times = {name: _moved(page, name, np.round(values * 2) / 2, server) for name, values in moves.items()}
        browser.close()
    return times


def _moved(page: Any, slider: str, values: np.ndarray, server: psutil.Process) -> list[dict[str, float]]:
    distinct = np.unique(values)
    # a value that is there already asks for nothing
    order = [float(value) for value in np.concatenate([distinct[::2], distinct[1::2][::-1]])]
    told = []
    for value in order:
        before = server.cpu_times()
        row = page.evaluate(STEP, [slider, value])
        after = server.cpu_times()
        told.append({**row, "processor": 1000.0 * (after.user + after.system - before.user - before.system)})
    return told[1:]


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
