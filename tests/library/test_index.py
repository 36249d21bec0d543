"""The index page and the tables: names of other people are text, numbers are those of the plan."""

import csv
import io
import json
import re
from html.parser import HTMLParser

import pytest

from advisor.errors import InputError
from advisor.library.alike import Alike
from advisor.library.index import write_index
from advisor.library.lists import BatchHead, write_lists
from advisor.library.parts_table import COLUMNS, write_parts_csv
from advisor.library.quantities import ONE_EACH, Quantities, read_quantities
from advisor.library.summary import Failure, PartSummary, summary_from_json, summary_to_json

NASTY = "<script src=x>alert(1)</script>&\"' é#?%.stl"
PART = PartSummary(
    f"sub/{NASTY}", "plans/sub/a b#%é", "0", (50.8, 25.4, 12.7), 1234, 2, False, 6451.6, 7,
    {"flat": 6000.0, "shallow": 0.0, "steep": 450.0, "undercut": 1.6}, "<i>ball</i>", 6.0, 304800.0,
    ("a <b>note",), 10.0, 12.5, 5.0, 4.25, 2, 3,
)  # fmt: skip
FAILED = Failure("=cmd|' /C calc'!A0.stl", "is <u>bad</u>; give another")


def head(**other):
    told = {
        "title": "<parts>", "found": 3, "inches": False, "pictures": True, "reports": False,
        "settings": ("ball 6 mm",), "flat_below_deg": 5.0, "steep_from_deg": 45.0, "made_with": "advisor 1",
        "made_on": "2025-01-01", "quantities": ONE_EACH, "retry": lambda failure: f"again <{failure.file}>",
    }  # fmt: skip
    return BatchHead(**{**told, **other})


def page_of(outcomes, alike=None, **other):
    text = io.StringIO()
    write_index(head(**other), lambda: iter(outcomes), alike or {}, False, text)
    return text.getvalue()


class _Page(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self.scripts, self._in_script = set(), "", {}, None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag == "script":
            self._in_script = dict(attrs).get("id")

    def handle_data(self, data):
        if self._in_script:
            self.scripts[self._in_script] = json.loads(data)
            self._in_script = None
        self.words += data


def test_names_are_data_that_cannot_leave_their_script():
    text = page_of([PART, FAILED], {PART.file: Alike(NASTY, 0.012345678, 4)})
    page = _Page(text)
    assert page.tags.isdisjoint({"u", "link", "iframe"}) and "<i>ball" not in text and "<b>note" not in text
    assert text.count("<script") == 4 and "<parts>" in page.words
    (row,), (failure,) = page.scripts["rows"], page.scripts["failures"]
    assert row[0] == PART.file and row[1] == "sub/a%20b%23%25%C3%A9"
    assert row[-3:] == [list(PART.warnings), 4, [NASTY, 0.012346]]
    assert failure == [FAILED.file, FAILED.reason, f"again <{FAILED.file}>"]
    assert page.scripts["told"]["found"] == 3


def test_the_page_lets_in_nothing_from_elsewhere():
    text = page_of([PART])
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    assert policy.startswith("default-src 'none'") and "http" not in policy
    assert not re.search(r"(src|href)=\"(https?:)?//", text)


def test_the_tables_hold_the_numbers_and_run_nothing():
    text = io.StringIO()
    write_parts_csv([PART, FAILED], Quantities("q", {PART.file: 4}), {}, text)
    rows = list(csv.DictReader(io.StringIO(text.getvalue())))
    assert tuple(rows[0]) == COLUMNS
    assert rows[0]["file"] == PART.file and rows[1]["file"] == f"'{FAILED.file}"
    assert float(rows[0]["undercut_area_mm2"]) == 1.6 and float(rows[0]["size_y_mm"]) == 25.4
    assert (rows[0]["total_min"], rows[0]["quantity_min"], rows[0]["setups"]) == ("12.5", "50.0", "2")
    assert (rows[0]["warnings"], rows[1]["zones"]) == ("1", "")


def test_parquet_has_the_columns_and_numbers_of_the_csv(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is not installed (the extra parquet)")
    assert write_lists(tmp_path, head(), lambda: iter([PART]), [FAILED]) == []
    table = parquet.read_table(tmp_path / "parts.parquet")
    assert tuple(table.column_names) == COLUMNS
    failed, planned = table.to_pylist()
    assert failed["file"] == FAILED.file and failed["total_min"] is None
    assert planned["total_min"] == 12.5 and planned["file"] == PART.file and planned["watertight"] is False
    assert 'href="parts.parquet"' in (tmp_path / "index.html").read_text("utf-8")
    told = list(csv.DictReader(io.StringIO((tmp_path / "parts.csv").read_text("utf-8"))))
    assert [row["status"] for row in told] == [failed["status"], planned["status"]]


def test_quantities_as_spreadsheets_write_them(tmp_path):
    path = tmp_path / "wanted.csv"
    path.write_bytes('\ufeffFile,note,Quantity\r\nsub\\a.stl,x,3\r\n,,\r\n"b, c.stl",,0\r\n'.encode())
    assert read_quantities(path) == Quantities("wanted.csv", {"sub/a.stl": 3, "b, c.stl": 0})


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("file\na.stl\n", "lacks the columns file and quantity"),
        ("", "lacks the columns"),
        ("file,quantity\na.stl,2.5\n", r"no whole number in line 2 \('2.5'\)"),
        ("file,quantity\na.stl,-1\n", "no whole number"),
        ("file,quantity\na.stl,99999999999999999999\n", "no whole number"),
        ("file,quantity\na.stl\n", "no whole number"),
        ("file,quantity\na.stl,1\n./a.stl,2\n", r"names 'a.stl' twice \(line 3\)"),
        ("file,quantity\n\xff,1\n", "is no CSV file in UTF-8"),
    ],
)
def test_tables_of_quantities_that_cannot_be_meant(tmp_path, text, problem):
    path = tmp_path / "wanted.csv"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match=problem):
        read_quantities(path)


def test_a_summary_survives_its_json():
    assert summary_from_json(summary_to_json(PART)) == PART
