"""The browser that pages are looked at in: a Chromium that is there already, nothing is fetched."""

from __future__ import annotations

import shutil
from importlib.util import find_spec
from typing import Any

import pytest

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
# Software drawing, so that it works without a graphics card, and no calls of the browser's own.
OPTIONS = [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run", "--disable-quic", "--hide-scrollbars",
]  # fmt: skip
NEEDS_CHROMIUM = [
    pytest.mark.skipif(
        find_spec("playwright") is None, reason="playwright is not installed (it is in advisor-surface-finishing[dev])"
    ),
    pytest.mark.skipif(BROWSER is None, reason="no Chromium here (Debian: apt install chromium)"),
]


def listen_to(page: Any, said: list[str]) -> None:
    """Note what a page and its scripts complain of; what the driver says of its own speed is none of theirs."""
    page.on("console", lambda message: None if "GL Driver Message" in message.text else said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
