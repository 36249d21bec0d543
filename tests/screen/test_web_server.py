"""The page's server: who may ask, what it refuses, that people do not meet, that nothing asked becomes a path."""

from __future__ import annotations

import struct
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import trimesh
from asked_for import few_of

pytest.importorskip("starlette", reason="the page needs advisor-surface-finishing[web]")

from starlette.testclient import TestClient

from advisor.advice.progress import Progress
from advisor.screen.web import app as web_app
from advisor.screen.web import room as web_room
from advisor.screen.web.app import make_app
from advisor.screen.web.packed import unpacked
from advisor.screen.web.serve import LOOPBACK

TOKEN, PORT = "the-key-in-the-link", 8417
HERE = f"http://127.0.0.1:{PORT}"
LONGEST_SECONDS = 120.0


@pytest.fixture
def served():
    app, rooms = make_app(TOKEN, PORT, LOOPBACK)
    yield app, rooms
    rooms.close_all()


@pytest.fixture
def client(served):
    # one loop for all requests, as the server has it
    with TestClient(served[0], base_url=HERE, raise_server_exceptions=False) as client:
        assert client.get("/", params={"token": TOKEN}, follow_redirects=True).status_code == 200
        yield client


def ball(radius_mm: float, subdivisions: int = 3) -> bytes:
    return trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius_mm).export(file_type="stl")


def opened(client: TestClient) -> str:
    return client.post("/rooms").json()["room"]


def ended(client: TestClient, room: str) -> dict:
    begun = time.monotonic()
    while time.monotonic() - begun < LONGEST_SECONDS:
        told = client.get(f"/rooms/{room}/errand").json()
        if told["state"] != "running":
            return told
        time.sleep(0.02)
    raise AssertionError("the errand does not end")


def loaded(client: TestClient, data: bytes, name: str = "ball.stl") -> str:
    room = opened(client)
    assert client.post(f"/rooms/{room}/file", params={"name": name}, content=data).status_code == 202
    assert ended(client, room)["state"] == "done"
    return room


def words_of(client: TestClient, room: str) -> dict:
    return unpacked(client.get(f"/rooms/{room}/map").content)[0]


# -- who may ask


def test_the_key_is_asked_for_everything(served) -> None:
    stranger = TestClient(served[0], base_url=HERE)
    for method, path in (("GET", "/"), ("GET", "/live.js"), ("POST", "/rooms"), ("GET", "/rooms/x/map")):
        assert stranger.request(method, path).status_code == 403
    assert stranger.get("/", params={"token": "guessed"}).status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": "evil.example"}, 421),
        ({"host": f"evil.example:{PORT}"}, 421),
        ({"host": "127.0.0.1"}, 421),
        ({"host": f"127.0.0.1:{PORT + 1}"}, 421),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": f"https://127.0.0.1:{PORT}"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
    ],
)
def test_other_names_and_other_pages_are_refused(client, headers, status) -> None:
    assert client.post("/rooms", headers=headers).status_code == status
    assert client.post("/rooms", headers={"origin": f"http://localhost:{PORT}"}).status_code == 200


