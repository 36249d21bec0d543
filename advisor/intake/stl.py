"""STL as it is found: binary under any header, counts that lie, ASCII from many hands."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError
from advisor.words import counted

_HEADER_BYTES = 80
_COUNT_BYTES = 4
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_VERTEX = re.compile(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)
# No number is longer: all rows of an array would get the room of the longest one.
_MOST_DIGITS = 64
_SHORT = "is cut short"
_AGAIN = "export or copy it again"
# A stored normal, of whatever length, lies along the facet's own this closely (as a cosine), or it is no normal.
_ALONG = 0.9
# Enough records to tell facets from other bytes.
_SAMPLE = 4096


@dataclass(frozen=True)
class StlCorners:
    """What an STL holds, in its own unit.

    Attributes
    ----------
    corners : (3 m, 3) float array
        Corners of all facets, three a facet.
    notes : what was odd about the file
    promised_more : int or None
        The header's count where it is above the facets held: the file is cut short, or its header lies. Only the
        mended mesh tells which.
    """

    corners: NDArray[np.float64]
    notes: tuple[str, ...] = ()
    promised_more: int | None = None


def stl_corners(data: bytes, subject: str) -> StlCorners:
    """Corners of all facets of an STL.

    Parameters
    ----------
    data : bytes of the file
    subject : str
        The file's name, for error lines.

    Raises
    ------
    InputError
        Where the file is empty, cut short in its text, or no STL.
    """
    if not data.strip():
        raise InputError(subject, "is empty", _AGAIN)
    if _looks_ascii(data):
        return _ascii_corners(data, subject)
    return _binary_corners(data, subject)


def cut_short(subject: str, promised: int, held: int) -> InputError:
    """The fault of a binary file that ends before its facets do."""
    return InputError(subject, f"{_SHORT} (its header promises {counted(promised, 'facet')}, it holds {held})", _AGAIN)


def _looks_ascii(data: bytes) -> bool:
    """Text throughout its head, with the words of ASCII STL: a binary header may begin with ``solid`` too."""
    head = data[:1024].lower()
    opens = head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"solid")
    # a name may hold any letters, but neither zero bytes nor the control codes of packed numbers
    return opens and not re.search(rb"[\x00-\x08\x0e-\x1f]", head)


def _binary_corners(data: bytes, subject: str) -> StlCorners:
    start = _HEADER_BYTES + _COUNT_BYTES
    body = len(data) - start
    if body < 0:
        raise InputError(subject, "is no STL file (shorter than its header)", _AGAIN)
    promised = int.from_bytes(data[_HEADER_BYTES:start], "little")
    held = body // _FACET.itemsize
    if held == 0 and promised > 0:
        raise cut_short(subject, promised, held)
    if held == 0:
        raise InputError(subject, "holds no facets", "export the part again as a mesh")
    facets = np.frombuffer(data, _FACET, held, offset=start)
    if 0 < promised < held and not _are_facets(facets[promised:]):
        facets = facets[:promised]
    notes = []
    if promised != len(facets):
        notes.append(
            f"the header promises {counted(promised, 'facet')} but the file holds {len(facets)}: all held were read"
        )
    spare = body - len(facets) * _FACET.itemsize
    if spare:
        notes.append(f"{counted(spare, 'byte')} after the last facet left out")
    with np.errstate(invalid="ignore"):  # what is not a number is refused later, with a count
        corners = facets["corners"].reshape(-1, 3).astype(np.float64)
    return StlCorners(corners, tuple(notes), promised if promised > held else None)


def _are_facets(records: NDArray[np.void]) -> bool:
    """Whether what follows the promised facets is mostly facets too, not text or padding of the same length."""
    records = records[:_SAMPLE]
    finite = np.isfinite(records["corners"]).all(axis=(1, 2)) & np.isfinite(records["normal"]).all(axis=1)
    normal = records["normal"][finite].astype(np.float64)
    a, b, c = records["corners"][finite].astype(np.float64).transpose(1, 0, 2)
    across = np.cross(b - a, c - a)
    size, length = np.linalg.norm(across, axis=1), np.linalg.norm(normal, axis=1)
    # a normal that was left out is stored as zero, and passes
    along = np.abs(np.einsum("ij,ij->i", across, normal)) >= _ALONG * size * length
    return int(np.count_nonzero((size > 0) & along)) * 2 > len(records)


def _ascii_corners(data: bytes, subject: str) -> StlCorners:
    rows = _VERTEX.findall(data)
    if not rows:
        if re.search(rb"facet\s+normal", data, re.IGNORECASE):
            raise InputError(subject, _SHORT, _AGAIN)
        raise InputError(subject, "holds no facets", "export the part again as a mesh")
    longest = max(chain.from_iterable(rows), key=len)
    if len(longest) > _MOST_DIGITS:
        raise InputError(subject, f"has a corner that is no number ({longest[:20]!r}...)", _AGAIN)
    try:
        corners = np.array(rows, dtype="S").astype(np.float64)
    except ValueError as fault:
        raise InputError(subject, f"has a corner that is no number ({fault})", _AGAIN) from fault
    begun = len(re.findall(rb"(?<!end)facet\s+normal", data, re.IGNORECASE))
    tail = data.rstrip()[-400:].lower()
    if len(corners) != 3 * begun or b"endsolid" not in tail:
        raise InputError(subject, f"{_SHORT} (it begins {counted(begun, 'facet')}, the last is not ended)", _AGAIN)
    return StlCorners(corners)
