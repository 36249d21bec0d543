"""The index page and the table: names of other people are text, numbers are those of the plan."""

import csv
import io
from html.parser import HTMLParser
from urllib.parse import unquote

import pytest

from advisor.library.index import IndexHead, index_html
from advisor.library.parts_table import COLUMNS, parts_csv
from advisor.library.summary import Failure, PartSummary, summary_from_json, summary_to_json

HEAD = IndexHead("<parts>", 3, False, True, ("ball 6 mm",), 5.0, 45.0, "advisor 1", "2025-01-01")
TIMES = "\N{MULTIPLICATION SIGN}"
NASTY = "<script src=x>alert(1)&\"' é#?%.stl"
PART = PartSummary(
    f"sub/{NASTY}", "plans/sub/a b#%é", "0", (50.8, 25.4, 12.7), 1234, 2, False, 6451.6, 7,
    {"flat": 6000.0, "shallow": 0.0, "steep": 450.0, "undercut": 1.6}, "<i>ball</i>", 6.0, 304800.0,
    ("a <b>note",),
)  # fmt: skip
FAILED = Failure("=cmd|' /C calc'!A0.stl", "is <u>bad</u>; give another")


class _Page(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.links, self.words, self.styles = set(), [], "", []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.links += [value for name, value in attrs if name in ("href", "src")]
        self.styles += [value for name, value in attrs if name == "style"]

    def handle_data(self, data):
        self.words += data


def test_names_are_text_and_links_are_quoted():
    page = _Page(index_html(HEAD, [PART, FAILED]))
    assert page.tags.isdisjoint({"u", "link", "iframe"})
    text = index_html(HEAD, [PART, FAILED])
    assert text.count("<script>") == 1 and "<i>ball" not in text and "<b>note" not in text
    for words in (NASTY, FAILED.file, FAILED.reason, "<parts>", "a <b>note", "<i>ball</i>"):
        assert words in page.words
    assert "plans/sub/a%20b%23%25%C3%A9/plan.json" in page.links
    assert {unquote(link) for link in page.links} == {
        "parts.csv", "#not-planned", "plans/sub/a b#%é/plan.json", "plans/sub/a b#%é/zone_map.png",
        "thumbnails/sub/a b#%é.png",
    }  # fmt: skip
    assert "2 still to do" not in page.words and "1 still to do" in page.words


def test_numbers_in_the_unit_of_the_job():
    metric = _Page(index_html(HEAD, [PART])).words
    inch = _Page(index_html(IndexHead(**{**vars(HEAD), "inches": True}), [PART])).words
    assert f"50.8 {TIMES} 25.4 {TIMES} 12.7" in metric and "6,452" in metric and "305" in metric
    assert f"2 {TIMES} 1 {TIMES} 0.5" in inch and "10" in inch and "1,000" in inch and "area in²" in inch
    assert "flat 93 %," in metric and "undercut <1 %" in metric and "shallow 0" not in metric


def test_the_bar_is_filled_whatever_the_shares():
    styles = _Page(index_html(HEAD, [PART])).styles
    widths = [float(style.removeprefix("width: ").removesuffix("%")) for style in styles]
    assert len(widths) == 3 and min(widths) > 1
    assert sum(widths) == pytest.approx(100.0, abs=0.02)


def test_the_table_holds_the_numbers_and_runs_nothing():
    rows = list(csv.DictReader(io.StringIO(parts_csv([PART, FAILED]))))
    assert tuple(rows[0]) == COLUMNS
    assert rows[0]["file"] == PART.file and rows[1]["file"] == f"'{FAILED.file}"
    assert float(rows[0]["undercut_area_mm2"]) == 1.6 and float(rows[0]["size_y_mm"]) == 25.4
    assert (rows[0]["total_min"], rows[0]["warnings"], rows[1]["zones"]) == ("", "1", "")


def test_a_summary_survives_its_json():
    assert summary_from_json(summary_to_json(PART)) == PART
