"""Plans in Python: tables hold the plan's numbers, a cell shows names as text, the plot has the colours of the map."""

from __future__ import annotations

import base64
import dataclasses
import html.parser
import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import solids
from PIL import Image

import advisor
from advisor.errors import InputError, MissingSystemLibraryError
from advisor.model import BarePlace
from advisor.notebook import frames, plot
from advisor.notebook.door import PlanView
from advisor.notebook.html import MOST_ZONES
from advisor.pack.candidates_csv import candidates_csv
from advisor.pack.folder import write_plan_folder
from advisor.pack.palette import ZONE_COLOURS
from advisor.pack.tables import zones_csv
from advisor.pack.zone_maps import zone_paints

pandas = pytest.importorskip("pandas", reason="pandas is not installed (it is in advisor-surface-finishing[dev])")
HOSTILE = '<img src=x onerror="alert(1)"> & </td><script>alert(2)</script>'


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> PlanView:
    path = tmp_path_factory.mktemp("part") / "pocket.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    job: dict[str, Any] = {
        "title": {"part": HOSTILE},
        "zones": {"keep_together": False},
        "tool": [{"name": "=ball", "diameter": "16 mm"}],
        "stage": [{"name": HOSTILE, "cusp": "0.02 mm"}],
        "zone": [{"at": [0, 0, 0], "name": HOSTILE}],
    }
    return advisor.plan(path, job, material="Ti-6Al-4V", lays_passes=False)


def test_tables_are_those_of_the_csv_files(plan: PlanView) -> None:
    """Read back by an independent reader, number by number; but that text is not made harmless for a spreadsheet."""
    for frame, text in ((plan.tables.zones.reset_index(), zones_csv(plan.record)),
                        (plan.tables.candidates, candidates_csv(plan.record))):  # fmt: skip
        read = pandas.read_csv(io.StringIO(text))
        assert list(frame.columns) == list(read.columns) and len(frame) == len(read) > 0
        for name in read.columns:
            if pandas.api.types.is_numeric_dtype(read[name]):
                told = pandas.to_numeric(frame[name], errors="raise").astype(float)
                np.testing.assert_array_equal(told.to_numpy(), read[name].to_numpy(dtype=float), err_msg=name)
    assert set(plan.tables.zones["tool"]) == {"=ball"}
    assert plan.tables.zones["area_mm2"].sum() == pytest.approx(plan.record.totals.area_mm2)


def test_every_table_has_its_rows_and_sums(plan: PlanView) -> None:
    tables, record = plan.tables, plan.record
    assert "leftovers" in repr(tables) and "candidates" in repr(tables)
    assert len(tables.facets) == len(plan.facets.faces)
    np.testing.assert_array_equal(tables.facets["zone"], plan.facets.zone)
    assert list(tables.tools["diameter_mm"]) == [16.0] and list(tables.stages["tool"]) == ["=ball"]
    assert tables.stages["total_min"].sum() == pytest.approx(record.totals.total_min)
    steps = tables.work[tables.work["strategy"].notna()]
    assert sorted(zone for zones in steps["zones"] for zone in zones) == [
        zone.id for zone in record.zones if zone.advice is not None and zone.advice.usable
    ]
    assert tables.work["tilt_deg"].isna().all(), "three axes"
    assert list(tables.leftovers.index) == [place.id for place in record.leftovers] != []
    assert tables.leftovers.loc[1, "area_mm2"] == record.leftovers[0].area_mm2
    assert tables.leftovers["z_mm"].iloc[0] == record.leftovers[0].middle_mm[2]
    # no copies here: the table is empty, its columns are there
    assert len(tables.repeats) == sum(zone.repeats is not None for zone in record.zones)
    assert {"zone", "model", "turn_deg", "shift_x_mm"} <= set(tables.repeats.columns)


def test_places_that_passes_leave_bare_have_a_table(plan: PlanView) -> None:
    assert len(plan.tables.bare_places) == 0, "no passes were laid"
    places = (BarePlace(2, 1.5, (1.0, 2.0, 3.0), 12.0), BarePlace(1, 0.5, (4.0, 5.0, 6.0), None))
    told = dataclasses.replace(plan, record=dataclasses.replace(plan.record, bare_places=places)).tables.bare_places
    assert list(told.columns) == list(plan.tables.bare_places.columns)
    assert (
        list(told["zone"]) == [2, 1]
        and list(told["z_mm"]) == [3.0, 6.0]
        and list(told["max_um"].isna()) == [False, True]
    )


