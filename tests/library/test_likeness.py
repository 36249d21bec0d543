"""Likeness of parts and zones: distributions of known surfaces, copies that moved, and what is told of a library."""

import csv
import io
import math
import sqlite3
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
import solids
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from advisor.errors import InputError
from advisor.library.alike import alike_parts, shelf_of, write_alike_zones
from advisor.library.ledger import LEDGER_FILE, open_ledger, read_ledger
from advisor.library.likeness import ALIKE_SHARE, families, most_alike, rows_of, surface_marks
from advisor.library.planned_before import planned_before, read_shelf
from advisor.library.scan import FoundPart
from advisor.library.summary import Failure, PartMarks, PartSummary, ZoneMarks
from advisor.part.mesh import Mesh

QUANTILES = 16


def marks(vertices, faces):
    return surface_marks(Mesh(vertices, faces), 2048, QUANTILES)


def differ(one, other):
    return float(np.abs(one - other).max())


def test_distances_on_a_sphere_are_those_of_its_closed_form():
    radius = 20.0
    # on a sphere the share of points nearer than d to any other one is d^2 / 4 R^2 (Archimedes' caps)
    shares = (np.arange(QUANTILES) + 0.5) / QUANTILES
    apart = 2 * radius * np.sqrt(shares)
    found = marks(*solids.sphere(radius, 0.005, pattern="ico"))
    assert math.exp(found[0]) == pytest.approx(apart[-1], rel=0.002)
    assert math.exp(found[1]) == pytest.approx(math.sqrt(4 * math.pi) * radius, rel=0.002)
    assert found[2 : 2 + QUANTILES] == pytest.approx(apart / apart[-1], abs=0.004)
    assert found[2 + QUANTILES :] == pytest.approx(np.full(QUANTILES, radius / apart[-1]), abs=0.004)


BLOCK = solids.round_pocket()


@settings(max_examples=10)
@given(
    turn=st.tuples(*[st.floats(-180, 180)] * 3), shift=st.tuples(*[st.floats(-500, 500)] * 3), is_mirrored=st.booleans()
)
def test_a_copy_that_was_moved_turned_and_mirrored_is_alike(turn, shift, is_mirrored):
    vertices, faces = BLOCK
    moved = Rotation.from_euler("xyz", turn, degrees=True).apply(np.array(vertices)) + shift
    if is_mirrored:
        moved, faces = moved * [-1.0, 1.0, 1.0], faces[:, ::-1]
    assert differ(marks(vertices, faces), marks(moved, faces)) < 0.012


def test_another_meshing_is_alike_another_size_and_another_part_are_not():
    own = marks(*BLOCK)
    assert differ(own, marks(*solids.refined(*BLOCK, 2.0))) < 0.012
    for share in (0.01, 0.05, 0.25):
        assert differ(own, marks(BLOCK[0] * (1 + share), BLOCK[1])) == pytest.approx(math.log1p(share), abs=0.004)
    for other in (solids.bowl(), solids.wave(), solids.stepped_block(), solids.torus(30.0, 8.0)):
        assert differ(own, marks(*other)) > 2 * ALIKE_SHARE


def test_families_are_chains_and_what_is_alone_has_none():
    rows = rows_of([[0.50], [0.0], [0.02], [0.045], [0.9], [0.51]])
    assert families(rows).tolist() == [1, 2, 2, 2, 0, 1]
    assert families(rows_of([])).tolist() == []
    many = np.random.default_rng(2).normal([[0.0] * 5, [1.0] * 5], 0.002, (4_000, 2, 5)).astype(np.float32)
    assert families(many.reshape(-1, 5)).tolist() == [1, 2] * 4_000
    near = most_alike(rows, rows, 1, same=True)
    assert [[like.other for like in found] for found in near] == [[5], [2], [1], [2], [], [0]]
    assert list(most_alike(rows_of([[0.0]]), rows_of([]), 3)) == [[]]


def _summary(file, mark, zones):
    areas = {"flat": 1.0, "shallow": 0.0, "steep": 0.0, "undercut": 0.0}
    told = PartSummary(
        file, f"plans/{file[:-4]}", "0", (1.0, 1.0, 1.0), 1, 1, True, 1.0, 1, areas, "ball", 6.0, 1.0, ()
    )  # fmt: skip
    kept = tuple(ZoneMarks(number, f"Pocket {number}", (value,)) for number, value in zones)
    return replace(told, marks=PartMarks((mark,), kept))


LIBRARY = [
    _summary("a.stl", 1.00, [(1, 0.1), (2, 0.5)]),
    _summary("b.stl", 1.02, [(1, 0.5), (2, 0.505), (3, 0.9)]),
    Failure("bad.stl", "is bad"),
    _summary("c.stl", 3.00, [(4, 0.11)]),
]


def test_a_library_tells_parts_that_are_alike_and_zones_of_other_parts():
    shelf = shelf_of(LIBRARY)
    found = alike_parts(shelf)
    assert {file: (like.file, like.family) for file, like in found.items()} == {
        "a.stl": ("b.stl", 1), "b.stl": ("a.stl", 1)
    }  # fmt: skip
    assert found["a.stl"].difference_share == pytest.approx(0.02, abs=1e-6)
    text = io.StringIO()
    write_alike_zones(shelf, text)
    rows = list(csv.DictReader(io.StringIO(text.getvalue())))
    # zones 1 and 2 of b are nearer to one another: of its own part nothing is told
    assert [(row["file"], row["zone"], row["like_file"], row["like_zone"]) for row in rows] == [
        ("a.stl", "1", "c.stl", "4"), ("a.stl", "2", "b.stl", "1"), ("b.stl", "1", "a.stl", "2"),
        ("b.stl", "2", "a.stl", "2"), ("c.stl", "4", "a.stl", "1"),
    ]  # fmt: skip


def test_what_was_planned_before_is_of_the_part_most_alike_where_it_has_any(tmp_path):
    own = PartMarks((1.021,), (ZoneMarks(7, "Bowl", (0.502,)), ZoneMarks(8, "Land", (0.1,)), ZoneMarks(9, "", (7.0,))))
    told = planned_before(own, tmp_path, shelf_of(LIBRARY))
    assert [(part.file, part.difference_share) for part in told.parts] == [("b.stl", 0.001), ("a.stl", 0.021)]
    assert [(zone.zone, zone.file, zone.like_zone) for zone in told.zones] == [(7, "b.stl", 1), (8, "a.stl", 1)]


def test_a_library_is_read_from_its_ledger_and_what_is_none_is_named(tmp_path):
    with open_ledger(tmp_path / "out") as ledger:
        ledger.begin([FoundPart(part.file, part.file, 1) for part in LIBRARY], again=False)
        for part in LIBRARY:
            if isinstance(part, PartSummary):
                ledger.enter(part, "key")
            else:
                ledger.fail(part)
        assert list(read_ledger(tmp_path / "out")) == LIBRARY  # also while a batch holds it
    assert read_shelf(tmp_path / "out").files == ["a.stl", "b.stl", "c.stl"]
    path = tmp_path / "out" / LEDGER_FILE
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(InputError, match="another version of the program; run the batch again"):
        read_shelf(tmp_path / "out")
    path.write_bytes(b"no database, but long enough to be looked at as one" * 50)
    with pytest.raises(InputError, match="is damaged"):
        read_shelf(tmp_path / "out")
    with pytest.raises(InputError, match="holds no batch"):
        read_shelf(tmp_path)
