"""STEP models: written by the library that reads them, checked against closed forms; damaged ones end in one line."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import advisor
from advisor.cli.main import run_for_code
from advisor.errors import InputError
from advisor.intake import step
from advisor.part.coarseness import chord_error_um

pytest.importorskip(
    "OCP", exc_type=ImportError,
    reason="what reads STEP is not installed (it is in advisor-surface-finishing[dev]), or lacks libgl1",
)  # fmt: skip

# A step of 60 x 40, 10 high before and 30 behind, a fillet in its corner, and a round boss on top; mm.
LONG, DEEP, LOW, HIGH, BACK, FILLET, BOSS, BOSS_HIGH = 60.0, 40.0, 10.0, 30.0, 20.0, 6.0, 8.0, 15.0
BENT_MM2 = math.pi / 2 * FILLET * LONG + 2 * math.pi * BOSS * BOSS_HIGH
VOLUME_MM3 = (
    LONG * DEEP * LOW + LONG * BACK * (HIGH - LOW) + (1 - math.pi / 4) * FILLET**2 * LONG
    + math.pi * BOSS**2 * BOSS_HIGH
)  # fmt: skip


def edges_of(shape: Any) -> list[tuple[Any, list[Any]]]:
    """Edges of a shape, each once, with their two ends."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    told: list[tuple[Any, list[Any]]] = []
    explorer = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_EDGE)
    while explorer.More():
        edge = TopoDS.Edge(explorer.Current())
        curve = BRepAdaptor_Curve(edge)
        if not any(edge.IsSame(other) for other, _ in told):
            told.append((edge, [curve.Value(at) for at in (curve.FirstParameter(), curve.LastParameter())]))
        explorer.Next()
    return told


def solid() -> Any:
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
    from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

    low = BRepPrimAPI_MakeBox(LONG, DEEP, LOW).Shape()
    high = BRepPrimAPI_MakeBox(gp_Pnt(0, DEEP - BACK, 0), gp_Pnt(LONG, DEEP, HIGH)).Shape()
    one = ShapeUpgrade_UnifySameDomain(BRepAlgoAPI_Fuse(low, high).Shape(), True, True, True)
    one.Build()
    rounded = BRepFilletAPI_MakeFillet(one.Shape())
    (corner,) = (
        edge
        for edge, ends in edges_of(one.Shape())
        if all(abs(end.Y() - (DEEP - BACK)) + abs(end.Z() - LOW) < 1e-6 for end in ends)
    )
    rounded.Add(FILLET, corner)
    place = gp_Ax2(gp_Pnt(LONG / 2, DEEP - BACK / 2, HIGH), gp_Dir(0, 0, 1))
    return BRepAlgoAPI_Fuse(rounded.Shape(), BRepPrimAPI_MakeCylinder(place, BOSS, BOSS_HIGH).Shape()).Shape()


def written(folder: Path, unit: str, schema: str = "AP214IS", shape: Any = None) -> Path:
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    path = folder / f"step {unit} {schema}.stp"
    writer = STEPControl_Writer()  # its settings are there once it is
    assert Interface_Static.SetCVal_s("write.step.unit", unit)
    assert Interface_Static.SetCVal_s("write.step.schema", schema)
    writer.Transfer(solid() if shape is None else shape, STEPControl_StepModelType.STEPControl_AsIs)
    writer.Write(str(path))
    return path


