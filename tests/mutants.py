"""Files that went wrong: bytes, numbers and lines of good ones changed at random, the same for the same number."""

from __future__ import annotations

import io
import json
import random
import re
import struct
import zipfile
from collections.abc import Callable, Mapping
from typing import Any

import solids
import trimesh

_NUMBER = re.compile(rb"-?\d+\.?\d*(?:[eE][-+]?\d+)?")
_ODD_NUMBERS = (
    b"nan", b"inf", b"-inf", b"0", b"-1", b"1e30", b"-1e30", b"1e-320", b"1e400", b"4294967295", b"2147483648",
    b"-2147483649", b"99999999999999999999", b"0x10", b"1.5.2", b"",
)  # fmt: skip
_ODD_FLOATS = (float("nan"), float("inf"), -float("inf"), 0.0, -0.0, 1e30, -1e30, 1e-40, 3.4e38)
_ODD_COUNTS = (0, 1, 2**31 - 1, 2**31, 2**32 - 1)
_MOST_CHANGES = 4
FORMATS = ("stl", "ascii.stl", "ply", "ascii.ply", "obj", "off", "3mf", "glb")


def good_file(kind: str) -> bytes:
    """A small part, a block with a round pocket, in a format."""
    vertices, faces = solids.round_pocket(10.0, 2.0, 6.0, chord_error_mm=0.4)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    if kind == "stl":
        return solids.to_stl_bytes(vertices, faces)
    if kind == "ascii.stl":
        return str(mesh.export(file_type="stl_ascii")).encode()
    if kind.endswith("ply"):
        return bytes(mesh.export(file_type="ply", encoding="ascii" if kind.startswith("ascii") else "binary"))
    made = mesh.export(file_type=kind)
    return made.encode() if isinstance(made, str) else bytes(made)


def mutant(kind: str, good: bytes, number: int) -> bytes:
    """The good file, changed in one to four places."""
    chance = random.Random(f"{kind} {number}")
    if kind == "3mf" and chance.random() < 0.7:
        return _changed_inside_zip(good, chance)
    if kind == "glb" and chance.random() < 0.6:
        return _changed_scene(good, chance)
    return _changed(good, chance, is_text=kind in ("ascii.stl", "ascii.ply", "obj", "off", "toml", "json"))


def _changed(data: bytes, chance: random.Random, *, is_text: bool) -> bytes:
    ways: list[Callable[[bytes, random.Random], bytes]] = [_flip, _cut, _drop, _repeat, _stray, _odd_float, _odd_count]
    if is_text:
        ways += [_odd_number, _odd_number, _odd_number, _drop_line, _swap_lines, _long_line]
    for _ in range(_changes(chance)):
        data = chance.choice(ways)(data, chance)
    return data


def _changes(chance: random.Random) -> int:
    """Mostly one: what is changed all over is seen at once."""
    return 1 if chance.random() < 0.6 else chance.randint(2, _MOST_CHANGES)


def _place(data: bytes, chance: random.Random) -> int:
    # heads are where formats break
    return chance.randrange(max(1, min(len(data), 300) if chance.random() < 0.4 else len(data)))


def _flip(data: bytes, chance: random.Random) -> bytes:
    if not data:
        return data
    told = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        told[_place(data, chance)] ^= 1 << chance.randrange(8)
    return bytes(told)


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: _place(data, chance)]


def _drop(data: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + data[at + chance.randint(1, 200) :]


def _repeat(data: bytes, chance: random.Random) -> bytes:
    at, length = _place(data, chance), chance.randint(1, 400)
    return data[:at] + data[at : at + length] * chance.randint(2, 5) + data[at + length :]


def _stray(data: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + chance.randbytes(chance.randint(1, 60)) + data[at:]


def _odd_float(data: bytes, chance: random.Random) -> bytes:
    return _written_over(data, struct.pack("<f", chance.choice(_ODD_FLOATS)), chance)


def _odd_count(data: bytes, chance: random.Random) -> bytes:
    return _written_over(data, struct.pack("<I", chance.choice(_ODD_COUNTS)), chance)


def _written_over(data: bytes, value: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance) & ~3
    return data[:at] + value + data[at + len(value) :]


def _odd_number(data: bytes, chance: random.Random) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    match = chance.choice(found[:20] if chance.random() < 0.3 else found)
    return data[: match.start()] + chance.choice(_ODD_NUMBERS) + data[match.end() :]


def _drop_line(data: bytes, chance: random.Random) -> bytes:
    lines = data.split(b"\n")
    del lines[chance.randrange(len(lines))]
    return b"\n".join(lines)


def _swap_lines(data: bytes, chance: random.Random) -> bytes:
    lines = data.split(b"\n")
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


def _long_line(data: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + chance.choice((b" ", b"1 ", b"(", b"\0", b"\xff")) * chance.choice((300, 20_000)) + data[at:]


def unpacked(data: bytes) -> dict[str, bytes]:
    """The files in a 3MF by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def packed(files: Mapping[str, bytes | str]) -> bytes:
    """A 3MF that holds files."""
    told = io.BytesIO()
    with zipfile.ZipFile(told, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return told.getvalue()


def _changed_inside_zip(data: bytes, chance: random.Random) -> bytes:
    files = unpacked(data)
    victim = chance.choice([name for name in files if name.endswith("model")] or list(files))
    if chance.random() < 0.15:
        victim = chance.choice(list(files))
    return packed({**files, victim: _changed(files[victim], chance, is_text=True)})


def scene_of(data: bytes) -> Any:
    """What a GLB says of its scene."""
    (length,) = struct.unpack_from("<I", data, 12)
    return json.loads(data[20 : 20 + length])


def with_scene(data: bytes, scene: Any) -> bytes:
    """A GLB that says something else of its scene, under lengths that are right (glTF 2.0, "GLB file format")."""
    (length,) = struct.unpack_from("<I", data, 12)
    text = json.dumps(scene).encode()
    text += b" " * (-len(text) % 4)
    rest = data[20 + length :]
    whole = struct.pack("<4sIII4s", b"glTF", 2, 20 + len(text) + len(rest), len(text), b"JSON")
    return whole + text + rest


def _changed_scene(data: bytes, chance: random.Random) -> bytes:
    scene = scene_of(data)
    for _ in range(_changes(chance)):
        _change_value(scene, chance)
    return with_scene(data, scene)


def _change_value(tree: object, chance: random.Random) -> None:
    at = tree
    while isinstance(at, dict | list) and at:
        key = chance.choice(list(at)) if isinstance(at, dict) else chance.randrange(len(at))
        if not isinstance(at[key], dict | list) or not at[key] or chance.random() < 0.15:
            odd = (None, -1, 0, 1, 7, 2**31, 2**63, 1e30, "x", [], {}, [0], {"a": 1}, True)
            if chance.random() < 0.2:
                del at[key]
            else:
                at[key] = chance.choice(odd)
            return
        at = at[key]
