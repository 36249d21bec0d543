"""Files made to harm, and files gone wrong at random: each ends as a plan or in one line, and takes no more room.

``python -m tests.bench.fuzz`` tries ten thousand of each kind.
"""

from __future__ import annotations

import struct
from pathlib import Path

import mutated
import numpy as np
import pytest
import solids
from asked_for import IS_ALL
from mutants import FORMATS, good_file, packed, scene_of, unpacked, with_scene

import advisor
from advisor.errors import InputError

_MODEL = "3D/3dmodel.model"
_HEAD = '<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
_TETRAHEDRON = (
    '<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="9" y="0" z="0"/>'
    '<vertex x="0" y="9" z="0"/><vertex x="0" y="0" z="9"/></vertices><triangles><triangle v1="0" v2="2" v3="1"/>'
    '<triangle v1="0" v2="1" v3="3"/><triangle v1="1" v2="2" v3="3"/><triangle v1="0" v2="3" v3="2"/></triangles>'
    "</mesh></object>"
)


@pytest.mark.filterwarnings("ignore")  # of libraries, about files that are none
@pytest.mark.parametrize("kind", [*FORMATS, "job", "plan"])
def test_files_gone_wrong_end_as_a_plan_or_in_one_line(kind: str, tmp_path: Path) -> None:
    ends = {number: mutated.end_of(kind, number, tmp_path) for number in range(300 if IS_ALL else 30)}
    assert {number: end.words for number, end in ends.items() if end.kind == "fault"} == {}
    if kind in FORMATS:  # of settings and plans nearly every change is refused
        assert {end.kind for end in ends.values()} == {"plan", "line"}


def _packed(path: Path, model: str) -> Path:
    path.write_bytes(packed({**unpacked(good_file("3mf")), _MODEL: model}))
    return path


def test_a_small_file_that_unpacks_to_a_large_one_is_refused_unread(tmp_path: Path) -> None:
    path = _packed(tmp_path / "bomb.3mf", " " * 100_000_000)
    assert path.stat().st_size < 200_000
    with pytest.raises(InputError, match=r"unpacks to 100 MB from 0\.1 MB"):
        advisor.read_part(path)


@pytest.mark.parametrize(
    ("entities", "problem"),
    [
        ('<!ENTITY a "aaaaaaaaaa">' + "".join(
            f'<!ENTITY {chr(98 + k)} "{("&" + chr(97 + k) + ";") * 10}">' for k in range(9)
        ), "cannot be read as 3MF"),
        ("", "holds no facets"),
    ],
)  # fmt: skip
def test_words_that_stand_for_words_and_objects_in_a_circle(tmp_path: Path, entities: str, problem: str) -> None:
    if entities:
        model = f'<?xml version="1.0"?><!DOCTYPE m [{entities}]>{_HEAD}{_TETRAHEDRON}<metadata name="x">&j;</metadata>'
        model += '</resources><build><item objectid="1"/></build></model>'
    else:
        circle = "".join(
            f'<object id="{own}" type="model"><components><component objectid="{other}"/></components></object>'
            for own, other in ((2, 3), (3, 2))
        )
        model = f'{_HEAD}{_TETRAHEDRON}{circle}</resources><build><item objectid="2"/></build></model>'
    with pytest.raises(InputError, match=problem):
        advisor.read_part(_packed(tmp_path / "words.3mf", model))


@pytest.mark.parametrize("shape", ["circle", "deep"])
def test_a_scene_in_a_circle_or_a_thousand_levels_deep_is_read_or_refused(tmp_path: Path, shape: str) -> None:
    data = good_file("glb")
    scene = scene_of(data)
    first = len(scene["nodes"])
    if shape == "circle":
        scene["nodes"] += [{"children": [first + 1]}, {"children": [first]}]
        scene["scenes"][0]["nodes"].append(first)
    else:
        scene["nodes"] += [{"children": [first + k + 1]} for k in range(1000)] + [{"mesh": 0}]
        scene["scenes"][0]["nodes"] = [first]
    (tmp_path / "scene.glb").write_bytes(with_scene(data, scene))
    part = advisor.read_part(tmp_path / "scene.glb")
    assert part.record.facets == 288


@pytest.mark.parametrize("scale", [1e30, 1e-42, float("nan"), float("inf")])
def test_places_that_no_part_has_are_refused_or_told(tmp_path: Path, scale: float) -> None:
    vertices, faces = solids.wedge(30.0)
    with np.errstate(all="ignore"):
        corners = (np.asarray(vertices) * scale)[faces].astype("<f4")
        records = np.zeros(len(faces), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
        records["corners"] = corners
    (tmp_path / "odd.stl").write_bytes(bytes(80) + struct.pack("<I", len(faces)) + records.tobytes())
    if scale == 1e-42:  # numbers as small as there are: they may be anything in another unit
        part = advisor.read_part(tmp_path / "odd.stl")
        assert any("if that looks wrong" in warning for warning in part.record.warnings)
        assert len(advisor.plan(part, only_zones=True).zones) == 3
        return
    with pytest.raises(InputError):
        advisor.read_part(tmp_path / "odd.stl")


def test_a_number_of_a_million_digits_takes_no_room_in_every_row(tmp_path: Path) -> None:
    text = good_file("ascii.stl").replace(b"vertex ", b"vertex " + b"1" * 1_000_000, 1)
    (tmp_path / "long.stl").write_bytes(text)
    with pytest.raises(InputError, match="corner that is no number") as fault:
        advisor.read_part(tmp_path / "long.stl")
    assert len(str(fault.value)) < 1200


def test_more_zones_than_anyone_programs_are_refused_but_still_drawn(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr("advisor.tolerances.MOST_ZONES", 3)
    (tmp_path / "many.stl").write_bytes(solids.to_stl_bytes(*solids.round_pocket()))
    part = advisor.read_part(tmp_path / "many.stl")
    with pytest.raises(InputError, match=r"many\.stl: falls into \d+ zones, more than .* \(3\); plan its bodies"):
        advisor.plan(part)
    assert len(advisor.plan(part, only_zones=True).zones) > 3


def test_what_a_file_holds_does_not_steer_the_terminal() -> None:
    line = str(InputError("a\x1b[31m\tb.stl", "holds \x14 and \udcff,\nand é", "copy it again"))
    assert line == "a\\x1b[31m b.stl: holds \\x14 and \\udcff, and é; copy it again"