@pytest.fixture(scope="module")
def models(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("step")
    return {unit: written(folder, unit) for unit in ("MM", "INCH")}


@pytest.mark.parametrize(("unit", "name"), [("MM", "mm"), ("INCH", "inch")])
def test_size_volume_and_unit_are_those_of_the_solid(models: dict[str, Path], unit: str, name: str) -> None:
    chord_mm = 0.002
    part = advisor.read_part(models[unit], chord_mm=chord_mm)
    record = part.record
    assert (record.unit, record.unit_assumed, record.watertight, record.bodies) == (name, False, True, 1)
    assert record.size_mm == pytest.approx((LONG, DEEP, HIGH + BOSS_HIGH), abs=1e-4)
    # facets of a hollow lie outside it, those of a boss inside: no more than their chord error over what is bent
    assert record.volume_mm3 == pytest.approx(VOLUME_MM3, abs=BENT_MM2 * chord_mm)
    assert "to within 2 um" in record.warnings[0]


@pytest.mark.parametrize(("schema", "word"), [("AP203", "CONFIG_CONTROL_DESIGN"), ("AP242DIS", "AP242")])
def test_every_application_protocol_is_read(tmp_path: Path, schema: str, word: str) -> None:
    path = written(tmp_path, "MM", schema)
    assert word in path.read_text("ascii").partition("ENDSEC")[0]
    assert advisor.read_part(path).record.volume_mm3 == pytest.approx(VOLUME_MM3, abs=BENT_MM2 * 0.001)


def off_round_mm(part: Any) -> tuple[float, int]:
    """How far edges of facets lie off boss and fillet at most, and how many facets there are on both."""
    corners = part.mesh.vertices[part.mesh.faces]
    boss = np.hypot(corners[:, :, 0] - LONG / 2, corners[:, :, 1] - (DEEP - BACK / 2))
    axis = np.array([DEEP - BACK - FILLET, LOW + FILLET])
    fillet = np.hypot(*(corners[:, :, 1:] - axis).transpose(2, 0, 1))
    on_boss = (np.abs(boss - BOSS) < 1e-4).all(axis=1) & (corners[:, :, 2].min(axis=1) > HIGH - 1e-4)
    on_boss &= np.ptp(corners[:, :, 2], axis=1) > 1.0
    on_fillet = (np.abs(fillet - FILLET) < 1e-4).all(axis=1) & (np.ptp(corners[:, :, 0], axis=1) > 1.0)
    assert on_boss.sum() > 20 and on_fillet.sum() > 10
    middles = (corners + np.roll(corners, 1, axis=1)) / 2
    in_boss = BOSS - np.hypot(middles[:, :, 0] - LONG / 2, middles[:, :, 1] - (DEEP - BACK / 2))[on_boss]
    in_fillet = FILLET - np.hypot(*(middles[:, :, 1:] - axis).transpose(2, 0, 1))[on_fillet]
    return float(max(in_boss.max(), in_fillet.max())), int(on_boss.sum() + on_fillet.sum())


def test_facets_keep_the_chord_error_asked_for(models: dict[str, Path]) -> None:
    told = {chord: off_round_mm(advisor.read_part(models["INCH"], chord_mm=chord)) for chord in (0.0005, 0.002, 0.01)}
    for chord, (off, _) in told.items():
        assert 0.1 * chord < off <= chord * 1.001
    counts = [count for _, count in told.values()]
    assert counts[0] > counts[1] > counts[2]


def test_the_cusp_asked_for_rules_the_chord_error(models: dict[str, Path]) -> None:
    for cusp, told in (("0.01 mm", "to within 2 um"), ("1 um", "to within 0.5 um"), (None, "to within 1 um")):
        plan = advisor.plan(models["MM"], cusp=cusp, ball="10 mm", only_zones=True)
        assert told in plan.record.part.warnings[0]


def test_the_plan_finds_the_fillet_and_the_boss(models: dict[str, Path]) -> None:
    job = {"zones": {"keep_together": False}}
    plan = advisor.plan(models["INCH"], job, ball="10 mm", only_zones=True)
    fillet = [
        zone for zone in plan.zones if zone.surface and zone.surface.kind == "cylinder" and zone.surface.is_hollow
    ]
    boss = [
        zone for zone in plan.zones if zone.surface and zone.surface.kind == "cylinder" and not zone.surface.is_hollow
    ]
    assert fillet and all(zone.surface.radius_mm == pytest.approx(FILLET, rel=1e-3) for zone in fillet)
    assert all(zone.concave_radius_mm == pytest.approx(FILLET, rel=0.02) for zone in fillet)
    assert boss and all(zone.surface.radius_mm == pytest.approx(BOSS, rel=1e-3) for zone in boss)


def test_the_chord_error_told_is_no_more_than_that_asked_for(tmp_path: Path) -> None:
    """Rolled edges that meet in gentle mitres: by its facets alone the block is taken for a very coarse one."""
    from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox

    box = BRepPrimAPI_MakeBox(60.0, 40.0, 20.0).Shape()
    rounded = BRepFilletAPI_MakeFillet(box)
    for edge, ends in edges_of(box):
        if all(abs(end.Z() - 20.0) < 1e-6 for end in ends):
            rounded.Add(5.0, edge)
    part = advisor.read_part(written(tmp_path, "MM", shape=rounded.Shape()))
    assert chord_error_um(part.mesh, part.smooth) > 100.0
    plan = advisor.plan(part, ball="6 mm", lays_passes=False)
    assert plan.record.part.chord_error_um <= 1.0
    assert not [words for words in plan.record.cautions if "model is coarse" in words]


def test_names_of_bodies_and_faces_come_with_a_point_to_call_them_by(models: dict[str, Path], tmp_path: Path) -> None:
    text = models["MM"].read_text("ascii")
    text = text.replace("MANIFOLD_SOLID_BREP(''", "MANIFOLD_SOLID_BREP('bracket'")
    faces = text.split("ADVANCED_FACE(''")
    named = faces[0] + "".join(f"ADVANCED_FACE('face \\X2\\00E9\\X0\\ {k}'{rest}" for k, rest in enumerate(faces[1:]))
    path = tmp_path / "named.step"
    path.write_text(named, "ascii")
    record = advisor.read_part(path).record
    assert record.body_names == ("bracket",) and len(record.named_faces) == len(faces) - 1
    assert {face.name for face in record.named_faces} == {f"face \u00e9 {k}" for k in range(len(faces) - 1)}
    round_ones = sorted(face.area_mm2 for face in record.named_faces if face.kind == "cylinder")
    bent = [math.pi / 2 * FILLET * LONG, 2 * math.pi * BOSS * BOSS_HIGH]
    assert sum(round_ones) == pytest.approx(sum(bent), rel=1e-6)
    top = next(f for f in record.named_faces if f.kind == "plane" and abs(f.point_mm[2] - HIGH - BOSS_HIGH) < 1e-3)
    plan = advisor.plan(path, {"zone": [{"at": top.point_mm, "name": top.name}]}, ball="10 mm", only_zones=True)
    (zone,) = (zone for zone in plan.zones if zone.name == top.name)
    assert zone.area_mm2 == pytest.approx(math.pi * BOSS**2, rel=2e-3)
    assert plan.record.part.named_faces == record.named_faces


def test_a_unit_given_is_that_of_bare_numbers_alone(models: dict[str, Path]) -> None:
    record = advisor.read_part(models["MM"], "inch").record
    assert record.size_mm[0] == pytest.approx(LONG) and record.unit == "mm"
    assert any("inch is that of bare numbers alone" in words for words in record.warnings)


@pytest.mark.parametrize(
    ("context", "unit"),
    [
        (b"#1=(CONVERSION_BASED_UNIT('INCH',#3)LENGTH_UNIT());#9=(GLOBAL_UNIT_ASSIGNED_CONTEXT((#2,#1)));", "inch"),
        (b"#1=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT($,.METRE.));\n#9=( GLOBAL_UNIT_ASSIGNED_CONTEXT ( (#1) ) );", "m"),
        (b"#1=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.CENTI.,.METRE.));#9=(GLOBAL_UNIT_ASSIGNED_CONTEXT((#1)));", None),
        (b"#1=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));", None),
    ],
)  # fmt: skip
def test_the_unit_is_that_of_the_context(context: bytes, unit: str | None) -> None:
    assert step.step_unit(context) == unit


def test_what_is_no_whole_step_file_ends_in_one_line(
    models: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = models["MM"].read_bytes()
    for data, fault in (
        (whole[: len(whole) // 2], "cut short"),
        (b"solid cube", "no STEP file"),
        (b"", "no STEP file"),
        (whole.replace(b"ADVANCED_FACE", b"ADVANCED_FISH"), "cannot be read as STEP"),
        (b"ISO-10303-21;\n" + bytes(range(256)) * 4 + b"END-ISO-10303-21;", "cannot be read as STEP"),
    ):
        path = tmp_path / "part.step"
        path.write_bytes(data)
        assert run_for_code(["plan", str(path), "--out", str(tmp_path / "plan")]) == 2
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 1 and lines[0].startswith(f"error: {path}") and fault in lines[0]


def test_faces_that_cannot_be_read_are_told(models: dict[str, Path], tmp_path: Path) -> None:
    path = tmp_path / "part.step"
    path.write_bytes(models["MM"].read_bytes().replace(b"FACE_BOUND(", b"FISH_BOUND(", 1))
    warnings = advisor.read_part(path).record.warnings
    assert any("faces in the file could be read" in words or "the mesh is open" in words for words in warnings)


def test_without_the_library_one_line_says_what_to_install(
    models: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(step, "find_spec", lambda name: None)
    with pytest.raises(
        InputError, match=r"pip install 'advisor-surface-finishing\[step\]', or export the part as STL"
    ) as told:
        advisor.read_part(models["MM"])
    assert len(str(told.value).splitlines()) == 1


def test_what_the_library_lacks_of_the_system_is_told_and_how_to_get_it(
    models: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "OCP").mkdir()
    lacks = "libGL.so.1: cannot open shared object file: No such file or directory"
    (tmp_path / "OCP" / "__init__.py").write_text(f"raise ImportError({lacks!r})\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(InputError) as told:
        advisor.read_part(next(iter(models.values())))
    assert f"lacks something of the system ({lacks}); install it (Debian and Ubuntu: apt install libgl1)" in str(
        told.value
    )
