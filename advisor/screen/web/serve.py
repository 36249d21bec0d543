"""Runs the page's server until it is interrupted, and takes its folders away with it."""

from __future__ import annotations

import contextlib
import secrets
import socket
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from advisor.advice.zone_entries import Keys
from advisor.errors import InputError, needs_extra

LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
_TOKEN_BYTES: Final = 24
_NEEDED: Final = ("starlette", "uvicorn")
_GRACE_SECONDS: Final = 3


def check_can_serve() -> None:
    """Raise ``InputError`` where what serves pages is not installed."""
    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        raise needs_extra("web", " and ".join(missing), "web")


def serve(
    first: Path | None, keys: Keys | None, *, host: str = LOOPBACK[0], port: int = 0, tell: Callable[[str], None]
) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    first : Path, optional
        A part model that every new page begins with.
    keys : mapping, optional
        Keys of the job to begin with.
    host : str
        Address to listen on: this machine alone unless told otherwise.
    port : int
        0 takes a free one.
    tell : callable
        Is given the link.

    Raises
    ------
    InputError
        Where the address or the port cannot be had.
    """
    check_can_serve()
    import uvicorn

    from advisor.screen.web.app import make_app

    listener = _listener(host, port)
    port = int(listener.getsockname()[1])
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    app, rooms = make_app(token, port, _names(host), first, keys)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            ws="none",
            timeout_graceful_shutdown=_GRACE_SECONDS,
        )  # fmt: skip
    )
    shown = _names(host)[0]
    tell(f"http://{f'[{shown}]' if ':' in shown else shown}:{port}/?token={token}")
    try:
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listener])
    finally:
        rooms.close_all()
        listener.close()


def _names(host: str) -> tuple[str, ...]:
    """What the server may be called: the address it listens on, or this machine's names where it listens on all."""
    if host in LOOPBACK:
        return LOOPBACK
    if host in ("0.0.0.0", "::"):
        own = socket.gethostname()
        return tuple(dict.fromkeys((_own_address(), own, f"{own}.local", *LOOPBACK)))
    return (host, *LOOPBACK)


def _own_address() -> str:
    """The address by which other machines reach this one; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address kept free for examples (RFC 5737)
        except OSError:
            return LOOPBACK[0]
        return str(probe.getsockname()[0])


def _listener(host: str, port: int) -> socket.socket:
    listener = None
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        listener = socket.socket(family, socket.SOCK_STREAM)
        if sys.platform != "win32":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen()  # a browser that follows the link at once waits, and is not refused
    except (OSError, OverflowError) as fault:
        if listener is not None:
            listener.close()
        reason = getattr(fault, "strerror", None) or str(fault)
        raise InputError("web", f"cannot listen on {host}, port {port} ({reason})", "choose another --port") from fault
    listener.set_inheritable(False)
    return listener
