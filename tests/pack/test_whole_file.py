"""Pictures on disk: whole or not there, and refused before the work where they cannot be."""

import pytest

from advisor.errors import InputError
from advisor.pack.whole_file import check_picture_path, next_free_name, write_whole


@pytest.mark.parametrize("name", ["map.jpg", "map", "png"])
def test_only_png_names(tmp_path, name):
    with pytest.raises(InputError, match="PNG"):
        check_picture_path(tmp_path / name)


def test_a_folder_that_is_missing_and_one_in_the_way(tmp_path):
    with pytest.raises(InputError, match="no such folder"):
        check_picture_path(tmp_path / "missing" / "map.png")
    (tmp_path / "map.png").mkdir()
    with pytest.raises(InputError, match="is a folder"):
        check_picture_path(tmp_path / "map.png")


def test_capitals_are_fine(tmp_path):
    check_picture_path(tmp_path / "MAP.PNG")


def test_a_failed_drawing_leaves_the_old_picture_and_no_scraps(tmp_path):
    target = tmp_path / "map.png"
    target.write_bytes(b"old")

    def fail(desk):
        desk.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    with pytest.raises(InputError, match="No space left"):
        write_whole(target, fail)
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["map.png"]


def test_a_new_drawing_takes_the_place_of_the_old(tmp_path):
    target = tmp_path / "map.png"
    target.write_bytes(b"old")
    write_whole(target, lambda desk: desk.write_bytes(b"new"))
    assert target.read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["map.png"]


@pytest.mark.parametrize(
    ("name", "stem"), [("blade", "blade"), ("../../etc/x y", "etc-x-y"), ("", "part"), ("...", "part")]
)
def test_names_stay_in_the_folder(tmp_path, name, stem):
    assert next_free_name(tmp_path, name) == tmp_path / f"{stem}-view-1.png"


def test_no_picture_is_written_over(tmp_path):
    (tmp_path / "blade-view-1.png").touch()
    assert next_free_name(tmp_path, "blade").name == "blade-view-2.png"
