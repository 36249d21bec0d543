"""Keys of a job as the text of a job file, for what was decided on a screen."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

_HEAD = "# Job file of `advisor plan PART --job THIS_FILE`; all keys: `advisor job`, docs/file-formats.md."


def job_toml(keys: Mapping[str, Any], note: str = "") -> str:
    """Text of a job file with these keys: values first, then sections, then lists of sections.

    Parameters
    ----------
    keys : mapping
        As ``tomllib`` reads them.
    note : str
        A line of comment; signs that no comment may hold are left out.
    """
    lines = [_HEAD]
    if note:
        lines.append("# " + "".join(sign for sign in note if sign.isprintable()))
    _section(keys, "", lines)
    return "\n".join(lines) + "\n"


def _section(keys: Mapping[str, Any], name: str, lines: list[str]) -> None:
    nested = {key: value for key, value in keys.items() if isinstance(value, Mapping)}
    listed = {key: value for key, value in keys.items() if _is_sections(value)}
    for key, value in keys.items():
        if key not in nested and key not in listed and value is not None:
            lines.append(f"{_key(key)} = {_value(value)}")
    for key, value in nested.items():
        inner = f"{name}.{_key(key)}" if name else _key(key)
        lines += ["", f"[{inner}]"]
        _section(value, inner, lines)
    for key, value in listed.items():
        inner = f"{name}.{_key(key)}" if name else _key(key)
        for one in value:
            lines += ["", f"[[{inner}]]"]
            _section(one, inner, lines)


def _is_sections(value: Any) -> bool:
    return _is_list(value) and len(value) > 0 and all(isinstance(one, Mapping) for one in value)


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def _key(name: str) -> str:
    is_bare = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if is_bare else _text(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ("nan" if math.isnan(value) else f"{value:+}"[:4])
    if _is_list(value):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    raise TypeError(f"{type(value).__name__} has no place in a job file")


def _text(words: str) -> str:
    # JSON escapes what TOML does, but for the delete sign
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")
