"""The report: all of the plan is in it, names show as text, nothing is fetched, and it stays small."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import hashlib
import html.parser
import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.ndimage
import solids
import trimesh
from PIL import Image

import advisor
from advisor.advice.choose import in_words
from advisor.errors import InputError
from advisor.job import job_from_keys
from advisor.model import FacetArrays, Plan, Zone
from advisor.pack import report_pdf
from advisor.pack.folder import write_plan_folder
from advisor.pack.page import plain_words
from advisor.pack.palette import CLASS_STYLES
from advisor.pack.picture_key import DASH
from advisor.pack.report_blocks import Picture
from advisor.pack.report_contents import report_of
from advisor.pack.report_page import report_page
from advisor.pack.report_pictures import draw_thumbnails, setup_views
from advisor.pack.report_simplify import simplified

HOSTILE = '<img src=x onerror="alert(1)"> & </script><script>alert(2)</script>'
TITLE = tuple(f"{word} {HOSTILE}" for word in ("Part", "B", "mill", "by", "#note"))
MOST_BYTES = 15_000_000
# Elements that have no end, and those whose content is no markup.
_EMPTY = {"meta", "img", "path", "rect", "wbr", "br"}


class Page(html.parser.HTMLParser):
    """A page taken apart by the standard library: tags with attributes, rows of tables, cards, all visible text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.raw: dict[str, str] = {}
        self.rows: list[tuple[str, int, list[str]]] = []
        self.cards: dict[int, str] = {}
        self.open: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)
        self.close()
        assert not self.open, "all elements are closed"

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        told = dict(attributes)
        self.tags.append((tag, told))
        if tag == "tr":
            self.rows.append((self.inside("section", "id"), int(told.get("data-zone") or 0), []))
        if tag in ("td", "th"):
            self.rows[-1][2].append("")
        if tag not in _EMPTY:
            self.open.append((tag, told))

    def handle_startendtag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop()[0] == tag

    def inside(self, tag: str, attribute: str) -> str:
        return next((told.get(attribute) or "" for name, told in reversed(self.open) if name == tag), "")

    def handle_data(self, words: str) -> None:
        tag = self.open[-1][0] if self.open else ""
        if tag in ("script", "style"):
            name = self.open[-1][1].get("id") or tag
            self.raw[name] = self.raw.get(name, "") + words
            return
        self.text.append(words)
        if any(name in ("td", "th") for name, _ in self.open):
            self.rows[-1][2][-1] += words
        card = self.inside("article", "id").removeprefix("card-")
        if card:
            self.cards[int(card)] = self.cards.get(int(card), "") + words

    def table(self, section: str) -> tuple[list[str], list[list[str]]]:
        """Headings, and rows of text, of the first table of a section."""
        rows = [[" ".join(cell.split()) for cell in cells] for place, _, cells in self.rows if place == section]
        return rows[0], rows[1:]


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("part") / '<script>alert("part")<!--.stl'
    path.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    job: dict[str, Any] = {
        "tolerance": "0.02 mm",
        "title": dict(zip(("part", "revision", "by", "note"), (*TITLE[:2], *TITLE[3:]), strict=True)),
        "machine": {"name": TITLE[2]},
        "tool": [{"name": HOSTILE, "diameter": "10 mm", "stick_out": "40 mm"}],
        "stage": [
            {"name": "pre-finish", "cusp": "0.02 mm", "stock_left": "0.1 mm"},
            {"name": f"finish {HOSTILE}", "cusp": "0.008 mm"},
        ],
        "zone": [{"at": [0, 0, 0], "name": f"#let x = 1; *{HOSTILE[:50]}*"}],
    }
    return advisor.plan(path, job, material="Ti-6Al-4V", lays_passes=False)


@pytest.fixture(scope="module")
def text(plan: Plan) -> str:
    setups = setup_views(plan)
    return report_page(plan, report_of(plan, setups), setups)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


