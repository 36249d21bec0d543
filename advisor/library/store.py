"""Where plans of a batch lie: folders below ``--out``, or an object store that fsspec reaches."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Protocol

from advisor.errors import InputError, needs_extra
from advisor.model import PLAN_FILE

# Written first of all, so that no store of something else is taken for one of plans.
_MARK = "advisor-batch.txt"
_MARK_TEXT = b"Plans of a batch; the program that wrote them may replace all that is in here.\n"


class Store(Protocol):
    """Where files of a batch lie, by names relative to it with ``/``."""

    def has(self, names: Sequence[str]) -> bool:
        """Whether all these files are there, and hold something."""

    @contextmanager
    def desk(self) -> Iterator[Path]:
        """A folder to write files in, by their names in the store; they are in the store when this ends well."""

    @contextmanager
    def fetched(self, folder: str) -> Iterator[Path]:
        """A folder of the store to be read from."""


@dataclass(frozen=True)
class FolderStore:
    """Folders on this machine, or on a disk that it shares."""

    out: Path

    def has(self, names: Sequence[str]) -> bool:
        """See ``Store``."""
        return all(_holds_something(self.out / name) for name in names)

    @contextmanager
    def desk(self) -> Iterator[Path]:
        """See ``Store``; files are written where they stay."""
        yield self.out

    @contextmanager
    def fetched(self, folder: str) -> Iterator[Path]:
        """See ``Store``."""
        yield self.out / folder


@dataclass(frozen=True)
class ObjectStore:
    """An object store, or any other place that fsspec knows, by its address."""

    url: str

    def begin(self) -> None:
        """Make the store ready for plans.

        Raises
        ------
        InputError
            Where fsspec, or what it needs for this address, is not installed; where the store cannot be written, or
            holds something else.
        """
        with _told(self.url):
            system, root = _system(self.url)
            mark, bucket = f"{root}/{_MARK}", root.partition("/")[0]
            if bucket and not system.exists(bucket):  # nobody wants one made by a slip of the hand
                raise InputError(self.url, f"there is no {bucket}", "make it first, or check the address")
            if not system.exists(mark):
                held = system.ls(root, detail=False) if system.exists(root) else []
                if held:
                    problem = f"holds other files ({held[0].rsplit('/', 1)[-1]})"
                    raise InputError(self.url, problem, "give an empty place below it")
                system.makedirs(root, exist_ok=True)
                system.pipe_file(mark, _MARK_TEXT)

    def has(self, names: Sequence[str]) -> bool:
        """See ``Store``."""
        with _told(self.url):
            system, root = _system(self.url)
            folders = {name.rpartition("/")[0] for name in names}
            sizes = dict(pair for folder in folders for pair in _sizes(system, f"{root}/{folder}"))
            return all(sizes.get(f"{root}/{name}", 0) > 0 for name in names)

    @contextmanager
    def desk(self) -> Iterator[Path]:
        """See ``Store``."""
        with tempfile.TemporaryDirectory(prefix="advisor-", ignore_cleanup_errors=True) as name:
            desk = Path(name)
            yield desk
            self.put_files(desk, [path.relative_to(desk).as_posix() for path in desk.rglob("*") if path.is_file()])

    def put_files(self, desk: Path, files: Sequence[str]) -> None:
        """Bring files below a folder to the store; those of plan folders replace all that was in them."""
        plans = {name.rpartition("/")[0] for name in files if name.rpartition("/")[2] == PLAN_FILE}
        with _told(self.url):
            system, root = _system(self.url)
            for plan in sorted(plans):
                _clear(system, f"{root}/{plan}")
            for folder in sorted({name.rpartition("/")[0] for name in files}):
                system.makedirs(f"{root}/{folder}".rstrip("/"), exist_ok=True)
            for name in sorted(files, key=lambda name: (name.endswith(f"/{PLAN_FILE}"), name)):
                system.put_file(str(desk / name), f"{root}/{name}")

    @contextmanager
    def fetched(self, folder: str) -> Iterator[Path]:
        """See ``Store``."""
        with tempfile.TemporaryDirectory(prefix="advisor-", ignore_cleanup_errors=True) as name:
            with _told(self.url):
                system, root = _system(self.url)
                for path, _ in _sizes(system, f"{root}/{folder}"):
                    system.get_file(path, str(Path(name, path.rsplit("/", 1)[-1])))
            yield Path(name)


def _holds_something(file: Path) -> bool:
    # after a power cut files may be there and empty
    try:
        return file.stat().st_size > 0
    except OSError:
        return False


def _clear(system: Any, folder: str) -> None:
    """Take away an earlier plan, what tells that it is there first."""
    for path, _ in sorted(_sizes(system, folder), key=lambda pair: not pair[0].endswith(f"/{PLAN_FILE}")):
        system.rm_file(path)


def _sizes(system: Any, folder: str) -> list[tuple[str, int]]:
    """Files right in a folder with their bytes, as they are now."""
    system.invalidate_cache(folder)
    try:
        return [(held["name"], held["size"] or 0) for held in system.ls(folder, detail=True) if held["type"] == "file"]
    except FileNotFoundError:
        return []


@cache
def _system(url: str) -> tuple[Any, str]:
    """The file system of an address, and the way in it."""
    if find_spec("fsspec") is None:
        raise needs_extra("--store", "fsspec", "store")
    from fsspec.core import url_to_fs

    system, root = url_to_fs(url, use_listings_cache=False)
    return system, root.rstrip("/")


@contextmanager
def _told(url: str) -> Iterator[None]:
    """Faults of a store in one line: each kind has its own."""
    try:
        yield
    except InputError:
        raise
    except ImportError as fault:  # the words of fsspec name the package that this kind of store needs
        raise InputError(url, "cannot be reached", _words(fault)) from fault
    except Exception as fault:
        remedy = "check the address, the rights to it and the room in it"
        raise InputError(url, f"cannot be used ({_words(fault)})", remedy) from fault


def _words(fault: Exception) -> str:
    return " ".join(f"{type(fault).__name__}: {fault}".split())[:300]
