"""Arrays and words in one answer: a length, JSON that says where each array lies, then the arrays."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray


def packed(told: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """One answer of words and arrays.

    Four bytes, little-endian, are the length of the JSON that follows, padded with spaces; its ``arrays`` has name,
    kind, start and count of each array, starts counted in bytes from the end of the JSON, at multiples of four.
    """
    places, pieces, start = [], [], 0
    for name, array in arrays.items():
        data = np.ascontiguousarray(array).tobytes()
        places.append({"name": name, "kind": array.dtype.str[1:], "start": start, "count": int(array.size)})
        pieces.append(data + b"\0" * (-len(data) % 4))
        start += len(pieces[-1])
    words = json.dumps({**told, "arrays": places}, separators=(",", ":"), allow_nan=False).encode("utf-8")
    words += b" " * (-len(words) % 4)
    return struct.pack("<I", len(words)) + words + b"".join(pieces)


def unpacked(answer: bytes) -> tuple[dict[str, Any], dict[str, NDArray[Any]]]:
    """Words and arrays of an answer."""
    (length,) = struct.unpack_from("<I", answer)
    told = json.loads(answer[4 : 4 + length])
    data = answer[4 + length :]
    arrays = {
        one["name"]: np.frombuffer(data, f"<{one['kind']}", one["count"], one["start"]) for one in told["arrays"]
    }  # fmt: skip
    return told, arrays