def told_as(words: str, value: float | None) -> bool:
    """Whether words tell a number: to half of the last digit that is told, a dash where there is none."""
    if value is None:
        return words == DASH
    number = re.search(r"-?[\d,]*\.?\d+", words)
    if number is None:
        return False
    digits = number[0].replace(",", "")
    last = 10.0 ** -len(digits.partition(".")[2])
    significant = 10.0 ** (np.floor(np.log10(abs(value))) - 2) if value else 1.0
    return abs(float(digits) - value) <= 0.5001 * max(last, min(significant, 1.0))


def test_every_zone_stands_in_the_table_as_in_plan_json(plan: Plan, page: Page) -> None:
    record = json.loads(plan.to_json())
    headings, rows = page.table("zones")
    assert [heading.split()[0] for heading in headings[:5]] == ["zone", "where", "name", "class", "area"]
    assert [row[0] for row in rows] == [str(zone["id"]) for zone in record["zones"]] + [""]
    assert told_as(rows[-1][4], record["totals"]["area_mm2"])
    for zone, own, row in zip(record["zones"], plan.zones, rows, strict=False):
        _, _, name, slope_class, area, strategy, stepover, apart, cusp, minutes = row
        assert name == plain_words(zone["name"]) and slope_class == zone["slope_class"]
        assert told_as(area, zone["area_mm2"]) and strategy == in_words(own)
        advice = zone["advice"]
        if not advice["usable"]:
            assert {stepover, apart, cusp, minutes} == {DASH}
            continue
        assert told_as(stepover, advice["stepover_mm"]) and told_as(cusp, advice["cusp_um"]["max"])
        assert told_as(minutes, sum(step["total_min"] for step in zone["steps"]))
        letters, value = ("Z", advice["z_step_mm"]) if advice["z_step_mm"] else ("XY", advice["line_spacing_mm"])
        assert apart == DASH if value is None else (apart.startswith(letters) and told_as(apart, value))


def test_cards_give_every_reason_and_the_page_every_caution(plan: Plan, page: Page) -> None:
    words = " ".join(" ".join(page.text).split())
    for caution in plan.record.cautions:
        assert plain_words(caution) in words
    for zone in plan.zones:
        card = " ".join(page.cards[zone.id].split())
        assert zone.advice is not None
        for why in (*zone.advice.why, *(zone.trade.why if zone.trade else ()), *(zone.tilt.why if zone.tilt else ())):
            assert plain_words(why) in card


def test_speeds_errors_and_borders_are_those_of_the_plan(plan: Plan, page: Page) -> None:
    _, speeds = page.table("speeds")
    told = {(zone, row[1]): row for row in speeds for zone in numbers_in(row[0])}
    _, errors = page.table("errors")
    budgets = {zone: row for row in errors for zone in numbers_in(row[0])}
    for zone in plan.zones:
        for step in zone.steps:
            if step.usable:
                row = told[zone.id, plain_words(step.stage)]
                assert told_as(row[2], step.spindle_rpm) and told_as(row[7], step.feed_mm_per_min)
        if zone.advice is not None and zone.advice.error_budget is not None:
            row = budgets[zone.id]
            assert told_as(row[5], zone.advice.error_budget.total_um) and told_as(row[6], 20.0)
            assert row[7] == ("yes" if zone.advice.error_budget.within else "NO")
    _, borders = page.table("blends")
    pairs = {tuple(map(int, re.findall(r"\d+", row[0]))): row for row in borders}
    for zone in plan.zones:
        for near in zone.neighbours:
            if zone.id < near.zone and is_cut(zone) and is_cut(plan.zones[near.zone - 1]):
                row = pairs[zone.id, near.zone]
                assert told_as(row[3], near.length_mm) and row[2].endswith(near.joint.replace("tangent", "blend"))


