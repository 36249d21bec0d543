"""The server of the page: what may be asked, and who answers. Nothing it is told becomes a path."""

from __future__ import annotations

import contextlib
import gzip
import json
import logging
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from functools import partial
from importlib.resources import files
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, Final

from anyio import CapacityLimiter, to_thread
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from advisor.advice.zone_entries import Keys
from advisor.errors import InputError
from advisor.intake.read import SUFFIXES
from advisor.intake.step import SUFFIXES as STEP_SUFFIXES
from advisor.screen.web.asked import change_of
from advisor.screen.web.guard import App, Guard
from advisor.screen.web.room import JOB_SUFFIX, Room, Upload, mode_named
from advisor.screen.web.rooms import Rooms
from advisor.screen.web.serve import LOOPBACK
from advisor.screen.web.told_words import materials

_log = logging.getLogger(__name__)

# A part model of five million facets as binary STL.
MOST_BYTES: Final = 250_000_000
_MOST_WORDS: Final = 65_536
_MOST_NAME: Final = 120
_MODEL_SUFFIXES: Final = (*SUFFIXES, *STEP_SUFFIXES)
# Heavy answers at once: more would only wait for one another.
_AT_ONCE: Final = 4
_QUICK: Final = 1
_LEAST_PACKED: Final = 2_000
_PAGE: Final = {
    "/": ("advisor.screen.web", "page/index.html", "text/html; charset=utf-8"),
    "/page.css": ("advisor.screen.web", "page/page.css", "text/css; charset=utf-8"),
    "/live.js": ("advisor.screen.web", "page/live.min.js", "text/javascript; charset=utf-8"),
    "/three-license.txt": ("advisor.pack", "report/three-license.txt", "text/plain; charset=utf-8"),
}
Handler = Callable[[Request], Awaitable[Response]]


def make_app(
    token: str, port: int, names: Iterable[str], first: Path | None = None, keys: Keys | None = None
) -> tuple[App, Rooms]:
    """The application, and its rooms, to close at the end.

    Parameters
    ----------
    token : str
        The key in the link.
    port : int
    names : names and addresses that the server may be called by
    first : Path, optional
        A part model, named on the command line, that every new page begins with.
    keys : mapping, optional
        Keys of the job to begin with.
    """
    rooms = Rooms()

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        try:
            yield
        finally:
            rooms.close_all()

    server = _Server(rooms, first, keys)
    routes = [
        *(Route(path, server.page, methods=["GET"]) for path in _PAGE),
        Route("/rooms", server.open, methods=["POST"]),
        Route("/rooms/{room}", server.close, methods=["DELETE"]),
        Route("/rooms/{room}/first", server.in_room(_first), methods=["POST"]),
        Route("/rooms/{room}/file", server.in_room(_file), methods=["POST"]),
        Route("/rooms/{room}/unit", server.in_room(_unit), methods=["POST"]),
        Route("/rooms/{room}/errand", server.in_room(_errand), methods=["GET", "POST", "DELETE"]),
        Route("/rooms/{room}/part", server.in_room(_part), methods=["GET"]),
        Route("/rooms/{room}/map", server.in_room(_map), methods=["GET"]),
        Route("/rooms/{room}/paint", server.in_room(_paint), methods=["GET"]),
        Route("/rooms/{room}/passes", server.in_room(_passes), methods=["GET"]),
        Route("/rooms/{room}/ask", server.in_room(_ask), methods=["POST"]),
        Route("/rooms/{room}/zone/{zone:int}", server.in_room(_card), methods=["GET"]),
        Route("/rooms/{room}/job.toml", server.in_room(_job), methods=["GET"]),
        Route("/rooms/{room}/plan.zip", server.in_room(_folder), methods=["GET"]),
    ]
    app = Starlette(routes=routes, lifespan=lifespan, exception_handlers={Exception: _fault})
    return Guard(app, token, port, names), rooms


InRoom = Callable[["_Server", Room, Request], Awaitable[Response]]


class _Server:
    def __init__(self, rooms: Rooms, first: Path | None, keys: Keys | None) -> None:
        self.rooms, self.first, self.keys = rooms, first, keys
        self.heavy = CapacityLimiter(_AT_ONCE)

    async def page(self, request: Request) -> Response:
        package, name, kind = _PAGE[request.url.path]
        return _packed(request, files(package).joinpath(name).read_bytes(), kind)

    async def open(self, request: Request) -> Response:
        try:
            name = self.rooms.open()
        except InputError as fault:
            return _told_fault(fault)
        return JSONResponse(
            {"room": name, "materials": materials(), "formats": [*_MODEL_SUFFIXES, JOB_SUFFIX],
             "most_bytes": MOST_BYTES, "first": self.first.name if self.first else None}
        )  # fmt: skip

    async def close(self, request: Request) -> Response:
        await to_thread.run_sync(self.rooms.close, request.path_params["room"])
        return Response(status_code=204)

    def in_room(self, work: InRoom) -> Handler:
        """A handler for what happens in a room; faults of what is asked become one line."""

        async def handle(request: Request) -> Response:
            room = self.rooms.room(request.path_params["room"])
            if room is None:
                return JSONResponse({"fault": "this work has ended; load the page again"}, 404)
            try:
                return await work(self, room, request)
            except InputError as fault:
                return _told_fault(fault)
            except ClientDisconnect:
                return Response(status_code=400)

        return handle

    async def run(self, work: Callable[..., Any], *given: Any) -> Any:
        return await to_thread.run_sync(partial(work, *given), limiter=self.heavy)


async def _first(server: _Server, room: Room, request: Request) -> Response:
    if server.first is None:
        raise InputError("page", "no part was named on the command line", "drop a part model on the page")
    room.load(Upload(server.first.name, server.first), server.keys)
    return Response(status_code=202)