def test_answers_bind_the_browser(client) -> None:
    for path in ("/", "/page.css", "/live.js", "/rooms/none/map"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff" and headers["cache-control"] == "no-store"
    page = client.get("/").text
    assert (
        "://" not in page.replace("http://www.w3.org/2000/svg", "")
        and " style=" not in page
        and " on" not in [word[:3] for word in page.split('"')]
    )


# -- what comes in


def test_names_never_become_paths(client, served) -> None:
    room = opened(client)
    folder = served[1].room(room).folder
    for name in (
        "../../escaped.stl",
        "/etc/escaped.stl",
        "C:\\temp\\escaped.stl",
        "a\x00b.stl",
        "x" * 4000 + ".stl",
        ".stl",
    ):
        client.post(f"/rooms/{room}/file", params={"name": name}, content=ball(5.0, 1))
        ended(client, room)
        assert all(path.parent == folder and len(path.stem) == 16 for path in folder.iterdir())
    assert words_of(client, room)["part"]["name"]
    for path in ("/rooms/../../etc/passwd", f"/rooms/{room}/..%2f..%2fetc%2fpasswd", "/page/../app.py", "/app.py"):
        assert client.get(path).status_code in (404, 405)


def test_kinds_and_sizes_are_limited(client, monkeypatch) -> None:
    room = opened(client)
    for name in ("part.exe", "part.zip", "part", "part.stl.html", ""):
        answer = client.post(f"/rooms/{room}/file", params={"name": name}, content=b"x")
        assert answer.status_code == 422 and "no kind" in answer.json()["fault"]
    monkeypatch.setattr(web_app, "MOST_BYTES", 1000)
    answer = client.post(f"/rooms/{room}/file", params={"name": "a.stl"}, content=b"x" * 1001)
    assert answer.status_code == 422 and "larger than" in answer.json()["fault"]

    def pieces():
        for _ in range(11):
            yield b"x" * 100

    # without a length told beforehand
    answer = client.post(f"/rooms/{room}/file", params={"name": "a.stl"}, content=pieces())
    assert answer.status_code == 422
    answer = client.post(f"/rooms/{room}/file", params={"name": "job.toml"}, content=b"#" * 70_000)
    assert answer.status_code == 422
    assert client.post(f"/rooms/{room}/ask", content=b"[" * 70_000).status_code == 422


def test_a_packed_model_that_would_fill_the_memory_is_not_unpacked(client, monkeypatch) -> None:
    room = opened(client)
    data = trimesh.creation.icosphere(subdivisions=3, radius=10.0).export(file_type="3mf")
    monkeypatch.setattr(web_room, "_MOST_UNPACKED_BYTES", 20_000)
    client.post(f"/rooms/{room}/file", params={"name": "packed.3mf"}, content=data)
    told = ended(client, room)
    assert told["state"] == "failed" and told["fault"].startswith("packed.3mf: holds more")


def malformed(random: np.random.Generator, number: int) -> tuple[str, bytes]:
    """Damaged models of every kind: cut short, shaken, lying about their count, nothing at all, other files."""
    mesh = trimesh.creation.icosphere(subdivisions=1, radius=10.0)
    suffix = ("stl", "ply", "obj", "off", "3mf", "glb", "step", "toml")[number % 8]
    if suffix in ("step", "toml"):
        data = b"ISO-10303-21;\nHEADER;\nDATA;\n#1=X(" if suffix == "step" else b"unit = \n[[["
    else:
        told = mesh.export(file_type=suffix)
        data = told.encode() if isinstance(told, str) else bytes(told)
    way = number // 8 % 5
    if way == 0:
        data = data[: int(random.integers(0, max(len(data) - 60, 1)))]
    elif way == 1:
        shaken = np.frombuffer(data, np.uint8).copy()
        shaken[random.integers(0, len(shaken), len(shaken) // 10 + 1)] = 0xFF
        data = shaken.tobytes()
    elif way == 2:
        data = random.bytes(int(random.integers(1, 3000)))
    elif way == 3:
        data = b"\0" * 80 + struct.pack("<I", 2**32 - 1) + data[84:]
    else:
        data = b""
    return f"damaged {number}.{suffix}", data


def test_malformed_uploads_leave_the_page_alive(client) -> None:
    random = np.random.default_rng(7)
    room = loaded(client, ball(10.0))
    before = words_of(client, room)["zones"]
    # eight kinds, each damaged in five ways, are forty
    refused, count = 0, few_of(40, 100)
    for number in range(count):
        name, data = malformed(random, number)
        answer = client.post(f"/rooms/{room}/file", params={"name": name}, content=data)
        assert answer.status_code == 202
        told = ended(client, room)
        if told["state"] == "failed":
            refused += 1
            assert told["fault"].startswith(name) or "damaged" in told["fault"], told
            assert "fault of the program" not in told["fault"], (name, told)
            assert "advisor-room" not in told["fault"]
        else:
            # what could be read after all is a part like any other: the first one again
            client.post(f"/rooms/{room}/file", params={"name": "ball.stl"}, content=ball(10.0))
            assert ended(client, room)["state"] == "done"
    assert refused > 0.8 * count
    assert words_of(client, room)["zones"] == before


# -- faults and people


def test_a_crash_of_one_piece_of_work_leaves_all_else_alive(client, monkeypatch) -> None:
    room, other = loaded(client, ball(10.0)), loaded(client, ball(20.0))

    def crash(self: object, progress: Progress, **_: object) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as broken:
        broken.setattr(web_room.Room, "_settle", crash)
        client.post(f"/rooms/{room}/errand", json={"kind": "settle"})
        told = ended(client, room)
        assert told["state"] == "failed" and "ZeroDivisionError" in told["fault"]
    with monkeypatch.context() as broken:
        broken.setattr(web_room, "colour_map", crash)
        assert client.get(f"/rooms/{room}/map").status_code == 500
    assert words_of(client, room)["part"]["words"].startswith("20 x 20")
    assert words_of(client, other)["part"]["words"].startswith("40 x 40")
    client.post(f"/rooms/{room}/errand", json={"kind": "settle"})
    assert ended(client, room)["state"] == "done"
    assert words_of(client, room)["settled"]


def test_a_proof_whose_process_dies_is_told_and_one_that_is_stopped_ends_at_once(client, monkeypatch, tmp_path) -> None:
    room = loaded(client, ball(20.0))
    (tmp_path / "dies_at_once.py").write_text("import os\nos.abort()\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with monkeypatch.context() as broken:
        broken.setattr("advisor.screen.web.proof.proof_child.__name__", "dies_at_once")
        client.post(f"/rooms/{room}/errand", json={"kind": "prove"})
        told = ended(client, room)
    assert told["state"] == "failed" and "has died" in told["fault"]
    client.post(f"/rooms/{room}/errand", json={"kind": "prove"})
    begun = time.monotonic()
    client.request("DELETE", f"/rooms/{room}/errand")
    assert ended(client, room)["state"] == "stopped"
    assert time.monotonic() - begun < 10.0
    assert not words_of(client, room)["proved"]


def test_many_people_at_once_neither_lose_nor_mix_anything(client) -> None:
    """Every one has a ball of an own size and asks for own thresholds, all at the same time."""

    def work(number: int) -> tuple[str, list[float]]:
        room = loaded(client, ball(10.0 + number, 2), f"ball {number}.stl")
        asked = []
        for step in range(4):
            degrees = 20.0 + number + 0.5 * step
            answer = client.post(
                f"/rooms/{room}/ask", json={"do": "set", "options": {"zones.steep_from": f"{degrees} deg"}}
            )
            told, _ = unpacked(answer.content)
            asked.append(told["asked"]["steep_from"])
            assert told["part"]["name"] == f"ball {number}"
            assert told["part"]["words"].startswith(f"{20 + 2 * number} x ")
        return room, asked

    count = few_of(8, 20)
    with ThreadPoolExecutor(count) as people:
        done = list(people.map(work, range(count)))
    assert len({room for room, _ in done}) == count
    for number, (room, asked) in enumerate(done):
        assert asked == [20.0 + number + 0.5 * step for step in range(4)]
        told = words_of(client, room)
        assert told["asked"]["steep_from"] == 21.5 + number and told["part"]["name"] == f"ball {number}"
        for _ in range(4):
            client.post(f"/rooms/{room}/ask", json={"do": "undo"})
        assert words_of(client, room)["asked"]["steep_open"]


def test_folders_go_with_their_rooms(served, client) -> None:
    rooms = served[1]
    names = [loaded(client, ball(10.0, 1)) for _ in range(2)]
    folders = [rooms.room(name).folder for name in names]
    assert all(folder.stat().st_mode & 0o077 == 0 for folder in folders)
    assert client.delete(f"/rooms/{names[0]}").status_code == 204
    assert not folders[0].exists() and folders[1].exists()
    assert client.get(f"/rooms/{names[0]}/map").status_code == 404
    rooms.close_all()
    assert not folders[1].exists()


def test_a_part_of_the_command_line_is_read_and_left_where_it_is(tmp_path) -> None:
    path = tmp_path / "named.stl"
    path.write_bytes(ball(10.0))
    app, rooms = make_app(TOKEN, PORT, LOOPBACK, path, {"unit": "mm"})
    with TestClient(app, base_url=HERE) as client:
        client.get("/", params={"token": TOKEN})
        room = opened(client)
        client.post(f"/rooms/{room}/first")
        assert ended(client, room)["state"] == "done" and words_of(client, room)["part"]["name"] == "named"
        client.post(f"/rooms/{room}/file", params={"name": "other.stl"}, content=ball(12.0))
        assert ended(client, room)["state"] == "done" and words_of(client, room)["part"]["name"] == "other"
    assert rooms.room(room) is None
    assert path.exists()


@pytest.mark.parametrize(
    "asked",
    [
        {}, {"do": "format"}, {"do": "set", "options": {"zone": []}}, {"do": "set", "options": {"title.part": "x"}},
        {"do": "set", "options": {"ball": {"a": 1}}}, {"do": "lock", "zone": "1"}, {"do": "join", "zones": [True]},
        {"do": "rename", "zone": 1, "value": 3}, {"do": "set", "options": {"ball": "x" * 900}}, {"do": "forget"},
        {"do": "set", "options": {"zones.steep_from": "2 deg"}}, {"do": "exclude", "zone": 99},
        {"do": "join", "zones": [1, 2, 3]},
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_and_changes_nothing(client, asked) -> None:
    room = loaded(client, ball(10.0))
    before = client.get(f"/rooms/{room}/job.toml").text
    told = words_of(client, room)
    answer = client.post(f"/rooms/{room}/ask", json=asked)
    assert answer.status_code == 422 and answer.json()["fault"]
    assert client.get(f"/rooms/{room}/job.toml").text == before
    assert words_of(client, room)["zones"] == told["zones"]


def test_pieces_and_whole_facets_make_up_the_plan(client, served) -> None:
    """Area of every zone as the page has it, whole facets and pieces together, is that of the plan."""
    room = loaded(client, ball(20.0, 4))
    part, arrays = unpacked(client.get(f"/rooms/{room}/part").content)
    told, drawn = unpacked(client.get(f"/rooms/{room}/map?mode=zone").content)
    corners = arrays["corners"].reshape(-1, 3)[arrays["faces"].reshape(-1, 3)].astype(float)
    pieces = drawn["piece-corners"].reshape(-1, 3, 3).astype(float)

    def areas(triangles: np.ndarray) -> np.ndarray:
        return 0.5 * np.linalg.norm(
            np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
        )

    hidden = drawn["zone"] == -32768
    assert hidden.any() and len(pieces) > hidden.sum()
    assert areas(corners[hidden]).sum() == pytest.approx(areas(pieces).sum(), rel=1e-5)
    plan = served[1].room(room)._answer.plan
    for zone in plan.zones:
        area = areas(corners[drawn["zone"] == zone.id]).sum() + areas(pieces[drawn["piece-zone"] == zone.id]).sum()
        assert area == pytest.approx(zone.area_mm2, rel=1e-5)
    assert told["map"]["mode"] == "zone" and part["facets"] == len(hidden)