def numbers_in(words: str) -> list[int]:
    """Zones of "1 to 3, 7"."""
    told = []
    for piece in words.split(", "):
        first, _, last = piece.partition(" to ")
        told += range(int(first), int(last or first) + 1)
    return told


def is_cut(zone: Zone) -> bool:
    return zone.advice is not None and zone.advice.usable


def test_markup_in_names_shows_as_text(plan: Plan, page: Page) -> None:
    words = "".join(page.text)
    for name in (HOSTILE, '<script>alert("part")<!--', f"finish {HOSTILE}", f"#let x = 1; *{HOSTILE[:50]}*", *TITLE):
        assert name in words
    scripts = [told for tag, told in page.tags if tag == "script"]
    assert [told.get("type") for told in scripts] == ["application/json", "application/octet-stream", None]
    assert not [name for _, told in page.tags for name in told if name.startswith("on") or name == "style"]


def test_the_title_block_says_what_the_job_says_and_leaves_lines_for_the_rest(plan: Plan, ball_plan: Plan) -> None:
    assert tuple(json.loads(plan.to_json())["title"].values()) == (TITLE[0], None, *TITLE[1:])
    report = report_of(plan)
    told = dict(report.told)
    assert report.title == TITLE[0] and told["material"] == "Ti-6Al-4V"
    assert (told["part"], told["revision"], told["machine"], told["by"], report.note) == TITLE
    assert report.blanks == ("drawing", "checked", "approved", "date")
    bare = report_of(ball_plan)
    assert bare.blanks == ("revision", "drawing", "machine", "by", "checked", "approved", "date")
    assert bare.title == "ball" and bare.note == "" and "by" not in dict(bare.told)


@pytest.mark.parametrize(
    ("title", "fault"),
    [({"approved": "x"}, "approved.*is no key"), ({"by": "a\nb"}, "title.by"), ({"note": "n" * 601}, "note")],
)
def test_a_title_that_cannot_be_set_is_refused_in_one_line(title: dict[str, str], fault: str) -> None:
    with pytest.raises(InputError, match=fault) as told:
        job_from_keys({"title": title}, "job.toml")
    assert len(str(told.value).splitlines()) == 1


def test_nothing_is_fetched_from_anywhere(page: Page) -> None:
    for tag, told in page.tags:
        assert tag not in (
            "link",
            "iframe",
            "object",
            "embed",
            "base",
            "form",
            "video",
            "audio",
            "source",
            "image",
            "use",
        )
        for name in ("src", "srcset", "href", "xlink:href", "action", "data", "poster", "background"):
            value = told.get(name)
            allowed = {"img": "data:image/png;base64,", "a": "#"}.get(tag, "nowhere")
            assert value is None or value.startswith(allowed)
    assert not re.search(r"url\(|@import|image-set|https?:", page.raw["style"])
    script = page.raw["script"]
    assert set(re.findall(r"[a-z]+://[^\"'`\s)]*", script)) <= {"http://www.w3.org/1999/xhtml"}, "a name, no address"
    assert not re.search(r"\bfetch\(|XMLHttpRequest|WebSocket|importScripts|sendBeacon|\beval\(|new Function", script)


