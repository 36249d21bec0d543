"""`advisor view`: pictures without a display, and one clear line where no window can be opened."""

import dataclasses
import os
import subprocess
import sys

import numpy as np
import pytest
import trimesh
from PIL import Image

import advisor
from advisor.cli.main import run_for_code
from advisor.intake.saved import read_plan_folder
from advisor.pack.folder import write_plan_folder

LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="displays by name are Linux's")


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    path = tmp_path_factory.mktemp("view") / "block.stl"
    trimesh.creation.box((40.0, 30.0, 20.0)).export(path)
    return path


@pytest.fixture(scope="module")
def folder(model):
    return write_plan_folder(
        advisor.plan(model, ball="6 mm", unit="mm", lays_passes=False), model.parent / "block-plan", pictures=False
    )


def view(*words):
    return run_for_code(["view", *(str(word) for word in words)])


def error_line(capsys):
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1
    assert lines[0].startswith("error: ")
    return lines[0]


def test_a_part_becomes_a_picture(model, tmp_path, capsys):
    target = tmp_path / "map.png"
    assert view(model, "--ball", "6 mm", "--picture", target, "--size", "800x600", "--view", "top") == 0
    with Image.open(target) as picture:
        assert (picture.size, picture.format) == ((800, 600), "PNG")
    assert [path.name for path in tmp_path.iterdir()] == ["map.png"]
    told = capsys.readouterr()
    assert (told.out, str(target) in told.err) == ("", True)


@pytest.mark.parametrize("inner", [".", "plan.json"])
def test_a_plan_folder_becomes_the_picture_of_its_part(model, folder, tmp_path, inner):
    assert view(model, "--ball", "6 mm", "--unit", "mm", "--picture", tmp_path / "part.png", "-q") == 0
    assert view(folder / inner, "--picture", tmp_path / "plan.png", "-q") == 0
    with Image.open(tmp_path / "part.png") as part, Image.open(tmp_path / "plan.png") as plan:
        assert part.tobytes() == plan.tobytes()


def test_settings_change_nothing_in_a_plan_that_is_made(folder, tmp_path, capsys):
    assert view(folder, "--flat-below", "3 deg", "--picture", tmp_path / "map.png") == 2
    assert "--flat-below" in error_line(capsys)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--picture", "map.jpg"), ".png"),
        (("--picture", "map.svg", "--hatch"), "is of no use in an SVG"),
        (("--picture", "map.svg", "--size", "800x600"), "is of no use in an SVG"),
        (("--hatch",), "add --picture"),
        (("--transparent",), "add --picture"),
        (("--picture", "missing/map.png"), "no such folder"),
        (("--picture", "map.png", "--view", "sideways"), "iso, top, under"),
        (("--picture", "map.png", "--colour", "mood"), "class, slope, strategy, zone, reach, ball"),
        (("--picture", "map.png", "--size", "wide"), "1600x1200"),
        (("--picture", "map.png", "--size", "1x1"), "400"),
    ],
)
def test_what_cannot_be_drawn_is_refused_before_the_part_is_read(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert view("nothing_here.stl", *words) == 2
    assert said in error_line(capsys)


def test_colours_by_name(model, folder, tmp_path, capsys):
    plan = read_plan_folder(folder)
    count = len(plan.facets.faces)
    reach = dataclasses.replace(plan.facets, reach=np.zeros(count, np.int8), leftover_mm=None)
    told = write_plan_folder(dataclasses.replace(plan, facets=reach), tmp_path / "told", pictures=False)
    pictures = {}
    for mode in ("class", "slope", "zone", "reach"):
        assert view(told, "--picture", tmp_path / f"{mode}.png", "--colour", mode, "-q", "--size", "800x600") == 0
        pictures[mode] = (tmp_path / f"{mode}.png").read_bytes()
    assert len(set(pictures.values())) == 4
    assert view(told, "--picture", tmp_path / "plain.png", "-q", "--size", "800x600") == 0
    assert (tmp_path / "plain.png").read_bytes() == pictures["class"]
    assert view(told, "--picture", tmp_path / "none.png", "--colour", "leftover") == 2
    assert "plan the part again without --only zones" in error_line(capsys)
    assert not (tmp_path / "none.png").exists()


def test_outlines_and_pictures_for_print(folder, tmp_path):
    assert view(folder, "--picture", tmp_path / "zones.svg", "--view", "iso", "-q") == 0
    text = (tmp_path / "zones.svg").read_text("utf-8")
    assert text.startswith("<?xml") and text.count('data-zone="') == len(read_plan_folder(folder).zones)
    assert view(folder, "--picture", tmp_path / "bare.svg", "--transparent", "-q") == 0
    assert 'fill="#ffffff"/>\n<g' not in (tmp_path / "bare.svg").read_text("utf-8")
    assert 'fill="#ffffff"/>\n<g' in text
    for option, mode in (("--hatch", "RGB"), ("--transparent", "RGBA")):
        assert view(folder, "--picture", tmp_path / "map.png", option, "-q", "--size", "800x600") == 0
        with Image.open(tmp_path / "map.png") as picture:
            assert (picture.mode, picture.size) == (mode, (800, 600))


@pytest.mark.parametrize(("name", "said"), [("nothing_here.stl", "cannot be read"), (".", "plan.json")])
def test_what_cannot_be_read_is_named(name, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert view(name, "--picture", "map.png") == 2
    assert said in error_line(capsys)
    assert not list(tmp_path.iterdir())


@LINUX
@pytest.mark.parametrize("display", [None, "unix:/nowhere"])
def test_without_a_display_one_line_tells_the_remedy(model, display):
    environment = {key: value for key, value in os.environ.items() if "DISPLAY" not in key}
    if display is not None:
        environment["DISPLAY"] = display
    child = subprocess.run(
        [sys.executable, "-m", "advisor.cli", "view", str(model)],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    lines = child.stderr.splitlines()
    assert (child.returncode, child.stdout, len(lines)) == (2, "", 1)
    assert lines[0].startswith("error: ") and "--picture" in lines[0]


def test_help_waits_for_nothing_heavy():
    words = "import sys; from advisor.cli.main import run_for_code; run_for_code(['view', '--help']); "
    words += "print([m for m in ('numpy', 'numba', 'pyvista', 'vtkmodules', 'PIL') if m in sys.modules])"
    child = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert child.stdout.splitlines()[-1] == "[]"
