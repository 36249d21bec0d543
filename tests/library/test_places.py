"""Folder names of plans: safe on any system, one a part, for ever."""

import unicodedata
from pathlib import PurePosixPath

from hypothesis import given
from hypothesis import strategies as st

from advisor.library.places import assign_folders, safe_name, sweep_desks

# few letters, so that names meet often; the odd ones are what file systems stumble over
_NAMES = st.text(st.sampled_from("aAé\u0301.: \n\u202e"), min_size=1, max_size=4).filter(lambda name: name.strip("."))
_FILES = st.lists(
    st.builds(
        lambda above, stem, suffix: "/".join([*above, stem + suffix]),
        st.lists(_NAMES, max_size=2),
        _NAMES,
        st.sampled_from([".stl", ".STL", ".ply"]),
    ),
    unique=True,
    max_size=12,
)


def _steps(folder):
    folded = unicodedata.normalize("NFC", folder.casefold())
    return [folded, *(str(above) for above in PurePosixPath(folded).parents if above.name)]


@given(_FILES, _FILES)
def test_no_plan_folder_is_another_one_or_lies_within_it(before, after):
    kept = assign_folders(before, {})
    places = assign_folders(after, kept)
    assert set(places) == set(after)
    assert all(places[file] == kept[file] for file in after if file in kept)
    folders = list({**kept, **places}.values())
    own = [_steps(folder)[0] for folder in folders]
    assert len(set(own)) == len(folders)
    assert set(own).isdisjoint(step for folder in folders for step in _steps(folder)[1:])
    for name in (name for folder in folders for name in folder.split("/")):
        assert name == name.strip(" .") and name
        assert not any(letter in '<>:"\\|?*' or ord(letter) < 32 or letter == "\u202e" for letter in name)


def test_names_people_know():
    files = ["a.ply", "a.stl", "con.stl", "sub/b.stl", "sub.stl"]
    assert assign_folders(files, {}) == {
        "a.ply": "a", "a.stl": "a-stl", "con.stl": "_con", "sub/b.stl": "sub/b", "sub.stl": "sub-stl",
    }  # fmt: skip
    assert assign_folders(["sub/b.stl"], {"sub.stl": "sub"}) == {"sub/b.stl": "sub_/b"}
    assert safe_name("x" * 500) == "x" * 120
    assert safe_name("\N{GREEK SMALL LETTER PI}" * 500).encode() == b"\xcf\x80" * 60
    assert safe_name("...") == "part"


def test_what_killed_processes_left_is_swept_and_nothing_else(tmp_path):
    for name in (".a-ab12_xyz.part", "sub/.b-00000000.old/plan", "sub/b", ".a.part", "a-ab12_xyz.part"):
        (tmp_path / name).mkdir(parents=True)
    sweep_desks(tmp_path)
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*")) == [
        ".a.part", "a-ab12_xyz.part", "sub", "sub/b",
    ]  # fmt: skip
