"""Files as they are found: formats, lying headers, damage, units."""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np
import pytest
import solids
import trimesh

from advisor.errors import InputError
from advisor.intake.read import read_part
from advisor.part.measured import looks_inside_out

MESH = solids.round_pocket(chord_error_mm=0.2)
FACETS = len(MESH[1])


def stl(path: Path, **header: object) -> Path:
    path.write_bytes(solids.to_stl_bytes(*MESH, **header))  # type: ignore[arg-type]
    return path


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as told:
        read_part(path)
    line = str(told.value)
    assert "\n" not in line
    assert line.startswith(str(path))
    assert ";" in line, "a refusal says what to do"
    return line


@pytest.mark.parametrize("header", [b"", b"solid part of our making", b"\xff" * 80, b"solid\nfacet normal"])
def test_binary_stl_under_any_header(tmp_path: Path, header: bytes) -> None:
    part = read_part(stl(tmp_path / "part.stl", header=header))
    assert part.record.facets == FACETS
    assert part.record.watertight
    assert part.record.size_mm == pytest.approx((60, 60, 25), abs=1e-5)


@pytest.mark.parametrize("count", [0, 1, FACETS - 1, FACETS + 1, 2**31, 2**32 - 1])
def test_a_count_that_lies_is_told_and_passed_over(tmp_path: Path, count: int) -> None:
    record = read_part(stl(tmp_path / "part.stl", count=count)).record
    assert record.facets == FACETS
    assert any(re.search(f"promises {count} facets?\\b", warning) for warning in record.warnings)


@pytest.mark.parametrize("count", [0, 1, FACETS - 1, FACETS + 1, 2**31])
def test_a_count_that_lies_before_stray_bytes(tmp_path: Path, count: int) -> None:
    path = stl(tmp_path / "part.stl", count=count)
    path.write_bytes(path.read_bytes() + b"\1\2\3\4")
    record = read_part(path).record
    assert record.facets == FACETS and record.watertight
    assert any("4 bytes after the last facet" in warning for warning in record.warnings)


@pytest.mark.parametrize("count", [FACETS, 2**31])
def test_an_open_mesh_that_was_promised_to_be_more_is_cut_short(tmp_path: Path, count: int) -> None:
    path = stl(tmp_path / "part.stl", count=count)
    path.write_bytes(path.read_bytes()[:-500])
    assert f"cut short (its header promises {count} facets, it holds {FACETS - 10})" in refusal(path)
    vertices, faces = MESH
    path.write_bytes(solids.to_stl_bytes(vertices, faces[:-10]))
    assert read_part(path).record.facets == FACETS - 10, "an open mesh that is all there is read"


def test_trailing_bytes_are_left_out(tmp_path: Path) -> None:
    path = stl(tmp_path / "part.stl")
    path.write_bytes(path.read_bytes() + b"end of file, yours truly")
    record = read_part(path).record
    assert record.facets == FACETS
    assert any("24 bytes after the last facet" in warning for warning in record.warnings)


@pytest.mark.parametrize("stray", [b"\0" * 150, b"written by a program that signs all its files, at some length"])
def test_trailing_bytes_as_long_as_facets_are_none(tmp_path: Path, stray: bytes) -> None:
    path = stl(tmp_path / "part.stl")
    path.write_bytes(path.read_bytes() + stray)
    record = read_part(path).record
    assert record.facets == FACETS and not record.repairs
    assert any(f"{len(stray)} bytes after the last facet" in warning for warning in record.warnings)


def test_ascii_stl_of_many_hands(tmp_path: Path) -> None:
    text = solids.to_ascii_stl(*MESH)
    for name, variant in {
        "plain": text,
        "capital": text.upper(),
        "windows": text.replace(b"\n", b"\r\n"),
        "two": text + text.replace(b"part", b"other"),
        "marked": b"\xef\xbb\xbf" + text,
    }.items():
        path = tmp_path / f"{name}.stl"
        path.write_bytes(variant)
        record = read_part(path).record
        assert record.facets == FACETS, name
        assert record.watertight, name