def test_the_content_policy_lets_in_this_style_and_this_script_alone(page: Page) -> None:
    (policy,) = (told["content"] for tag, told in page.tags if told.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'" and rules["img-src"] == "data:"
    for kind in ("style", "script"):
        digest = base64.b64encode(hashlib.sha256(page.raw[kind].encode()).digest()).decode()
        assert rules[f"{kind}-src"] == f"'sha256-{digest}'"


def test_three_js_comes_with_its_licence(text: str) -> None:
    assert "Permission is hereby granted, free of charge" in text and "three.js authors" in text


def viewer_arrays(page: Page) -> tuple[dict[str, Any], dict[str, Any]]:
    told = json.loads(page.raw["mesh-told"])
    data = gzip.decompress(base64.b64decode(page.raw["mesh-data"]))
    kinds = {"f4": "<f4", "u4": "<u4", "i2": "<i2", "i1": "i1", "u1": "u1"}
    return told, {
        one["name"]: np.frombuffer(data, kinds[one["kind"]], one["count"], one["start"]) for one in told["arrays"]
    }


def test_the_3d_view_holds_the_part_in_its_zones_and_colours(plan: Plan, page: Page) -> None:
    told, arrays = viewer_arrays(page)
    corners = arrays["corners"].reshape(-1, 3)[arrays["faces"].reshape(-1, 3)].astype(np.float64)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1) / 2
    for zone in plan.zones:
        assert area[arrays["zone"] == zone.id].sum() == pytest.approx(zone.area_mm2, rel=1e-5)
    normals = arrays["normals"].reshape(-1, 3, 3).astype(np.float64)
    land = (
        corners[:, :, 2].min(axis=1) > corners[:, :, 2].max() - 1e-4
    )  # sharp edges all round: no blend turns its normals
    assert land.any() and np.abs(normals[land] / 127 - [0.0, 0.0, 1.0]).max() < 0.01
    lit = np.array(told["maps"][0]["lit"])[arrays["paint-class"]]
    floor = next(zone.id for zone in plan.zones if zone.slope_class == "flat")
    assert (lit[arrays["zone"] == floor] == CLASS_STYLES["flat"].paint.lit).all()
    ends = arrays["borders"].reshape(-1, 2)
    length = np.linalg.norm(np.diff(arrays["corners"].reshape(-1, 3)[ends].astype(np.float64), axis=1), axis=2).sum()
    shared = sum(near.length_mm for zone in plan.zones for near in zone.neighbours if near.zone > zone.id)
    assert length == pytest.approx(shared, rel=1e-4)


def dense(plan: Plan, least: int) -> Plan:
    """The plan with every facet cut into four until there are enough."""
    facets = plan.facets
    while len(facets.faces) < least:
        count = len(facets.faces)
        vertices, faces, number = trimesh.remesh.subdivide(
            facets.vertices, facets.faces, vertex_attributes=None, return_index=True
        )
        parent = np.empty(len(faces), np.int64)
        for facet, parts in number.items():
            parent[parts] = facet
        assert len(faces) == 4 * count
        facets = FacetArrays(
            vertices, faces.astype(np.int32), facets.zone[parent], facets.slope_deg[parent],
            facets.smooth_slope_deg[parent], facets.slope_class[parent],
        )  # fmt: skip
    return dataclasses.replace(plan, facets=facets)


@pytest.fixture(scope="module")
def ball_plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("ball") / "ball.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.sphere(20.0, 0.02)))
    return advisor.plan(path, only_zones=True)


