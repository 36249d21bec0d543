"""The page in a browser: the whole story of trying a plan, from a dropped file to the file that is dropped again.

With ``ADVISOR_RENEW_PICTURES=1`` the pictures of ``docs/how-to-web.md`` are taken anew. For these, and where all is
asked for, the part is the demo part of the pictures; else a turned one of a few zones.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import solids
from asked_for import few_of, more
from browsers import NEEDS_CHROMIUM, listen_to

import advisor

pytest.importorskip("uvicorn", reason="the page needs advisor-surface-finishing[web]")
pytestmark = NEEDS_CHROMIUM

ROOT = Path(__file__).parents[2]
TOOL = ROOT / "meshes" / "fruit_cup_tool.stl"
PICTURES = ROOT / "docs" / "pictures"
RENEWS = bool(os.environ.get("ADVISOR_RENEW_PICTURES"))
LONG_MS = 240_000
# Software draws the part: a smaller view costs less.
WIDE, SMALLER = {"width": 1440, "height": 900}, {"width": 1280, "height": 720}


@pytest.fixture(scope="module")
def tool(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo part, or one of six zones."""
    if RENEWS or few_of(False, True):
        return TOOL
    path = tmp_path_factory.mktemp("tool") / "turned_tool.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.turned_tool()))
    return path


@pytest.fixture(scope="module")
def link() -> Iterator[str]:
    words = [sys.executable, "-m", "advisor.cli", "web", "--port", "0"]
    server = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert server.stdout is not None
    yield server.stdout.readline().strip()
    server.send_signal(signal.SIGINT)
    told = server.communicate(timeout=30)[1]
    assert "Traceback" not in told, told


class Visit:
    """A page of the server, with all that it asked for or complained of."""

    def __init__(self, browser: Any, link: str, **options: Any) -> None:
        self.context = browser.new_context(**{"viewport": WIDE if RENEWS else SMALLER, **options})
        self.context.set_default_timeout(LONG_MS)
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        listen_to(self.page, self.said)
        self.page.goto(link)

    def drop(self, path: Path) -> None:
        """Let go of a file over the page, as a hand does."""
        data = path.read_bytes().hex()
        self.page.evaluate(
            """([hex, name]) => {
              const bytes = new Uint8Array(hex.match(/../g).map((two) => parseInt(two, 16)));
              const held = new DataTransfer();
              held.items.add(new File([bytes], name));
              document.body.dispatchEvent(new DragEvent("drop", { bubbles: true, dataTransfer: held }));
            }""",
            [data, path.name],
        )

    def answered(self, act: Any) -> None:
        """Do something and wait for what it asks to be answered."""
        before = int(self.page.evaluate("Number(document.body.dataset.answers ?? 0)"))
        act()
        self.until(f"Number(document.body.dataset.answers ?? 0) > {before}")
        self.page.wait_for_timeout(150)

    def until(self, truth: str) -> None:
        """Wait for a truth; the page's own policy forbids a waiting script in it."""
        begun = time.monotonic()
        while not self.page.evaluate(truth):
            assert time.monotonic() - begun < LONG_MS / 1000, truth
            self.page.wait_for_timeout(100)

    def settled(self) -> None:
        self.page.wait_for_selector("body[data-settled=yes]")
        self.page.wait_for_timeout(400)

    def text(self, where: str) -> str:
        return str(self.page.inner_text(where))

    def zones(self) -> int:
        return int(self.page.locator("#zone-rows tr").count())

    def picture(self, name: str, tmp_path: Path) -> None:
        """A screenshot, kept for the documents where they are to be renewed."""
        self.page.evaluate("window.scrollTo(0, 0)")
        self.page.wait_for_timeout(500)
        is_shown = name in (ROOT / "docs" / "how-to-web.md").read_text(encoding="utf-8")
        folder = PICTURES if is_shown and RENEWS else tmp_path
        data = self.page.screenshot(path=folder / name)
        assert len(data) > 10_000

    def close(self) -> None:
        own = [url for url in self.asked if not url.startswith(("http://127.0.0.1:", "data:", "blob:"))]
        self.context.close()
        assert own == [] and self.said == []


