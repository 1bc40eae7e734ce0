"""TOML out: a plain document, one value on a line, a document in its author's own layout.

What people go on editing keeps its comments and order (tomlkit). What programs read back is
written by tomli-w: tomlkit's time grows with the square of a list's length, 9 s for a mesh of 5 000
triangles.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any, TypeGuard

import tomli_w


def write(document: Mapping[str, Any]) -> str:
    """Return TOML text that reads back to `document`; values of None are left out."""
    return tomli_w.dumps(_plain(document))


def inline(value: Any) -> str:
    """Return one value as TOML on one line."""
    import tomlkit

    array = tomlkit.array()
    array.append(_plain(value))  # tables within an array stand on one line
    return str(array[0].as_string())


def listed(document: Mapping[str, Any]) -> str:
    """Return TOML text for a reader: tables in tables stand on one line."""
    import tomlkit

    found = tomlkit.document()
    for key, value in _plain(document).items():
        table = isinstance(value, dict)
        if table or _tables(value):
            found.add(tomlkit.nl())
        found.add(key, _one_line_each(value) if table else tomlkit.item(value))
    return found.as_string()


def _one_line_each(table: dict[str, Any]) -> Any:
    import tomlkit

    found = tomlkit.table()
    for key, value in table.items():
        if isinstance(value, dict):
            line = tomlkit.inline_table()
            line.update(value)
            found.add(key, line)
        else:
            found.add(key, value)
    return found


def comment(*lines: str) -> str:
    """Return lines of comment; what would end one (a file may be called anything) is a mark."""
    return "".join(f"# {''.join(c if c.isprintable() else '?' for c in x)}\n" for x in lines)


def rewritten(source: str, document: Mapping[str, Any]) -> str:
    """Return TOML text that reads back to `document`, with the comments and layout of `source`.

    Tables and lists of tables are followed into; only what differs is written anew.
    """
    import tomlkit

    wanted = _plain(document)
    found = tomlkit.parse(source)
    _edit(found, tomllib.loads(source), wanted)
    text = found.as_string()
    return text if _reads_back(text, wanted) else write(wanted)


def _edit(there: Any, old: dict[str, Any], new: dict[str, Any]) -> None:
    """Bring a table to `new`; `old` is what it holds, as plain data."""
    for key in [k for k in old if k not in new]:
        del there[key]
    for key, value in new.items():
        before = old.get(key)
        if key in old and before == value and type(before) is type(value):
            continue
        if isinstance(before, dict) and isinstance(value, dict):
            _edit(there[key], before, value)
        elif _tables(before) and _tables(value):
            _edit_tables(there[key], before, value)
        else:
            _put(there, key, value)


def _edit_tables(there: Any, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> None:
    old = _without_those_gone(there, old, new)
    for k, value in enumerate(new):
        if k < len(old):
            _edit(there[k], old[k], value)
        else:
            there.append(value)


def _without_those_gone(
    there: Any, old: list[dict[str, Any]], new: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Take out entries that are no longer there, by name, else the last; return what is left."""
    kept, names = list(old), {v["name"] for v in new if "name" in v}
    for k in reversed(range(len(old))):
        if len(kept) > len(new) and "name" in old[k] and old[k]["name"] not in names:
            del there[k], kept[k]
    while len(kept) > len(new):
        del there[len(kept) - 1]
        kept.pop()
    return kept


def _put(there: Any, key: str, value: Any) -> None:
    """Set a key: a new one below the last, above comments that may belong to what follows; a new
    table or list of tables at the top stands apart from what is above."""
    import tomlkit

    tables = isinstance(value, dict) or _tables(value)
    if isinstance(there, tomlkit.TOMLDocument) and key not in there and tables:
        there.add(tomlkit.nl())
        there[key] = value
        return
    body = there.value.body if isinstance(there, tomlkit.items.Table) else []
    tail: list[Any] = []
    while key not in there and body and body[-1][0] is None:
        tail.insert(0, body.pop())
    there[key] = value
    body.extend(tail)


def _tables(value: Any) -> TypeGuard[list[dict[str, Any]]]:
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _plain(value: Any) -> Any:
    """Dictionaries and lists without values of None."""
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items() if inner is not None}
    return [_plain(inner) for inner in value] if isinstance(value, list | tuple) else value


def _reads_back(text: str, document: dict[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == document
    except tomllib.TOMLDecodeError:
        return False
