"""Files for other programs, read back by libraries that did not write them: areas, colours, lengths, units, names."""

from __future__ import annotations

import csv
import dataclasses
import itertools
import math
import re
import sys
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import duckdb
import lib3mf
import numpy as np
import pyogrio.raw
import pytest
import pyvista
import shapely
import solids
import trimesh
from exchange_readers import areas_of, dxf_header, glb_json, sums_by, vtp_arrays
from lxml import etree

import advisor
from advisor.advice.facet_parts import with_parts
from advisor.errors import InputError
from advisor.intake.saved import read_plan_folder
from advisor.model import FacetArrays, OutlineArrays, Plan
from advisor.pack.camera import setup_frame
from advisor.pack.exchange import KINDS, Wanted, export_file, export_folder, plan_of_zones
from advisor.pack.exchange_fields import facet_fields
from advisor.pack.exchange_names import file_words, layer_words, zone_layer
from advisor.pack.folder import write_plan_folder
from advisor.pack.maps import colour_map
from advisor.pack.palette import CLASS_STYLES

# Names as people, and their programs, may write them.
ODD_NAMES = (
    'Wall "A" <b>bold</b> &amp; |/\\:*?=;`,', "../../etc/passwd", "", "=1+1", "Fläche 瓶 №5", "x" * 300,
    "line\nbreak\t\u202e\x07", "con",
)  # fmt: skip
ODD_PART = '<script>alert("1")</script> & Söhne/№ 5'
SKEW = (0.6, 0.0, 0.8)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plan folder of a pocket in a block: floor, fillet and wall apart, passes not laid; its zones oddly named."""
    where = tmp_path_factory.mktemp("exchange")
    part = where / "part.stl"
    part.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    job = {"zones": {"keep_together": False}, "stage": [{"name": "finish", "stepover": "0.5 mm"}]}
    plan = advisor.plan(part, job, ball="6 mm", material="Ti-6Al-4V", lays_passes=False)
    zones = tuple(replace(zone, name=name) for zone, name in zip(plan.zones, itertools.cycle(ODD_NAMES), strict=False))
    record = replace(plan.record, zones=zones, part=replace(plan.record.part, name=ODD_PART))
    return write_plan_folder(replace(plan, record=record), where / "plan", pictures=False)


@pytest.fixture(scope="module")
def plan(folder: Path) -> Plan:
    return read_plan_folder(folder)


@pytest.fixture(scope="module")
def areas(plan: Plan) -> dict[int, float]:
    return {zone.id: zone.area_mm2 for zone in plan.zones}


def lengths(outlines: OutlineArrays, onto: np.ndarray | None = None) -> dict[tuple[int, str], list[float]]:
    """Lengths of the loops of every zone and kind, seen along `onto` where one is given, shortest first."""
    found: dict[tuple[int, str], list[float]] = {}
    for k, (zone, kind) in enumerate(zip(outlines.zone.tolist(), outlines.kind.tolist(), strict=True)):
        points = outlines.points[outlines.starts[k] : outlines.starts[k + 1]]
        if onto is not None:
            points = points @ setup_frame(tuple(onto))[:2].T
        found.setdefault((zone, kind), []).append(np.linalg.norm(np.roll(points, -1, 0) - points, axis=1).sum())
    return {key: sorted(value) for key, value in found.items()}


# ---------------------------------------------------------------------------------------------------------- DXF


def read_dxf(path: Path) -> dict[str, list[Any]]:
    """Shapes by layer, as GDAL reads them."""
    meta, _, shapes, values = pyogrio.raw.read(path)
    layers = values[list(meta["fields"]).index("Layer")]
    found: dict[str, list[Any]] = {}
    for layer, shape in zip(layers, shapely.from_wkb(shapes), strict=True):
        found.setdefault(layer, []).append(shape)
    return found


def length_3d(line: Any) -> float:
    points = np.nan_to_num(shapely.get_coordinates(line, include_z=True))  # flat ones lie at height 0
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


@pytest.mark.parametrize("axis", [None, SKEW])
def test_the_drawing_has_every_outline_in_space_and_flat(plan: Plan, tmp_path: Path, axis: Any) -> None:
    if axis is not None:
        setup = replace(plan.record.setups[0], tool_axis=axis)
        plan = replace(plan, record=replace(plan.record, setups=(setup,)))
    read = read_dxf(export_file(plan, tmp_path / "boundaries.dxf"))
    assert plan.outlines is not None
    tool_axis = np.array(plan.record.setups[0].tool_axis)
    flat = lengths(plan.outlines, tool_axis)
    for (zone, kind), wanted in lengths(plan.outlines).items():
        layer = zone_layer(plan.zones[zone - 1]) + (" overlap" if kind == "overlap" else "")
        lines = read.pop(layer)
        assert all(line.is_closed and line.has_z for line in lines)
        np.testing.assert_allclose(sorted(length_3d(line) for line in lines), wanted, rtol=1e-9)
        seen = read.pop(f"{layer} plan view")
        np.testing.assert_allclose(
            sorted(length_3d(line) for line in seen), [one for one in flat[zone, kind] if one > 1e-5], atol=1e-6
        )
        for line in seen:
            points = shapely.get_coordinates(line, include_z=True)
            np.testing.assert_allclose(np.nan_to_num(points) @ tool_axis, 0.0, atol=1e-9)
    numbers = read.pop("zone numbers")
    assert len(numbers) == len(plan.zones) and not read, "no other layers"


def test_flat_outlines_hold_the_area_of_their_zones_in_plan(plan: Plan, tmp_path: Path) -> None:
    read = read_dxf(export_file(plan, tmp_path / "boundaries.dxf"))
    seen = [zone for zone in plan.zones if zone.slope_class in ("flat", "shallow")]
    assert len(seen) == 3, "land, fillet and floor"
    for zone in seen:
        rings = sorted((shapely.Polygon(line) for line in read[f"{zone_layer(zone)} plan view"]), key=lambda p: p.area)
        area = rings[-1].area - sum(ring.area for ring in rings[:-1])
        # the plan says how far outlines and borders of facets lie apart
        assert zone.outline is not None and zone.outline.deviation_um < 50.0
        off_mm2 = zone.outline.deviation_um / 1000.0 * sum(ring.length for ring in rings)
        assert area == pytest.approx(facets_in_plan(plan, zone.id), abs=off_mm2 + 1e-6)
    # the rim of the pocket: radius 20
    assert max(shapely.Polygon(line).area for line in read[f"{zone_layer(seen[1])} plan view"]) < math.pi * 20**2


def facets_in_plan(plan: Plan, zone: int) -> float:
    """Area of the facets of a zone as seen along Z, all facing up."""
    x, y, _ = plan.facets.vertices[plan.facets.faces[plan.facets.zone == zone]].transpose(2, 1, 0)
    twice = (x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0])
    assert (twice > 0).all()
    return float(twice.sum() / 2)


def test_the_drawing_says_millimetres_and_how_large_it_is(plan: Plan, folder: Path) -> None:
    header = dxf_header(folder / "boundaries.dxf")
    assert header["$INSUNITS"] == ["4"] and header["$MEASUREMENT"] == ["1"]
    low, high = plan.facets.vertices.min(axis=0), plan.facets.vertices.max(axis=0)
    np.testing.assert_allclose([float(value) for value in header["$EXTMIN"]], low)
    np.testing.assert_allclose([float(value) for value in header["$EXTMAX"]], high)


def test_nothing_in_the_drawing_hangs_on_the_order_of_a_set(folder: Path) -> None:
    """The writer of the format lists its classes in another order in every run (found in November 2026)."""
    lines = (folder / "boundaries.dxf").read_text("utf-8").splitlines()
    classes = [lines[row + 2] for row, line in enumerate(lines) if line == "CLASS"]
    assert len(classes) > 2 and classes == sorted(classes)


# ------------------------------------------------------------------------------------------------------- meshes


def test_stl_files_of_the_zones_make_up_the_part(plan: Plan, areas: dict[int, float], tmp_path: Path) -> None:
    files = export_folder(plan, tmp_path / "out", ["stl"])
    volume = 0.0
    for zone, path in zip(plan.zones, files, strict=True):
        mesh = pyvista.read(path)
        points, faces = np.asarray(mesh.points, float), mesh.regular_faces
        assert areas_of(points, faces).sum() == pytest.approx(areas[zone.id], rel=1e-5)
        a, b, c = (points[faces[:, k]] for k in range(3))
        volume += float((a * np.cross(b, c)).sum()) / 6
    # facets face outward in all of them, and leave no gap
    assert volume == pytest.approx(plan.record.part.volume_mm3, rel=1e-5)
    assert len({path.name.lower() for path in files}) == len(plan.zones)


def test_ply_has_the_facets_with_colours_and_fields(plan: Plan, areas: dict[int, float], tmp_path: Path) -> None:
    path = export_file(plan, tmp_path / "part.ply", Wanted("class"))
    mesh = trimesh.load(path, process=False)
    raw = mesh.metadata["_ply_raw"]["face"]["data"]
    np.testing.assert_array_equal(mesh.vertices, plan.facets.vertices)
    np.testing.assert_array_equal(mesh.faces, plan.facets.faces)
    for name, array in facet_fields(plan.facets).items():
        np.testing.assert_array_equal(raw[name].ravel(), array)
    assert sums_by(raw["zone"].ravel(), mesh.area_faces) == pytest.approx(areas, rel=1e-9)
    flat = plan.facets.slope_class == 0
    assert {tuple(colour[:3]) for colour in mesh.visual.face_colors[flat].tolist()} == {CLASS_STYLES["flat"].paint.lit}
    assert b"\ncomment unit mm\n" in path.read_bytes()
    assert path.read_bytes().count(b"\nend_header\n") == 1, "no name of a zone breaks the head"


def test_every_number_of_a_facet_is_among_the_fields(plan: Plan) -> None:
    """A new array of the plan comes into these files by itself, and one of another length does not."""
    count = len(plan.facets.faces)
    told = facet_fields(plan.facets)
    assert {"zone", "slope_deg", "smooth_slope_deg", "slope_class", "reach", "needed_ball_mm", "leftover_mm"} <= set(
        told
    )
    assert all(array.shape == (count,) for array in told.values())
    parts = {each.name for each in fields(FacetArrays) if each.name.startswith("part")}
    assert {each.name for each in fields(FacetArrays)} >= set(told) | parts | {"vertices", "faces"}


def test_glb_is_in_metres_with_y_up_and_a_coloured_node_a_zone(
    plan: Plan, areas: dict[int, float], tmp_path: Path
) -> None:
    path = export_file(plan, tmp_path / "part.glb")
    told = glb_json(path)
    colours = colour_map(plan, "zone")
    nodes = {node["extras"]["zone"]: node for node in told["nodes"] if "zone" in node.get("extras", {})}
    assert set(nodes) == set(areas)
    for zone in plan.zones:
        extras = nodes[zone.id]["extras"]
        assert extras["name"] == zone.name and extras["area_mm2"] == zone.area_mm2
        (primitive,) = told["meshes"][nodes[zone.id]["mesh"]]["primitives"]
        (paint,) = set(colours.index[plan.facets.zone == zone.id].tolist())
        factor = np.array(told["materials"][primitive["material"]]["pbrMetallicRoughness"]["baseColorFactor"][:3])
        # IEC 61966-2-1, its upper branch: no colour of the map is so dark that the straight foot counts
        coded = 1.055 * factor ** (1 / 2.4) - 0.055
        np.testing.assert_allclose(coded * 255, colours.paints[paint].lit, atol=0.01)
    # VTK's reader, which applies the nodes' transforms: metres, +Y up
    leaves = list(leaf_meshes(pyvista.read(path)))
    area_mm2 = [areas_of(np.asarray(leaf.points, float) * 1000, leaf.regular_faces).sum() for leaf in leaves]
    assert sorted(area_mm2) == pytest.approx(sorted(areas.values()), rel=1e-5)
    points = np.vstack([np.asarray(leaf.points) for leaf in leaves]) * 1000
    turned = np.stack([points[:, 0], -points[:, 2], points[:, 1]], axis=1)
    np.testing.assert_allclose(turned.min(axis=0), plan.facets.vertices.min(axis=0), atol=1e-4)
    np.testing.assert_allclose(turned.max(axis=0), plan.facets.vertices.max(axis=0), atol=1e-4)


def leaf_meshes(block: Any) -> Any:
    if isinstance(block, pyvista.MultiBlock):
        for inner in block:
            yield from leaf_meshes(inner)
    elif block is not None:
        yield block


def test_3mf_has_the_colours_of_the_zones(plan: Plan, areas: dict[int, float], tmp_path: Path) -> None:
    path = export_file(plan, tmp_path / "part.3mf")
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    meshes = model.GetMeshObjects()
    assert meshes.MoveNext() and meshes.Count() == 1
    mesh = meshes.GetCurrentMeshObject()
    assert mesh.IsManifoldAndOriented()
    points = np.array([list(vertex.Coordinates) for vertex in mesh.GetVertices()])
    faces = np.array([list(triangle.Indices) for triangle in mesh.GetTriangleIndices()])
    np.testing.assert_allclose(points, plan.facets.vertices, rtol=1e-6, atol=1e-6)  # the library keeps singles
    np.testing.assert_array_equal(faces, plan.facets.faces)
    seen = []
    groups: dict[int, Any] = {}
    for told in mesh.GetAllTriangleProperties():
        group = groups.setdefault(told.ResourceID, model.GetColorGroupByID(told.ResourceID))
        colours = {(c.Red, c.Green, c.Blue, c.Alpha) for c in (group.GetColor(k) for k in set(told.PropertyIDs))}
        assert len(colours) == 1
        seen.append(colours.pop())
    wanted = colour_map(plan, "zone").lit_colours
    np.testing.assert_array_equal(np.array(seen)[:, :3], wanted)
    assert {colour[3] for colour in seen} == {255}
    assert sums_by(plan.facets.zone, areas_of(points, faces)) == pytest.approx(areas, rel=1e-5)


def test_vtp_has_every_field(plan: Plan, areas: dict[int, float], tmp_path: Path) -> None:
    facets = with_parts(plan.facets)
    read = vtp_arrays(export_file(plan, tmp_path / "part.vtp", Wanted("class")))
    points, faces = read["Points/Points"], read["Polys/connectivity"].reshape(-1, 3)
    np.testing.assert_array_equal(points, facets.vertices)
    np.testing.assert_array_equal(faces, facets.faces)
    for name, array in facet_fields(facets).items():
        np.testing.assert_array_equal(read[f"CellData/{name}"], array)
    np.testing.assert_allclose(read["CellData/area_mm2"], areas_of(points, faces), rtol=1e-9, atol=1e-12)
    assert sums_by(facets.zone, read["CellData/area_mm2"]) == pytest.approx(areas, rel=1e-6)
    flat = facets.slope_class == 0
    assert {tuple(row) for row in read["CellData/colour"][flat].tolist()} == {CLASS_STYLES["flat"].paint.lit}
    for zone in plan.zones:
        (step,) = np.unique(read["CellData/zone_stepover_mm"][facets.zone == zone.id]).tolist()
        usable = zone.advice is not None and zone.advice.usable
        assert (step == zone.advice.stepover_mm) if usable else math.isnan(step)
    assert list(read["FieldData/unit"]) == ["mm"]


@pytest.mark.parametrize("kind", ["stl", "ply", "glb", "3mf"])
def test_meshes_are_parts_again(plan: Plan, kind: str, tmp_path: Path) -> None:
    """What is written here is read here, closed and of the same size: units and turns agree."""
    part = advisor.read_part(export_file(plan, tmp_path / f"part.{kind}"))
    assert part.record.area_mm2 == pytest.approx(plan.record.part.area_mm2, rel=1e-5)
    assert part.record.size_mm == pytest.approx(plan.record.part.size_mm, rel=1e-5)
    assert part.record.volume_mm3 == pytest.approx(plan.record.part.volume_mm3, rel=1e-5)


# ------------------------------------------------------------------------------------------------------- tables


def test_parquet_and_csv_hold_the_same_table(plan: Plan, areas: dict[int, float], tmp_path: Path) -> None:
    files = {path.name: path for path in export_folder(plan, tmp_path / "out", ["csv", "parquet"])}
    assert len(files) == 6
    for table in ("zones", "candidates", "facets"):
        text, typed = (
            next(p for name, p in files.items() if name.endswith(f"{table}.{e}")) for e in ("csv", "parquet")
        )
        read = duckdb.connect().execute("select * from read_parquet(?)", [str(typed)])
        names = [column[0] for column in read.description]
        rows = read.fetchall()
        with text.open(newline="", encoding="utf-8") as file:
            told = list(csv.reader(file))
        assert told[0] == names and len(told) == len(rows) + 1
        for row, cells in zip(rows[:400], told[1:], strict=False):
            for name, value, cell in zip(names, row, cells, strict=True):
                assert same_cell(value, cell), (table, name, value, cell)
    facets = next(path for name, path in files.items() if name.endswith("facets.parquet"))
    summed = duckdb.connect().execute("select zone, sum(area_mm2) from read_parquet(?) group by zone", [str(facets)])
    assert dict(summed.fetchall()) == pytest.approx(areas, rel=1e-9)


def same_cell(value: Any, cell: str) -> bool:
    if value is None:
        return cell == ""
    if isinstance(value, bool | str):
        # a spreadsheet would run a name that begins so: it stands behind an apostrophe
        return cell in (str(value), f"'{value}")
    return math.isclose(float(cell), value, rel_tol=1e-6, abs_tol=1e-12)


def test_without_the_library_parquet_is_refused_in_one_line(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(InputError, match=r"needs pyarrow, .*pip install 'advisor-surface-finishing\[parquet\]'"):
        export_file(plan, tmp_path / "zones.parquet")
    assert not list(tmp_path.iterdir())


# ---------------------------------------------------------------------------------------------------------- SVG

SVG = "{http://www.w3.org/2000/svg}"


def path_length(data: str) -> float:
    total = 0.0
    for run in data.split("M")[1:]:
        points = np.array([[float(word) for word in pair.split()] for pair in run.split("L")])
        total += float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    return total


def svg_lengths(root: Any) -> dict[tuple[int, str], float]:
    found = {}
    for group in root.iter(f"{SVG}g"):
        if "data-zone" in group.attrib:
            for kind in group.findall(f"{SVG}g"):
                found[int(group.get("data-zone")), kind.get("class")] = sum(path_length(p.get("d")) for p in kind)
    return found


def test_svg_outlines_are_millimetres_and_numbers_keep_clear(plan: Plan, tmp_path: Path) -> None:
    root = etree.parse(export_file(plan, tmp_path / "outlines.svg")).getroot()
    assert plan.outlines is not None
    drawn, wanted = svg_lengths(root), lengths(plan.outlines, np.array([0.0, 0.0, 1.0]))
    in_sight = [zone for zone in plan.zones if zone.slope_class in ("flat", "shallow")]
    for zone in in_sight:
        # nothing lies over them: all of their outlines is seen
        assert drawn[zone.id, "boundary"] == pytest.approx(sum(wanted[zone.id, "boundary"]), rel=1e-4)
    box = [float(word) for word in root.get("viewBox").split()]
    scale = float(root.get("width").removesuffix("mm")) / box[2]
    assert f"{scale:g} : 1" in root.findtext(f"{SVG}desc") or f"1 : {1 / scale:g}" in root.findtext(f"{SVG}desc")
    labels = [
        shapely.box(*(float(rect.get(k)) for k in "xy"), *(float(rect.get(k)) + float(rect.get(s)) for k, s in
                    (("x", "width"), ("y", "height"))))
        for rect in root.iterfind(f".//{SVG}g[@class='number']/{SVG}rect")
    ]  # fmt: skip
    numbers = [text.text for text in root.iterfind(f".//{SVG}g[@class='number']/{SVG}text")]
    assert {str(zone.id) for zone in in_sight} <= set(numbers) and len(numbers) == len(set(numbers))
    assert not any(one.intersects(other) for one, other in itertools.combinations(labels, 2))
    assert root.findtext(f"{SVG}title") == ODD_PART, "markup in a name is text"
    assert not list(root.iter(f"{SVG}script"))


def test_svg_leaves_out_what_is_hidden(plan: Plan, tmp_path: Path) -> None:
    """A ring around a ball of radius 5, seen from above: hidden below the equator's inside, seen outside it."""
    from advisor.pack.exchange_svg import seen_runs

    depth = np.full((100, 100), -np.inf, np.float32)
    rows, columns = np.mgrid[:100, :100] + 0.5
    inside = np.hypot(rows - 50, columns - 50) < 30
    depth[inside] = 100.0
    line = np.array([[5.0, 50.0, 0.0], [95.0, 50.0, 0.0]])
    runs = seen_runs(line, depth)
    assert len(runs) == 2
    assert sum(np.linalg.norm(np.diff(run[:, :2], axis=0), axis=1).sum() for run in runs) == pytest.approx(
        30.0, abs=4.0
    )
    over = seen_runs(line + [0.0, 0.0, 200.0], depth)
    assert len(over) == 1 and np.allclose(over[0][[0, -1]], line + [0.0, 0.0, 200.0])


