"""`advisor web`: what cannot be served is told in one line; the link opens the page, and a signal ends the server."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request

import pytest

from advisor.cli.main import run_for_code

pytest.importorskip("uvicorn", reason="the page needs advisor-surface-finishing[web]")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("missing.stl",), "missing.stl: is no file"),
        (("--job", "missing.toml"), "missing.toml"),
        (("--unit", "cubits"), "cubits"),
        (("--host", "192.0.2.7", "--port", "0"), "cannot listen on 192.0.2.7"),
        (("--port", "70000"), "65535"),
    ],
)
def test_what_cannot_be_served_is_told_in_one_line(words, said, capsys, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run_for_code(["web", *words]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("error: ") and said in line


def test_a_port_that_is_taken_is_told(capsys) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert run_for_code(["web", "--port", str(port)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert f"port {port}" in line and "choose another --port" in line


def test_the_link_opens_the_page_and_the_server_ends_cleanly() -> None:
    words = [sys.executable, "-m", "advisor.cli", "web", "--port", "0", "--quiet"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        link = server.stdout.readline().strip()
        assert link.startswith("http://127.0.0.1:") and "?token=" in link
        carrier = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        try:
            with carrier.open(link, timeout=60) as answer:
                assert b"Steep begins at" in answer.read()
            with pytest.raises(urllib.error.HTTPError, match="403") as refused:
                urllib.request.urlopen(link.partition("?")[0], timeout=60)
            refused.value.close()
            server.send_signal(signal.SIGINT)
            out, err = server.communicate(timeout=60)
        finally:
            server.kill()
    assert (server.returncode, out, err) == (0, "", "")