def test_the_whole_story(chromium, link, tool, tmp_path) -> None:
    visit = Visit(chromium, link, accept_downloads=True)
    page = visit.page
    assert "token" not in page.url
    visit.drop(tool)
    page.wait_for_selector("#work:not([data-empty])")
    visit.settled()
    count = 12 if tool == TOOL else 6
    assert visit.text("#part-name") == tool.stem and visit.zones() == count
    assert "of passes" in visit.text("#sums")
    visit.answered(lambda: page.select_option("#material", "Ti-6Al-4V"))
    assert visit.text("#sums").endswith("min")
    # a threshold moves by keys: the classes follow at once, the plan soon
    page.focus("#steep")
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    visit.until("!document.querySelector('#steep-open').checked")
    visit.settled()
    visit.picture("web_page.png", tmp_path)
    # a zone on the part is clicked for its card
    box = page.locator("#scene").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_selector("#card:not([hidden]) h3")
    bowl = int(page.get_attribute("#scene", "data-zone"))
    assert visit.text("#card h3").startswith(f"Zone {bowl}:") and "Bowl" in visit.text("#card h3")
    visit.answered(lambda: page.check("#card input[value=parallel_line]"))
    assert "held to parallel lines" in visit.text("#entries") and "parallel lines, held" in visit.text("#zone-rows")
    page.wait_for_selector("#card:not([hidden]) input[type=text]")
    for name in ("<b>markup</b>", "centre bowl"):
        page.fill("#card input[type=text]", name)
        visit.answered(lambda: page.press("#card input[type=text]", "Enter"))
        page.wait_for_selector("#card:not([hidden]) input[type=text]")
        assert name in visit.text("#zone-rows") and name in visit.text("#entries")
    visit.settled()
    visit.picture("web_card.png", tmp_path)
    # undone and done again, by button and by key
    visit.answered(lambda: page.click("#undo"))
    assert "<b>markup</b>" in visit.text("#zone-rows")
    visit.answered(lambda: page.click("#undo"))
    assert "markup" not in visit.text("#zone-rows") and "held" in visit.text("#zone-rows")
    visit.answered(lambda: page.keyboard.press("Control+z"))
    assert "held" not in visit.text("#zone-rows")
    visit.answered(lambda: page.keyboard.press("Control+Shift+z"))
    for _ in range(2):
        visit.answered(lambda: page.click("#redo"))
    assert "centre bowl" in visit.text("#zone-rows")
    # zones joined by hand; what cannot be joined is told, and changes nothing
    land = page.locator("#zone-rows tr", has_text="Land").get_attribute("data-zone")
    far = page.locator("#zone-rows tr", has_text="Floor").first.get_attribute("data-zone")
    for zone in (bowl, far):
        page.check(f"#zone-rows tr[data-zone='{zone}'] input")
    page.click("#join")
    page.wait_for_selector("#fault:not([hidden])")
    assert "do not touch" in visit.text("#fault") and visit.zones() == count
    for zone in (bowl, land):
        page.check(f"#zone-rows tr[data-zone='{zone}'] input")
    visit.answered(lambda: page.click("#join"))
    assert visit.zones() == count - 1
    visit.settled()
    told_sums, told_zones = visit.text("#sums"), page.locator("#zone-rows").inner_text()
    # downloads
    with page.expect_download() as held:
        page.click("#get-job")
    job = tmp_path / "job.toml"
    held.value.save_as(job)
    with page.expect_download() as held:
        page.click("#get-plan")
    held.value.save_as(tmp_path / "plan.zip")
    with zipfile.ZipFile(tmp_path / "plan.zip") as packed:
        packed.extractall(tmp_path / "plan")
    assert (tmp_path / "plan" / "report.html").is_file()
    assert tomllib.loads((tmp_path / "plan" / "job.toml").read_text()) == tomllib.loads(job.read_text())
    (tmp_path / "plan" / "job.toml").unlink()
    plan = advisor.read_plan(tmp_path / "plan")
    again = advisor.plan(tool, job, lays_passes=False)
    assert again.zones == plan.zones and again.record.totals == plan.record.totals
    # loaded again, the work goes on; a new page takes part and job from files
    page.reload()
    page.wait_for_selector("#work:not([data-empty])")
    assert visit.text("#sums") == told_sums and page.locator("#zone-rows").inner_text() == told_zones
    other = Visit(chromium, link)
    other.drop(tool)
    other.page.wait_for_selector("#work:not([data-empty])")
    other.drop(job)
    other.until("document.querySelectorAll('#entries li').length > 0")
    other.settled()
    assert other.text("#sums") == told_sums and other.page.locator("#zone-rows").inner_text() == told_zones
    other.close()
    assert [words for words in visit.said if "422" not in words] == []
    visit.said.clear()
    visit.close()