def test_a_panel_a_set_up(plan: Plan, tmp_path: Path) -> None:
    setups = (plan.record.setups[0], replace(plan.record.setups[0], name="set-up 2", tool_axis=(0.0, 0.0, -1.0)))
    under = next(zone for zone in plan.zones if zone.slope_class == "undercut")
    zones = tuple(replace(zone, setup=1) if zone.id == under.id else zone for zone in plan.zones)
    two = replace(plan, record=replace(plan.record, setups=setups, zones=zones))
    root = etree.parse(export_file(two, tmp_path / "outlines.svg")).getroot()
    drawn, wanted = svg_lengths(root), lengths(plan.outlines, np.array([0.0, 0.0, 1.0]))
    assert drawn[under.id, "boundary"] == pytest.approx(sum(wanted[under.id, "boundary"]), rel=1e-3)
    panels = root.findall(f"{SVG}g")
    assert len(panels) == 2
    first, second = (float(re.match(r"translate\((\S+)", panel.get("transform"))[1]) for panel in panels)
    assert first == 0.0 and second > plan.record.part.size_mm[0]


# -------------------------------------------------------------------------------------------------------- names


def test_names_of_files_and_layers_are_safe(plan: Plan, tmp_path: Path) -> None:
    out = tmp_path / "out"
    files = export_folder(plan, out, KINDS)
    for path in files:
        assert re.fullmatch(r"[a-z0-9-]{1,80}\.[a-z0-9]+", path.name), path.name
        assert path.parent in (out, out / "zones")
    assert sorted(path for path in tmp_path.rglob("*") if path.is_file()) == sorted(files), "nothing else, nowhere else"
    for name in ODD_NAMES:
        assert re.fullmatch(r"[a-z0-9-]*", file_words(name))
        assert not re.search(r"[<>/\\\":;?*|=`',\x00-\x1f]", layer_words(name))
    layers = read_dxf(next(path for path in files if path.suffix == ".dxf"))
    assert {layer_words(name) for name in ODD_NAMES} >= {"Flache No5", "Wall A b bold b &amp", ""}
    assert any(layer.startswith("zone 005 Flache No5") for layer in layers)


