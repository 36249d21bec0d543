"""Who may ask the page's server: this machine's browser, by a link with a token, on the server's own page."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

_SAFE_METHODS: Final = ("GET", "HEAD")
# The page takes nothing but its own script, style and answers; pictures are its own or drawn by it.
CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS: Final = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
    (b"cache-control", b"no-store"),
)


class Guard:
    """Answers what may not be asked, and hands on the rest with headers that bind the browser.

    Parameters
    ----------
    app : ASGI application
    token : str
        Whoever brings it in the link gets a cookie that stands for it.
    port : int
    names : names and addresses that the server may be called by
    """

    def __init__(self, app: App, token: str, port: int, names: Iterable[str]) -> None:
        self._app, self._token = app, token
        self._hosts = {f"{_bracketed(name)}:{port}" for name in names}
        # cookies know no ports: two servers on one machine must not take each other's
        self._cookie = f"advisor-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def send_bound(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *_HEADERS]
            await send(message)

        headers = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
        problem = self._problem(scope, headers)
        if problem is not None:
            await _answer(send_bound, *problem)
            return
        asked = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
        if scope["path"] == "/" and asked and self._is_token(asked):
            cookie = f"{self._cookie}={self._token}; Path=/; HttpOnly; SameSite=Lax"
            await _answer(send_bound, 303, "", ((b"location", b"/"), (b"set-cookie", cookie.encode())))
            return
        if not self._is_token(self._cookie_of(headers)):
            await _answer(send_bound, 403, "open the link that `advisor web` printed: it carries the key to this page")
            return
        await self._app(scope, receive, send_bound)

    def _problem(self, scope: Scope, headers: dict[bytes, str]) -> tuple[int, str] | None:
        if headers.get(b"host", "") not in self._hosts:
            # a name of somebody else's that leads here: a page of theirs may be asking
            return 421, "this server is not called by that name"
        origin = headers.get(b"origin")
        if origin is not None and origin.removeprefix("http://") not in self._hosts:
            return 403, "another page may not ask this server"
        is_ours = headers.get(b"sec-fetch-site", "same-origin") in ("same-origin", "none")
        # links from elsewhere lead to the page alone, which holds nothing before it is asked
        leads_here = scope["method"] in _SAFE_METHODS and scope["path"] == "/"
        return None if is_ours or leads_here else (403, "another page may not ask this server")

    def _cookie_of(self, headers: dict[bytes, str]) -> str:
        try:
            held = SimpleCookie(headers.get(b"cookie", "")).get(self._cookie)
        except CookieError:
            return ""
        return "" if held is None else held.value

    def _is_token(self, words: str) -> bool:
        return secrets.compare_digest(words.encode(), self._token.encode())


def _bracketed(name: str) -> str:
    return f"[{name}]" if ":" in name else name


async def _answer(send: Send, status: int, words: str, headers: Iterable[tuple[bytes, bytes]] = ()) -> None:
    body = words.encode()
    told = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()), *headers]
    await send({"type": "http.response.start", "status": status, "headers": told})
    await send({"type": "http.response.body", "body": body})
