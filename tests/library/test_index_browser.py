"""The index page in a browser with no network: it sorts, filters, turns its pages, prints, and reads well."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from browsers import NEEDS_CHROMIUM, listen_to
from coloraide import Color
from PIL import Image
from test_index import FAILED, PART, head

from advisor.library.lists import write_lists
from advisor.library.quantities import Quantities
from advisor.library.summary import Outcome, PartSummary

pytestmark = NEEDS_CHROMIUM

PARTS = 250
# WCAG 2.2, 1.4.3: contrast of text at level AA.
LEAST_CONTRAST = 4.5
CONTRASTS = """() => {
  const told = [];
  const clear = (one) => getComputedStyle(one).backgroundColor === 'rgba(0, 0, 0, 0)';
  const ground = (one) => { while (one && clear(one)) one = one.parentElement;
    return one ? getComputedStyle(one).backgroundColor : 'rgb(255, 255, 255)'; };
  for (const one of document.querySelectorAll('body *')) {
    const words = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!words || !one.getClientRects().length || one.disabled || one.closest('script, noscript')) continue;
    const style = getComputedStyle(one);
    told.push([one.textContent.slice(0, 30), one instanceof SVGElement ? style.fill : style.color, ground(one)]);
  }
  return told;
}"""


def minutes(number: int) -> float | None:
    return None if number == 7 else float((number * 37) % PARTS + 1)


def part(number: int) -> PartSummary:
    areas = {"flat": 10.0, "shallow": 20.0, "steep": 5.0, "undercut": 0.0}
    if number % 10 == 0:
        areas["undercut"] = 400.0
    return PartSummary(
        f"jobs/{number:03d}.stl", f"plans/jobs/{number:03d}", "0", (30.0, 20.0, 10.0), 12, 1, True,
        sum(areas.values()), 3, areas, "ball", 6.0, 1500.0, ("a warning",) * (number % 3), 1.0, minutes(number), 5.0,
        2.0 if number < 5 else 6.0, 1 + number % 2, 1,
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("batch")
    outcomes: list[Outcome] = [part(number) for number in range(PARTS)]
    for outcome in (*outcomes, PART):
        assert isinstance(outcome, PartSummary)
        picture = out / "thumbnails" / f"{outcome.folder.removeprefix('plans/')}.png"
        picture.parent.mkdir(parents=True, exist_ok=True)
        Image.new("RGB", (320, 240), (200, 220, 240)).save(picture)
    quantities = Quantities("wanted.csv", {"jobs/000.stl": 1000})
    told = head(found=PARTS + 3, quantities=quantities)
    assert write_lists(out, told, lambda: iter([*outcomes, PART]), [FAILED]) == []
    return out


@pytest.fixture(params=["light", "dark"])
def scheme(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def visit(chromium: Any, folder: Path, scheme: str) -> Iterator[tuple[Any, list[str]]]:
    context = chromium.new_context(offline=True, viewport={"width": 1400, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    said: list[str] = []
    listen_to(page, said)
    page.goto((folder / "index.html").as_uri())
    yield page, said
    context.close()


def names(page: Any) -> list[str]:
    return list(page.locator("#table-parts tbody td.name b").all_inner_texts())


def test_the_page_shows_sorts_filters_and_turns(visit: tuple[Any, list[str]]) -> None:
    page, said = visit
    assert names(page) == [f"{number:03d}.stl" for number in range(100)]
    # of the pictures only those near the view are asked for, and these come when they come
    page.wait_for_function("[...document.images].some((one) => one.complete && one.naturalWidth)")
    loaded = page.evaluate("[...document.images].filter((one) => one.complete && one.naturalWidth).length")
    assert 0 < loaded < 100
    # from the keyboard: the time that a piece takes, largest first, what is not known last
    page.locator("#table-parts th button", has_text="time").first.focus()
    page.keyboard.press("Enter")
    times = [minutes(int(name[:3])) for name in names(page)]
    assert None not in times and all(one >= other for one, other in pairwise(times))  # type: ignore[operator]
    page.locator("#pages-parts button", has_text="last").focus()
    page.keyboard.press("Enter")
    assert names(page)[-1] == "007.stl" and len(names(page)) == PARTS + 1 - 200
    assert page.evaluate("document.activeElement.tagName") == "BUTTON"
    # filters, together
    page.select_option("#by-class", "3")
    assert len(names(page)) == PARTS // 10 and "25 parts shown" in page.inner_text("#shown")
    page.fill("#by-ball", "2")
    assert names(page) == ["000.stl"]
    assert "1,000" in page.inner_text("#table-parts tbody tr")
    page.click("#clear")
    page.fill("#by-name", "alert(1)")
    assert len(names(page)) == 1 and PART.file.split("/")[-1] in names(page)[0] + "/" + page.inner_text("#table-parts")
    address = page.locator("#table-parts .links a").first.get_attribute("href")
    assert address == "plans/sub/a%20b%23%25%C3%A9/zone_map.png"
    assert page.locator("#table-failures code").inner_text() == f"again <{FAILED.file}>"
    assert page.locator("u").count() == 0 and said == []


def test_sums_are_of_all_pieces(visit: tuple[Any, list[str]]) -> None:
    page, _ = visit
    all_minutes = sum(minutes(number) or 0.0 for number in range(PARTS)) + 999 * 1.0 + (PART.total_min or 0.0)
    totals = dict(
        zip(page.locator("#totals dt").all_inner_texts(), page.locator("#totals dd").all_inner_texts(), strict=True)
    )
    assert totals["parts planned"] == f"{PARTS + 1} of {PARTS + 3}"
    assert totals["pieces"] == f"{PARTS + 1000:,}"
    assert totals["time of all pieces"] == f"{all_minutes / 60:,.0f} h"
    standing = page.inner_text("#standing")
    assert "1 not planned" in standing and "1 still to do" in standing and "Minutes of 1 part are not known" in standing
    # the parts that take half of it all, counted here
    weights = sorted([1000.0, PART.total_min or 0.0, *(minutes(number) or 0.0 for number in range(1, PARTS))])[::-1]
    half = next(count for count in range(1, PARTS) if sum(weights[:count]) >= sum(weights) / 2)
    assert f"{half} parts of {PARTS + 1} take half" in page.inner_text("#words-sum")


def test_text_has_contrast(visit: tuple[Any, list[str]]) -> None:
    page, _ = visit
    told = page.evaluate(CONTRASTS)
    assert len(told) > 500
    seen = {(ink, ground) for _, ink, ground in told}
    assert min(Color(ink).contrast(Color(ground)) for ink, ground in seen) >= LEAST_CONTRAST


def test_all_rows_are_printed(visit: tuple[Any, list[str]]) -> None:
    page, _ = visit
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert len(names(page)) == PARTS + 1
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert len(names(page)) == 100