def test_every_cut_of_a_file_is_refused_or_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "part.stl"
    for whole in (solids.to_stl_bytes(*MESH), solids.to_ascii_stl(*MESH)):
        for length in (1, 40, 83, 84, 100, len(whole) // 2 + 7, len(whole) - 30):
            path.write_bytes(whole[:length])
            assert re.search("cut short|no facets|no STL|is empty|no number", refusal(path))


@pytest.mark.parametrize("suffix", ["ply", "obj", "off", "3mf", "glb"])
def test_other_formats_give_the_same_part(tmp_path: Path, suffix: str) -> None:
    vertices, faces = MESH
    turned = vertices
    if suffix == "glb":  # metres, +Y up
        turned = np.stack([vertices[:, 0], vertices[:, 2], -vertices[:, 1]], axis=1) / 1000
    mesh = trimesh.Trimesh(turned, faces, process=False)
    if suffix == "3mf":
        mesh.units = "millimeter"
    path = tmp_path / f"part.{suffix}"
    mesh.export(path)
    part = read_part(path)
    assert part.record.facets == FACETS
    assert part.record.unit_assumed == (suffix in ("ply", "obj", "off"))
    np.testing.assert_allclose(part.record.size_mm, [60, 60, 25], atol=2e-4)
    expected = trimesh.Trimesh(vertices, faces, process=False).volume
    assert part.record.volume_mm3 == pytest.approx(expected, rel=1e-4)
    assert (part.mesh.normal[:, 2] > 0.99).any(), "+Z stays up"


def test_units_scale_and_odd_sizes_are_told(tmp_path: Path) -> None:
    path = stl(tmp_path / "part.stl")
    assert read_part(path).record.unit_assumed
    inch = read_part(path, "inch").record
    assert not inch.unit_assumed
    assert inch.size_mm[0] == pytest.approx(60 * 25.4, rel=1e-6)
    vertices, faces = MESH
    for scale in (0.02 / 60, 40_000 / 60):
        path.write_bytes(solids.to_stl_bytes(vertices * scale, faces))
        assert any("--unit" in warning and "looks wrong" in warning for warning in read_part(path).record.warnings)


def test_a_part_of_a_few_units_may_be_in_inches_where_the_file_names_none(tmp_path: Path) -> None:
    path = tmp_path / "bracket.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.cylinder(1.5, 2.0)))
    assert any("3 mm long" in warning and "--unit inch" in warning for warning in read_part(path).record.warnings)
    for unit in ("mm", "inch"):
        assert not any("looks wrong" in warning for warning in read_part(path, unit).record.warnings)


@pytest.mark.parametrize("suffix", ["stl", "ply", "obj", "off", "3mf", "glb"])
@pytest.mark.parametrize("content", [b"", b"\n  \n", b"this is a letter, not a part", bytes(range(256)) * 8])
def test_what_is_no_mesh_is_refused(tmp_path: Path, suffix: str, content: bytes) -> None:
    path = tmp_path / f"odd name {suffix}.{suffix}"
    path.write_bytes(content)
    refusal(path)


def test_bad_coordinates_and_places_are_refused(tmp_path: Path) -> None:
    vertices, faces = MESH
    path = tmp_path / "part.stl"
    for bad in (np.nan, np.inf, 1e30):
        spoiled = vertices.copy()
        spoiled[5, 0] = bad
        with np.errstate(all="ignore"):  # the writer works out normals
            path.write_bytes(solids.to_stl_bytes(spoiled, faces))
        refusal(path)
    path.write_bytes(solids.to_stl_bytes(vertices * 0, faces))
    assert "area" in refusal(path)
    refusal(tmp_path / "missing.stl")
    refusal(tmp_path)
    for name in ("part.step", "part.docx", "part"):
        (tmp_path / name).write_bytes(b"x")
        refusal(tmp_path / name)


def test_what_is_no_model_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def unread(path: Path) -> bytes:
        raise AssertionError(f"{path} was read")

    (tmp_path / "part.bin").write_bytes(b"x")
    monkeypatch.setattr(Path, "read_bytes", unread)
    assert "no format" in refusal(tmp_path / "part.bin")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "part.stl")
        assert "pipe" in refusal(tmp_path / "part.stl")
    if Path("/dev/zero").exists():
        assert "device" in refusal(Path("/dev/zero"))


def test_a_sheet_wound_downward_looks_inside_out(tmp_path: Path) -> None:
    vertices, faces = MESH
    up = (
        np.cross(vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]])[:, 2] > 0
    )
    path = tmp_path / "sheet.stl"
    axis = (0.0, 0.0, 1.0)
    for sheet, wrong in ((faces[up], False), (faces[up][:, ::-1], True), (faces, False)):
        path.write_bytes(solids.to_stl_bytes(vertices, sheet))
        assert looks_inside_out(read_part(path).mesh, axis) is wrong
    path.write_bytes(solids.to_stl_bytes(vertices, faces[up]))
    assert looks_inside_out(read_part(path).mesh, (0.0, 0.0, -1.0)), "seen from below it shows its back"


def test_obj_with_corners_that_do_not_exist(tmp_path: Path) -> None:
    path = tmp_path / "part.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n")
    refusal(path)