def test_a_large_part_is_shown_whole_in_a_page_that_stays_small(ball_plan: Plan) -> None:
    large = dense(ball_plan, 200_000 // 4 + 1)
    one = len(large.facets.faces)
    # as many facets as the promise speaks of
    keep = np.arange(min(one, 240_000))
    facets = dataclasses.replace(
        large.facets,
        faces=large.facets.faces[keep],
        **{n: getattr(large.facets, n)[keep] for n in ("zone", "slope_deg", "smooth_slope_deg", "slope_class")},
    )
    large = dataclasses.replace(large, facets=facets)
    setups = setup_views(large)
    words = report_page(large, report_of(large, setups), setups)
    assert len(words.encode()) < MOST_BYTES
    _, arrays = viewer_arrays(Page(words))
    assert len(arrays["zone"]) == len(keep)


def test_a_larger_part_is_simplified_by_no_more_than_it_says(ball_plan: Plan) -> None:
    facets = dense(ball_plan, 60_000).facets
    count = len(facets.faces)
    lighter = simplified(facets, facets.slope_class.astype(np.uint8), count // 3)
    assert len(lighter.facets.faces) <= 1.05 * count / 3
    shown = trimesh.Trimesh(lighter.facets.vertices, lighter.facets.faces, process=False)
    assert shown.is_watertight, "zones still meet along their borders"
    _, off, _ = trimesh.proximity.closest_point(shown, facets.vertices[:: max(1, len(facets.vertices) // 3000)])
    assert lighter.deviation_mm is not None
    assert off.max() <= lighter.deviation_mm * (1 + 1e-6) + 1e-9
    assert 0.0 < lighter.deviation_mm < 0.2
    # borders of zones stay to the point
    assert np.isin(border_points(facets), border_points(lighter.facets)).all()


def border_points(facets: FacetArrays) -> Any:
    """Corners that facets of several zones meet in, as one number each."""
    corner = facets.faces.ravel().astype(np.int64)
    zone = np.repeat(facets.zone, 3).astype(np.int64)
    pairs = np.unique(np.stack([corner, zone], axis=1), axis=0)
    several = np.flatnonzero(np.bincount(pairs[:, 0], minlength=len(facets.vertices)) > 1)
    return np.array([hash(tuple(point)) for point in np.round(facets.vertices[several], 9)])


def test_names_of_places_in_the_page_are_unique_and_links_lead_to_them(page: Page) -> None:
    names = [told["id"] for _, told in page.tags if told.get("id")]
    assert len(names) == len(set(names))
    assert {(told["href"] or "").removeprefix("#") for tag, told in page.tags if tag == "a"} <= set(names)


def test_contrast_is_that_of_wcag_aa(page: Page) -> None:
    """WCAG 2.1, success criteria 1.4.3 and 1.4.11: 4.5 for text, 3 for what marks a control or where focus is."""
    light, dark = (dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", block)) for block in root_blocks(page.raw["style"]))
    for colours in (light, dark):
        for ground in ("paper", "field", "ground"):
            for letters in ("ink", "quiet", "link"):
                assert contrast(colours[letters], colours[ground]) >= 4.5, (letters, ground)
        assert contrast(colours["axis"], colours["ground"]) >= 3.0


def root_blocks(style: str) -> list[str]:
    found = re.findall(r":root \{([^}]*--paper[^}]*)\}", style)
    assert len(found) == 2
    return found


def contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.1's definition of relative luminance."""

    def luminance(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_a_plan_folder_has_the_report_unless_pictures_are_left_out(ball_plan: Plan, tmp_path: Path) -> None:
    folders = [write_plan_folder(ball_plan, tmp_path / name) for name in ("one", "two")]
    one, two = ((folder / "report.html").read_bytes() for folder in folders)
    assert one == two, "the same bytes for the same plan"
    assert not (write_plan_folder(ball_plan, tmp_path / "one", pictures=False) / "report.html").exists()


def test_a_plan_that_stops_after_the_zones_has_a_report(ball_plan: Plan) -> None:
    setups = setup_views(ball_plan)
    page = Page(report_page(ball_plan, report_of(ball_plan, setups), setups))
    _, rows = page.table("zones")
    assert [row[0] for row in rows[:-1]] == [str(zone.id) for zone in ball_plan.zones]
    assert not {"speeds", "errors", "candidates", "cusps"} & {told.get("id") for _, told in page.tags}


def test_a_job_in_inches_is_told_in_inches(tmp_path: Path) -> None:
    path = tmp_path / "inch.stl"
    vertices, faces = solids.round_pocket(chord_error_mm=0.1)
    path.write_bytes(solids.to_stl_bytes(vertices / 25.4, faces))
    plan = advisor.plan(path, unit="inch", ball="0.375", material="Ti-6Al-4V", lays_passes=False)
    report = report_of(plan)
    setups = setup_views(plan)
    page = Page(report_page(plan, report, setups))
    headings, rows = page.table("zones")
    assert headings[4] == "area in²" and headings[8] == "cusp µin"
    for zone, row in zip(plan.zones, rows, strict=False):
        assert told_as(row[4], zone.area_mm2 / 25.4**2)
    words = " ".join("".join(page.text).split())
    assert not re.search(r"\d (mm|µm|um)\b", re.sub(r"What it was made from.*", "", words.rpartition("Cautions")[0]))
    pdf = pytest.importorskip("pypdf").PdfReader(
        pdf_of(tmp_path, report_pdf.report_pdf(report, report_pdf.paper_of(plan.record)))
    )
    assert [float(side) for side in pdf.pages[0].mediabox[2:]] == [612.0, 792.0], "Letter"


def pdf_of(folder: Path, data: bytes) -> Path:
    path = folder / "report.pdf"
    path.write_bytes(data)
    return path


def test_the_pdf_has_the_same_contents(plan: Plan, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    pypdf = pytest.importorskip("pypdf")
    report = report_of(plan)
    reader = pypdf.PdfReader(pdf_of(tmp_path, report_pdf.report_pdf(report, "a4")))
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [595, 842], "A4"
    assert 3 <= len(reader.pages) <= 14
    letters = "".join("".join(page.extract_text() for page in reader.pages).replace("\u200b", "").split())

    def is_told(words: str) -> bool:
        return "".join(words.split()) in letters

    for section in report.sections:
        for block in section.blocks:
            if block.block == "table":
                for row in block.rows:
                    cells = zip(row.cells, block.columns, strict=True)
                    assert is_told("".join(cell for cell, column in cells if column.kind != "picture")), section.name
            if block.block == "cards":
                assert all(is_told(card.title) and all(map(is_told, card.reasons)) for card in block.cards)
    assert all(map(is_told, (HOSTILE, *TITLE))), "markup is text here too"
    assert all(map(is_told, map(plain_words, plan.record.cautions)))


def test_a_plan_of_which_the_job_leaves_out_everything_has_a_report(ball_plan: Plan, tmp_path: Path) -> None:
    facets = dataclasses.replace(ball_plan.facets, zone=np.full_like(ball_plan.facets.zone, -1))
    bare = dataclasses.replace(ball_plan, record=dataclasses.replace(ball_plan.record, zones=()), facets=facets)
    setups = setup_views(bare)
    report = report_of(bare, setups)
    assert "all zones" in Page(report_page(bare, report, setups)).table("zones")[1][0]
    pytest.importorskip("typst")
    assert report_pdf.report_pdf(report, "a4") == report_pdf.report_pdf(report, "a4"), "the same bytes twice"


def test_without_typst_one_line_says_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from advisor.cli.main import run_for_code

    monkeypatch.setattr(report_pdf, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"needs typst.*pip install 'advisor-surface-finishing\[pdf\]'"):
        report_pdf.check_can_write_pdf()
    monkeypatch.chdir(tmp_path)
    assert run_for_code(["plan", "no_such_part.stl", "--pdf"]) == 2


def test_small_features_all_over_a_part_are_ringed_one_by_one(demo_parts: Path) -> None:
    """Five bores round a rim: a closer picture of the middle between them shows none."""
    plan = advisor.plan(demo_parts / "fruit_cup_tool.stl", only_zones=True, ball="10 mm")
    small = next(zone for zone in plan.zones if zone.shape == "small features")
    pictures: dict[str, Picture] = {}
    name = draw_thumbnails(setup_views(plan), pictures)[small.id]
    dark = np.asarray(Image.open(io.BytesIO(pictures[name].png)).convert("L")) < 60
    # rings close, so that what they hold is not of the outside; one is cut off by the edge of the picture
    held = scipy.ndimage.binary_fill_holes(dark) & ~dark
    pieces, count = scipy.ndimage.label(held)
    discs = [piece for piece in range(1, count + 1) if 300 < (pieces == piece).sum() < 900]
    assert small.features == 5 and len(discs) >= 3
