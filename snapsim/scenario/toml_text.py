"""Writes the restricted TOML of a scene: text, numbers, flags, tables, lists of tables.

The standard library reads TOML and does not write it; a scene needs no more than this.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def write(document: Mapping[str, Any]) -> str:
    """Return TOML text that reads back to `document`; values of None are left out."""
    lines: list[str] = []
    _table(document, [], lines)
    return "\n".join(lines).strip() + "\n"


def inline(value: Any) -> str:
    """Return one value as TOML on one line."""
    return _inline(value)


def _table(table: Mapping[str, Any], path: list[str], lines: list[str]) -> None:
    """Plain values first, then tables, then lists of tables, as TOML wants it."""
    entries = [(k, v) for k, v in table.items() if v is not None]
    top = len(path) < 2
    for key, value in entries:
        if not (top and (isinstance(value, Mapping) or _is_tables(value))):
            lines.append(f"{_key(key)} = {_inline(value)}")
    for key, value in entries:
        if top and isinstance(value, Mapping):
            lines += ["", f"[{_dotted([*path, key])}]"]
            _table(value, [*path, key], lines)
        elif top and _is_tables(value):
            for entry in value:
                lines += ["", f"[[{_dotted([*path, key])}]]"]
                _table(entry, [*path, key, ""], lines)


def _is_tables(value: Any) -> bool:
    return isinstance(value, (list, tuple)) and bool(value) and isinstance(value[0], Mapping)


def _inline(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {_inline(v)}" for k, v in value.items() if v is not None)
        return f"{{ {inside} }}" if inside else "{}"
    return f"[{', '.join(_inline(v) for v in value)}]"


def _text(value: str) -> str:
    """A basic string: JSON's escapes are TOML's, but for DEL, which TOML wants escaped too."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(key: str) -> str:
    bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if bare else _text(key)


def _dotted(path: list[str]) -> str:
    return ".".join(_key(p) for p in path if p)