async def _file(server: _Server, room: Room, request: Request) -> Response:
    """Take a file in, as the body: its name tells the kind and is shown again, no path is made of it."""
    name = _plain_name(request.query_params.get("name", ""))
    suffix = Path(name).suffix.lower()
    if suffix not in (*_MODEL_SUFFIXES, JOB_SUFFIX):
        kinds = ", ".join((*_MODEL_SUFFIXES, JOB_SUFFIX))
        raise InputError(name or "the file", "is of no kind that is read here", f"drop one of {kinds}")
    most = _MOST_WORDS if suffix == JOB_SUFFIX else MOST_BYTES
    if int(request.headers.get("content-length") or 0) > most:
        raise _too_large(name, most)
    path = room.folder / f"{secrets.token_hex(8)}{suffix}"
    held = 0
    try:
        with path.open("xb") as file:
            async for piece in request.stream():
                held += len(piece)
                if held > most:
                    raise _too_large(name, most)
                file.write(piece)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    unit = request.query_params.get("unit")
    room.load(Upload(name, path), server.keys, unit if unit in ("mm", "inch", "m") else None)
    return Response(status_code=202)


def _too_large(name: str, most: int) -> InputError:
    size = f"{most // 1_000_000} MB" if most >= 1_000_000 else f"{most // 1_000} kB"
    return InputError(name, f"is larger than {size}", "plan it with `advisor plan`, or simplify it")


def _plain_name(words: str) -> str:
    """The last part of a name, in plain letters, for showing."""
    last = PureWindowsPath(PurePosixPath(words).name).name
    kept = "".join(letter for letter in last if letter.isprintable())
    return kept if len(kept) <= _MOST_NAME else f"{Path(kept).stem[: _MOST_NAME - 10]}{Path(kept).suffix[:10]}"


async def _unit(server: _Server, room: Room, request: Request) -> Response:
    unit = (await _words(request)).get("unit")
    if unit not in ("mm", "inch", "m"):
        raise InputError("unit", "is none that is known", "use mm, inch or m")
    room.in_unit(unit)
    return Response(status_code=202)


async def _errand(server: _Server, room: Room, request: Request) -> Response:
    if request.method == "DELETE":
        room.stop()
    elif request.method == "POST":
        kind = (await _words(request)).get("kind")
        errands = {"settle": room.settle, "prove": room.prove, "folder": room.write_folder}
        if kind not in errands:
            raise InputError("page", "asks for work that is not known", "load the page again")
        errands[kind]()
    return JSONResponse(room.errand())


async def _part(server: _Server, room: Room, request: Request) -> Response:
    return _packed(request, await server.run(room.part))


async def _map(server: _Server, room: Room, request: Request) -> Response:
    return _packed(request, await server.run(room.map, mode_named(request.query_params.get("mode", ""))))


async def _paint(server: _Server, room: Room, request: Request) -> Response:
    return _packed(request, await server.run(room.paint, mode_named(request.query_params.get("mode", ""))))


async def _passes(server: _Server, room: Room, request: Request) -> Response:
    return _packed(request, await server.run(room.passes))


async def _ask(server: _Server, room: Room, request: Request) -> Response:
    asked = await _words(request)
    change, mode = change_of(asked), mode_named(str(asked.get("mode", "")))
    return _packed(request, await server.run(room.ask, change, mode))


async def _card(server: _Server, room: Room, request: Request) -> Response:
    return JSONResponse(await server.run(room.card, request.path_params["zone"]))


async def _job(server: _Server, room: Room, request: Request) -> Response:
    return Response(room.job(), media_type="application/toml", headers=_as_file(f"{room.name}-job.toml"))


async def _folder(server: _Server, room: Room, request: Request) -> Response:
    made = room.made
    if made is None:
        raise InputError("plan folder", "is not made yet", "ask for it on the page")
    return FileResponse(made, media_type="application/zip", headers=_as_file(f"{room.name}-plan.zip"))


def _as_file(name: str) -> dict[str, str]:
    plain = "".join(letter if letter.isascii() and (letter.isalnum() or letter in "-_. ") else "_" for letter in name)
    return {"content-disposition": f'attachment; filename="{plain}"'}


async def _words(request: Request) -> dict[str, Any]:
    """The JSON object that a request carries."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > _MOST_WORDS:
            raise InputError("page", "asks for too much at once", "load the page again")
    try:
        told = json.loads(body)
    except ValueError as fault:
        raise InputError("page", "asks for something that is no JSON", "load the page again") from fault
    except RecursionError as fault:
        raise InputError("page", "asks for something too deep", "load the page again") from fault
    if not isinstance(told, dict):
        raise InputError("page", "asks for something that is not understood", "load the page again")
    return told


def _packed(request: Request, body: bytes, kind: str = "application/octet-stream") -> Response:
    headers = {"vary": "accept-encoding"}
    # within a machine packing takes longer than sending
    is_far = request.client is None or request.client.host not in LOOPBACK
    if is_far and len(body) > _LEAST_PACKED and "gzip" in request.headers.get("accept-encoding", ""):
        body, headers["content-encoding"] = gzip.compress(body, _QUICK, mtime=0), "gzip"
    return Response(body, media_type=kind, headers=headers)


def _told_fault(fault: InputError) -> Response:
    return JSONResponse({"fault": str(fault)}, 422)


async def _fault(request: Request, fault: Exception) -> Response:
    _log.error("page: %s", request.url.path, exc_info=fault)
    words = f"a fault of the program ({type(fault).__name__}); please report it"
    return JSONResponse({"fault": words}, 500)