def test_passes_are_proved_with_progress_and_can_be_stopped(chromium, link, tmp_path) -> None:
    import trimesh

    path = tmp_path / "cap.stl"
    trimesh.creation.icosphere(subdivisions=4, radius=15.0 if RENEWS else 8.0).export(path)
    visit = Visit(chromium, link)
    page = visit.page
    page.set_input_files("#file", path)
    page.wait_for_selector("#work:not([data-empty])")
    visit.settled()
    page.click("#prove")
    page.wait_for_selector("#errand:not([hidden])")
    page.click("#errand-stop")
    page.wait_for_selector("#errand", state="hidden")
    assert "Passes laid" not in visit.text("#sureness")
    page.click("#prove")
    visit.until("document.querySelector('#sureness').textContent.includes('Passes laid')")
    visit.until("document.querySelector('#pick-colour').value === 'cusp'")
    assert page.is_disabled("#prove")
    with page.expect_response(re.compile("/passes$")) as held:
        page.check("#show-passes")
    assert held.value.status == 200 and len(held.value.body()) > 10_000
    visit.picture("web_passes.png", tmp_path)
    visit.answered(lambda: page.fill("#flat-number", "8") or page.press("#flat-number", "Enter"))
    assert page.is_enabled("#prove") and "Passes laid" not in visit.text("#sureness")
    assert page.is_hidden("#passes-choice")
    # back to the proved plan: it is still there
    visit.answered(lambda: page.click("#undo"))
    assert "Passes laid" in visit.text("#sureness")
    visit.close()


@pytest.mark.parametrize(
    ("name", "options"),
    [
        more("dark", {"color_scheme": "dark"}),
        more("tablet", {"viewport": {"width": 1024, "height": 768}, "has_touch": True}),
        ("upright", {"viewport": {"width": 600, "height": 960}, "has_touch": True, "color_scheme": "dark"}),
    ],
)
def test_it_is_read_in_the_dark_and_on_a_tablet(chromium, link, tool, tmp_path, name, options) -> None:
    visit = Visit(chromium, link, **options)
    page = visit.page
    visit.drop(TOOL if name == "tablet" else tool)
    page.wait_for_selector("#work:not([data-empty])")
    page.wait_for_selector("#zone-rows tr")
    page.click("#zone-rows tr:nth-child(2) button")
    page.wait_for_selector("#card:not([hidden]) h3")
    visit.picture(f"web_{name}.png", tmp_path)
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, "the page is wider than the screen"
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, input[type=number], a.button")]
             .filter((one) => one.offsetParent && one.getBoundingClientRect().height < 28)
             .map((one) => one.id || one.textContent)"""
    )
    assert small == []
    visit.close()


def test_everything_is_reached_by_keys(chromium, link, tool) -> None:
    visit = Visit(chromium, link)
    page = visit.page
    visit.drop(tool)
    page.wait_for_selector("#zone-rows tr")
    page.focus("#open")
    met = set()
    for _ in range(140):
        page.keyboard.press("Tab")
        met.add(
            page.evaluate("document.activeElement.id || document.activeElement.closest('tr, li')?.parentElement?.id")
        )
    wanted = {
        "get-job", "get-plan", "steep", "steep-number", "steep-open", "flat", "ball", "target", "height", "material",
        "machine-axes", "spindle", "prove", "scene", "pick-colour", "look-top", "zone-rows",
    }  # fmt: skip
    assert wanted <= met, wanted - met
    page.focus("#scene")
    page.keyboard.press("n")
    page.wait_for_selector("#card:not([hidden]) h3")
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll("input, select, button")].filter((one) => one.type !== "file"
             && !one.labels?.length && !one.ariaLabel && !one.textContent.trim()).map((one) => one.outerHTML)"""
    )
    assert unnamed == []
    visit.close()


def test_a_damaged_file_is_told_in_one_line_and_the_page_goes_on(chromium, link, tool, tmp_path) -> None:
    damaged = tmp_path / "damaged.stl"
    damaged.write_bytes(tool.read_bytes()[:3000])
    visit = Visit(chromium, link)
    visit.drop(damaged)
    visit.page.wait_for_selector("#fault:not([hidden])")
    told = visit.text("#fault")
    assert "damaged.stl" in told and "\n" not in told and "/tmp" not in told
    visit.drop(tool)
    visit.page.wait_for_selector("#zone-rows tr")
    assert visit.page.is_hidden("#fault")
    visit.close()


def test_the_extra_is_asked_for_in_one_line(monkeypatch, capsys) -> None:
    from advisor.cli.main import run_for_code
    from advisor.screen.web import serve

    monkeypatch.setattr(serve, "find_spec", lambda name: None)
    assert run_for_code(["web"]) == 2
    told = capsys.readouterr().err
    assert told.startswith("error: web: ") and "pip install 'advisor-surface-finishing[web]'" in told