def test_a_plan_is_read_back_with_its_tables(plan: PlanView, tmp_path: Path) -> None:
    folder = write_plan_folder(plan, tmp_path / "plan", pictures=False)
    again = advisor.read_plan(folder)
    assert again.record == plan.record
    pandas.testing.assert_frame_equal(again.tables.zones, plan.tables.zones)
    with pytest.raises(InputError, match=r"holds no plan\.json"):
        advisor.read_plan(tmp_path)


def test_a_what_if_has_its_rows_as_a_table() -> None:
    part = advisor.read_part(Path(__file__).resolve().parents[2] / "meshes" / "paddle_blade.stl")
    told = advisor.what_if(part, balls="6, 10 mm", cusps="5, 10 um")
    table = told.table
    sums = table[table["zone"] == "all"]
    assert list(sums["ball_mm"]) == [row.ball_mm for row in told.rows] == [6.0, 6.0, 10.0, 10.0]
    assert list(sums["path_mm"]) == [row.path_mm for row in told.rows]
    assert sums["total_min"].isna().all(), "no material, no minutes"


def test_without_pandas_one_line_says_what_to_do(plan: PlanView, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frames, "find_spec", lambda name: None)
    bare = PlanView(plan.record, plan.facets)
    with pytest.raises(InputError, match=r"needs pandas.*pip install 'advisor-surface-finishing\[notebook\]'") as told:
        _ = bare.tables
    assert len(str(told.value).splitlines()) == 1


class Cell(html.parser.HTMLParser):
    """A cell taken apart: tags, texts of table cells, pictures."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.pictures: list[str] = []
        self.rows: list[list[str]] = []
        self.words = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not [name for name, _ in attributes if name.startswith("on")]
        if tag == "img":
            self.pictures.append(dict(attributes)["src"] or "")
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, words: str) -> None:
        self.words += words
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += words


def test_a_cell_shows_the_map_and_the_zones_and_names_as_text(plan: PlanView) -> None:
    cell = Cell(plan._repr_html_())
    assert "script" not in cell.tags and cell.tags.count("img") == 1
    assert cell.words.count(HOSTILE) >= 2, "the part, and a zone"
    start = "data:image/png;base64,"
    assert cell.pictures[0].startswith(start)
    picture = Image.open(io.BytesIO(base64.b64decode(cell.pictures[0].removeprefix(start))))
    assert picture.size == (480, 360) and len(picture.getcolors(1 << 20) or ()) > 50
    ids = [row[0].strip() for row in cell.rows[1:]]
    assert ids == [str(zone.id) for zone in plan.zones[:MOST_ZONES]] + [""]


def test_a_cell_of_a_part_with_many_zones_stays_short(plan: PlanView) -> None:
    many = tuple(dataclasses.replace(plan.zones[0], id=number) for number in range(1, 2 * MOST_ZONES + 1))
    cell = Cell(dataclasses.replace(plan, record=dataclasses.replace(plan.record, zones=many))._repr_html_())
    assert len(cell.rows) == MOST_ZONES + 2 and f"{MOST_ZONES} more zones" in cell.words


def test_the_map_is_a_picture(plan: PlanView) -> None:
    assert plan.map("strategy", width=800, height=600).size == (800, 600)
    with pytest.raises(InputError, match="cusp"):
        plan.map("cusp")


def test_the_plot_has_the_colours_of_the_zone_map(plan: PlanView) -> None:
    if not plot._draws_off_screen():
        pytest.skip("no OpenGL here (Debian: apt install libegl1)")
    plotter = plan.plot(off_screen=True, size=(640, 480))
    pixels = np.asarray(plotter.screenshot(return_img=True)).reshape(-1, 3).astype(float)
    plotter.close()
    # a paint in any light: the same proportions of red, green and blue
    hue = pixels / np.maximum(np.linalg.norm(pixels, axis=1, keepdims=True), 1.0)
    seen = set()
    for number, paint in enumerate(ZONE_COLOURS):
        wanted = np.array(paint, float) / np.linalg.norm(paint)
        if (np.abs(hue - wanted).max(axis=1) < 0.015).sum() > 300:
            seen.add(number)
    paints = zone_paints(plan.zones)
    up = {paints[zone.id] for zone in plan.zones if zone.slope_class != "undercut" and zone.area_mm2 > 300}
    assert len(up) >= 3 and len(up & seen) >= 3


def test_a_zone_or_colour_that_is_not_there_is_refused(plan: PlanView, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no zone 99"):
        plan.plot(zone=99)
    with pytest.raises(InputError, match="no colour 'taste'"):
        plan.plot("taste")  # type: ignore[arg-type]
    monkeypatch.setattr(plot, "_draws_off_screen", lambda: False)
    monkeypatch.setattr(plot.sys, "platform", "linux")
    with pytest.raises(MissingSystemLibraryError, match=r"apt install libegl1.*map\(\)"):
        plan.plot(off_screen=True)
