"""The report in a browser with no network: nothing leaves, the 3D view draws the zones, picking and printing work."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import solids
import trimesh
from browsers import BROWSER, NEEDS_CHROMIUM, OPTIONS, listen_to
from PIL import Image

import advisor
from advisor.model import Plan
from advisor.pack.folder import write_plan_folder
from advisor.pack.palette import CLASS_STYLES, ZONE_COLOURS
from advisor.pack.shade import make_solid
from advisor.pack.viewpoints import choose_main_view
from advisor.pack.zone_maps import zone_paints

pytestmark = NEEDS_CHROMIUM

# Of the view's free edge: see MARGIN in viewer.js.
MARGIN = 0.92
OPACITY = (
    "(o) => ['labels', 'axes', 'under-pointer'].forEach((id) => { document.getElementById(id).style.opacity = o; })"
)
NAME = '"><script>window.ranOver = true</script>'


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("part") / f"{NAME.replace('/', '')}.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    job = {"zones": {"keep_together": False}, "zone": [{"at": [0, 0, 0], "name": NAME}]}
    return advisor.plan(path, job, ball="10 mm", material="Ti-6Al-4V", lays_passes=False)


@pytest.fixture(scope="module")
def address(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = write_plan_folder(plan, tmp_path_factory.mktemp("out") / "plan")
    return (folder / "report.html").as_uri()


class Visit:
    """A page opened with the network off, and all that it asked for or complained of."""

    def __init__(self, browser: Any, address: str, **options: Any) -> None:
        self.context = browser.new_context(offline=True, viewport={"width": 1000, "height": 750}, **options)
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.got: list[str] = []
        self.page.on("response", lambda response: self.got.append(response.url))
        listen_to(self.page, self.said)
        self.page.on("dialog", lambda dialog: self.said.append(dialog.message))
        self.page.goto(address)

    def rest(self) -> Visit:
        """Wait until the view has drawn and its numbers stand."""
        self.page.wait_for_selector("#viewer.live", timeout=60_000)
        self.page.wait_for_selector("#scene[data-rested]", timeout=60_000)
        return self

    def scene(self) -> np.ndarray:
        """The view alone as pixels, without numbers, axes and words over it."""
        self.page.locator("#stage").scroll_into_view_if_needed()
        self.page.evaluate(OPACITY, "0")
        png = self.page.locator("#stage").screenshot()
        self.page.evaluate(OPACITY, "1")
        return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(float)


@pytest.fixture
def visit(chromium: Any, address: str) -> Iterator[Visit]:
    visit = Visit(chromium, address).rest()
    yield visit
    visit.context.close()


def test_nothing_leaves_and_nothing_is_complained_of(visit: Visit, address: str) -> None:
    assert [url for url in visit.asked if not url.startswith("data:")] == [address]
    assert visit.said == []
    assert visit.page.evaluate("window.ranOver") is None
    assert NAME in visit.page.inner_text("#zones")


def off_paint(pixels: np.ndarray, lit: tuple[int, ...], dark: tuple[int, ...]) -> np.ndarray:
    """Distance of pixels from the colours between light and shade of a paint."""
    start, way = np.array(dark, float), np.array(lit, float) - np.array(dark, float)
    along = np.clip(((pixels - start) @ way) / (way @ way), 0.0, 1.0)
    return np.linalg.norm(pixels - start - along[..., None] * way, axis=-1)


def test_the_view_draws_the_zones_in_the_colours_of_the_map(visit: Visit, plan: Plan) -> None:
    pixels = visit.scene()
    ground = pixels[4, 4]
    part = np.linalg.norm(pixels - ground, axis=2) > 12
    assert 0.15 < part.mean() < 0.9
    off = {name: off_paint(pixels, style.paint.lit, style.paint.dark) for name, style in CLASS_STYLES.items()}
    nearest = np.minimum.reduce(list(off.values()))
    # the rest is lines, and hatching
    assert (nearest[part] < 6).mean() > 0.93
    seen = {name for name in off if ((off[name] < 6) & (off[name] == nearest) & part).sum() > 200}
    assert seen == {"flat", "shallow", "steep"}


def test_a_click_picks_the_zone_that_is_drawn_there(visit: Visit, plan: Plan) -> None:
    visit.page.select_option("#pick-colour", "zone")
    visit.page.wait_for_timeout(300)
    pixels = visit.scene()
    box = visit.page.locator("#scene").bounding_box()
    paints = zone_paints(plan.zones)
    checked = set()
    for x, y, zone in points_on_zones(plan, box["width"], box["height"]):
        visit.page.mouse.click(box["x"] + x, box["y"] + y)
        assert visit.page.get_attribute("#scene", "data-zone") == str(zone), "as a ray through the mesh says"
        colour = np.array(ZONE_COLOURS[paints[zone]], float)
        seen = pixels[int(y), int(x)]
        assert np.linalg.norm(seen / seen.max() - colour / colour.max()) < 0.25, "and as it is coloured"
        card = visit.page.inner_text("#picked .card")
        assert card.startswith(f"Zone {zone}:")
        visit.page.keyboard.press("Escape")
        checked.add(zone)
    assert len(checked) >= 3


def points_on_zones(plan: Plan, width: float, height: float) -> list[tuple[float, float, int]]:
    """Pixels of the first view well within a zone, by rays of an independent library through the model."""
    view = choose_main_view(make_solid(plan), plan.record.setups[0].tool_axis)
    vertices = np.asarray(plan.facets.vertices)
    middle = 0.5 * (vertices.min(axis=0) + vertices.max(axis=0))
    mesh = trimesh.Trimesh(vertices - middle, plan.facets.faces, process=False)
    span = 2 * np.abs(mesh.vertices @ view.rows[:2].T).max(axis=0)
    per_pixel = max(span[0] / width, span[1] / height) / MARGIN

    def zone_at(x: float, y: float) -> int:
        start = (x - width / 2) * per_pixel * view.rows[0] - (y - height / 2) * per_pixel * view.rows[1]
        hit = mesh.ray.intersects_first([start + 1000.0 * view.rows[2]], [-view.rows[2]])[0]
        return 0 if hit < 0 else int(plan.facets.zone[hit])

    told = []
    for x in np.linspace(0.1, 0.9, 9) * width:
        for y in np.linspace(0.1, 0.9, 9) * height:
            around = {zone_at(x + dx, y + dy) for dx in (-5, 0, 5) for dy in (-5, 0, 5)}
            if len(around) == 1 and around != {0}:
                told.append((float(x), float(y), around.pop()))
    return told


def test_keys_walk_through_the_zones_and_turn_the_part(visit: Visit, plan: Plan) -> None:
    page = visit.page
    page.focus("#scene")
    page.keyboard.press("n")
    assert page.get_attribute("#scene", "data-zone") == "1"
    page.keyboard.press("n")
    assert page.get_attribute("#scene", "data-zone") == "2"
    page.keyboard.press("p")
    assert page.get_attribute("#scene", "data-zone") == "1" and page.inner_text("#picked .card").startswith("Zone 1:")
    page.keyboard.press("Escape")
    assert page.get_attribute("#scene", "data-zone") == "0" and page.locator("#picked .card").count() == 0
    page.keyboard.press("Home")
    page.wait_for_timeout(300)
    before = visit.scene()
    page.focus("#scene")
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(300)
    assert np.abs(visit.scene() - before).max() > 50
    page.focus("#scene")
    page.keyboard.press("Home")
    page.wait_for_timeout(300)
    assert np.abs(visit.scene() - before).mean() < 0.5


def test_other_zones_fade_when_one_is_chosen(visit: Visit, plan: Plan) -> None:
    def colour(pixels: np.ndarray, x: float, y: float) -> float:
        return float(np.ptp(pixels[int(y), int(x)]))

    box = visit.page.locator("#scene").bounding_box()
    points = points_on_zones(plan, box["width"], box["height"])
    before = visit.scene()
    box = visit.page.locator("#scene").bounding_box()
    x, y, chosen = points[len(points) // 2]
    visit.page.mouse.click(box["x"] + x, box["y"] + y)
    visit.page.mouse.move(box["x"] + 2, box["y"] + 2)  # what is under the pointer is lighter
    visit.page.wait_for_timeout(400)
    after = visit.scene()
    assert {zone for _, _, zone in points} > {chosen}
    for x, y, zone in points:
        if zone == chosen:
            assert colour(after, x, y) == pytest.approx(colour(before, x, y), abs=3)
        else:
            assert colour(after, x, y) < 0.3 * colour(before, x, y)


def test_it_prints_on_a4_and_on_letter_without_the_view(visit: Visit, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    for paper in ("A4", "Letter"):
        path = tmp_path / f"{paper}.pdf"
        visit.page.pdf(path=str(path), format=paper)
        pages = pypdf.PdfReader(path).pages
        # title and map, zones, working sheet, proof and cards: eight zones need no more
        assert 4 <= len(pages) <= 12
        words = " ".join(" ".join(page.extract_text() for page in pages).split())
        assert "Cautions" in words and "Order of work" in words and "Drag to turn" not in words
        assert not re.search(r"Click a zone", words)


# Every piece of text that shows: its colour, the grounds behind it from the nearest outwards, and how large it is.
TEXTS = """() => {
  const told = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const owner = node.parentElement;
    if (!node.data.trim() || !owner.checkVisibility({ opacityProperty: true, visibilityProperty: true })) continue;
    const style = getComputedStyle(owner), grounds = [];
    for (let at = owner; at; at = at.parentElement) grounds.push(getComputedStyle(at).backgroundColor);
    const paint = owner instanceof SVGElement ? style.fill : style.color;
    told.push([node.data.trim().slice(0, 40), paint, grounds, parseFloat(style.fontSize), Number(style.fontWeight),
               owner.closest("[id]")?.id ?? ""]);
  }
  return told;
}"""


def rgba(words: str) -> np.ndarray:
    """Red, green, blue and opacity, 0 to 1."""
    parts = [float(part) for part in re.findall(r"[\d.]+", words)]
    assert words.startswith("rgb") and len(parts) in (3, 4), words
    return np.array([*(part / 255 for part in parts[:3]), *(parts[3:] or [1.0])])


def over(paint: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """A paint laid on an opaque ground."""
    return np.array([*(paint[3] * paint[:3] + (1 - paint[3]) * ground[:3]), 1.0])


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    """Contrast ratio by WCAG 2.1's definition of relative luminance."""
    light = []
    for colour in (one[:3], other[:3]):
        linear = np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
        light.append(float(linear @ [0.2126, 0.7152, 0.0722]))
    return (max(light) + 0.05) / (min(light) + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_that_shows_stands_off_its_ground(chromium: Any, address: str, scheme: str) -> None:
    """WCAG 2.1, success criterion 1.4.3 (AA): 4.5 to 1; 3 to 1 from 24 px on, or from 18.66 px in bold."""
    visit = Visit(chromium, address, color_scheme=scheme).rest()
    texts = visit.page.evaluate(TEXTS)
    visit.page.focus("#scene")
    visit.page.keyboard.press("n")  # a card beside the view as well
    texts += visit.page.evaluate(TEXTS)
    visit.context.close()
    assert len(texts) > 400 and {"picked", "labels", "cautions", "zones"} <= {place for *_, place in texts}
    weak = []
    for words, paint, grounds, size_px, weight, place in texts:
        ground = np.ones(4)
        for layer in reversed(grounds):
            ground = over(rgba(layer), ground)
        ratio = contrast(over(rgba(paint), ground), ground)
        if ratio < (3.0 if size_px >= 24 or (size_px >= 18.66 and weight >= 700) else 4.5):
            weak.append((words, place, round(ratio, 2)))
    assert not weak


def test_a_script_or_a_style_put_into_the_page_is_not_run(chromium: Any, address: str, tmp_path: Path) -> None:
    """The content policy, as the browser keeps it: what came in by any hole would be stopped, and nothing fetched."""
    text = Path(address.removeprefix("file://")).read_text("utf-8")
    foreign = (
        "<script>window.ranOver = 1</script><img src='http://192.0.2.1/x.png' onerror='window.ranOver = 2'>"
        "<style>body { background: rgb(1, 2, 3) }</style><link rel=stylesheet href='http://192.0.2.1/x.css'>"
        "<iframe src='http://192.0.2.1/'></iframe><script src='http://192.0.2.1/x.js'></script>"
    )
    path = tmp_path / "spoiled.html"
    path.write_text(text.replace("<main>", f"<main>{foreign}", 1), "utf-8")
    visit = Visit(chromium, path.as_uri()).rest()
    visit.page.wait_for_timeout(300)
    assert visit.page.evaluate("window.ranOver") is None
    assert visit.page.evaluate("getComputedStyle(document.body).backgroundColor") != "rgb(1, 2, 3)"
    assert len([words for words in visit.said if "Content Security Policy" in words]) >= 5
    assert not [url for url in visit.got if url.startswith("http")]
    visit.context.close()


def test_dark_is_dark(chromium: Any, address: str) -> None:
    visit = Visit(chromium, address, color_scheme="dark").rest()
    assert visit.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 24, 31)"
    assert visit.scene()[4, 4].max() < 60
    visit.context.close()


def test_without_script_the_still_picture_stands_in_its_place(chromium: Any, address: str) -> None:
    visit = Visit(chromium, address, java_script_enabled=False)
    assert visit.page.locator(".still img").is_visible() and not visit.page.locator("#stage").is_visible()
    assert not visit.page.locator(".controls").is_visible()
    visit.context.close()


def test_without_webgl_the_still_picture_stands_in_its_place(chromium: Any, address: str) -> None:
    browser = chromium.browser_type.launch(executable_path=BROWSER, args=[*OPTIONS[:1], "--disable-3d-apis"])
    visit = Visit(browser, address)
    visit.page.wait_for_selector("#view-fault:not(:empty)", timeout=30_000)
    assert visit.page.locator(".still img").is_visible() and not visit.page.locator("#stage").is_visible()
    browser.close()
