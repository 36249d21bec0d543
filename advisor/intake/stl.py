"""STL as it is found: binary under any header, counts that lie, ASCII from many hands."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError

_HEADER_BYTES = 80
_COUNT_BYTES = 4
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_VERTEX = re.compile(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)
_SHORT = "is cut short"
_AGAIN = "export or copy it again"


def stl_corners(data: bytes, subject: str) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Corners of all facets, three a facet, in the file's unit; and what was odd about the file.

    Parameters
    ----------
    data : bytes of the file
    subject : str
        The file's name, for error lines.

    Raises
    ------
    InputError
        Where the file is empty, cut short or no STL.
    """
    if not data.strip():
        raise InputError(subject, "is empty", _AGAIN)
    if _looks_ascii(data):
        return _ascii_corners(data, subject)
    return _binary_corners(data, subject)


def _looks_ascii(data: bytes) -> bool:
    """Text throughout its head, with the words of ASCII STL: a binary header may begin with ``solid`` too."""
    head = data[:1024].lower()
    opens = head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"solid")
    # a name may hold any letters, but neither zero bytes nor the control codes of packed numbers
    return opens and not re.search(rb"[\x00-\x08\x0e-\x1f]", head)


def _binary_corners(data: bytes, subject: str) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    body = len(data) - _HEADER_BYTES - _COUNT_BYTES
    if body < 0:
        raise InputError(subject, "is no STL file (shorter than its header)", _AGAIN)
    promised = int.from_bytes(data[_HEADER_BYTES : _HEADER_BYTES + _COUNT_BYTES], "little")
    held, rest = divmod(body, _FACET.itemsize)
    if promised > held and rest:
        raise InputError(subject, f"{_SHORT} (its header promises {promised} facets, it holds {held})", _AGAIN)
    if held == 0:
        raise InputError(subject, "holds no facets", "export the part again as a mesh")
    count, notes = held, []
    if rest and promised > 0:
        count = promised
        spare = body - count * _FACET.itemsize
        notes.append(f"{spare} bytes after the last facet were left out")
    elif promised != held:
        notes.append(f"the header promises {promised} facets but the file holds {held}: those were read")
    facets = np.frombuffer(data, _FACET, count, offset=_HEADER_BYTES + _COUNT_BYTES)
    return facets["corners"].reshape(-1, 3).astype(np.float64), tuple(notes)


def _ascii_corners(data: bytes, subject: str) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    rows = _VERTEX.findall(data)
    if not rows:
        if re.search(rb"facet\s+normal", data, re.IGNORECASE):
            raise InputError(subject, _SHORT, _AGAIN)
        raise InputError(subject, "holds no facets", "export the part again as a mesh")
    try:
        corners = np.array(rows, dtype="S").astype(np.float64)
    except ValueError as fault:
        raise InputError(subject, f"has a corner that is no number ({fault})", _AGAIN) from fault
    facets = len(re.findall(rb"(?<!end)facet\s+normal", data, re.IGNORECASE))
    tail = data.rstrip()[-400:].lower()
    if len(corners) != 3 * facets or b"endsolid" not in tail:
        raise InputError(subject, f"{_SHORT} ({facets} facets are begun, the last is not ended)", _AGAIN)
    return corners, ()