def test_two_exports_give_the_same_bytes(plan: Plan, tmp_path: Path) -> None:
    one, other = (export_folder(plan, tmp_path / name, KINDS) for name in ("one", "two"))
    for first, second in zip(one, other, strict=True):
        assert first.read_bytes() == second.read_bytes(), first.name


def test_one_zone_alone(plan: Plan, areas: dict[int, float], tmp_path: Path) -> None:
    alone = plan_of_zones(plan, [2, 3])
    mesh = trimesh.load(export_file(alone, tmp_path / "two.ply"), process=False)
    assert mesh.area == pytest.approx(areas[2] + areas[3], rel=1e-6)
    assert len(np.unique(mesh.faces)) == len(mesh.vertices), "no corners that nothing uses"
    read = read_dxf(export_file(alone, tmp_path / "two.dxf"))
    assert {layer[:8] for layer in read} == {"zone 002", "zone 003", "zone num"}
    assert alone.outlines is not None and plan.outlines is not None
    every = lengths(plan.outlines)
    assert lengths(alone.outlines) == {key: value for key, value in every.items() if key[0] in (2, 3)}
    with pytest.raises(InputError, match="no zone 99"):
        plan_of_zones(plan, [99])


def test_the_saved_outlines_are_those_of_the_plan(plan: Plan, folder: Path) -> None:
    assert plan.outlines is not None
    with np.load(folder / "outlines.npz") as arrays:
        for name, array in dataclasses.asdict(plan.outlines).items():
            np.testing.assert_array_equal(array, arrays[name])
