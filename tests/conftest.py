"""What all tests share: number faults raise, hypothesis is repeatable, real parts skip with a reason."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browsers import BROWSER, OPTIONS
from hypothesis import HealthCheck, settings

settings.register_profile(
    "repeatable", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("repeatable")

# Files that take longest, the longest first: two workers end at about the same time where these do not come last.
LONG_FILES = (
    "zones/test_zone_truth.py", "test_documents.py", "screen/test_web_browser.py", "cli/test_batch.py",
    "cli/test_plan.py", "test_demo_parts.py", "advice/test_reach.py", "advice/test_session.py", "advice/test_tilts.py",
    "intake/test_step.py", "cli/test_compare.py", "library/test_cluster.py", "notebook/test_notebooks.py",
    "library/test_killed.py", "library/test_store.py", "zones/test_zones.py", "advice/test_leftovers.py",
    "pack/test_candidates_files.py", "test_same_answer.py", "advice/test_laying_demo.py", "pack/test_report_browser.py",
)  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """Workers have a thread each: more would only wait for one another (how many there are: test_same_answer.py)."""
    if hasattr(config, "workerinput"):
        os.environ.setdefault("NUMBA_NUM_THREADS", "1")


def pytest_sessionstart(session: pytest.Session) -> None:
    """Compile kernels once on all cores before workers begin: each would compile what it comes to for itself."""
    workers = getattr(session.config.option, "numprocesses", None) or 0
    if hasattr(session.config, "workerinput") or workers < 2:
        return
    words = [sys.executable, "-P", "-m", "advisor.kernels.ahead"]
    compilers = [subprocess.Popen([*words, str(k), str(workers)], stdin=subprocess.PIPE) for k in range(workers)]
    for compiler in compilers:
        compiler.wait()  # it ends where its input does: that is closed after it
        assert compiler.stdin is not None
        compiler.stdin.close()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, all others as they come."""
    folder = Path(__file__).resolve().parent
    order = {str(folder / name): place for place, name in enumerate(LONG_FILES)}
    items.sort(key=lambda item: order.get(str(item.path), len(order)))


@pytest.fixture(autouse=True)
def _number_faults_raise() -> Iterator[None]:
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        yield


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=BROWSER, args=OPTIONS)
        yield browser
        browser.close()


@pytest.fixture
def demo_parts() -> Path:
    return Path(__file__).resolve().parents[1] / "meshes"
