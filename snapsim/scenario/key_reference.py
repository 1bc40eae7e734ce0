"""Every key of a file as a table for readers, from the models that read it: what it takes, what it
is where left out, what it means."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any


def key_reference(schema: dict[str, Any], title: str) -> str:
    """Return Markdown: a heading and a table of keys for each table of a file's JSON Schema."""
    parts = [f"# {title}\n"]
    for name, table in ((None, schema), *sorted(schema.get("$defs", {}).items())):
        rows = list(_rows(table, schema))
        if not rows:
            continue
        head = _heading(name, table)
        about = " ".join(str(table.get("description", "")).split("\n\n")[0].split())
        parts.append(f"\n## {head}\n\n{about}\n" if name else "")
        parts.append("\n| key | takes | default | what it is |\n|---|---|---|---|\n")
        parts += [f"| {' | '.join(_cell(text) for text in row)} |\n" for row in rows]
    return "".join(parts)


def _heading(name: str | None, table: dict[str, Any]) -> str:
    """The kind as a file names it, or what the table is called."""
    kind = table.get("properties", {}).get("kind", {}).get("const")
    words = "".join(f" {c.lower()}" if c.isupper() else c for c in name or "").split()
    names = [w for w in words if w not in ("description", "table")]
    if kind and names[-1] in ("shape", "joint"):
        names.pop()
    return f'{" ".join(names)}: kind = "{kind}"' if kind else " ".join(names)


def _rows(table: dict[str, Any], schema: dict[str, Any]) -> Iterator[tuple[str, str, str, str]]:
    required = table.get("required", ())
    for key, field in table.get("properties", {}).items():
        if key == "kind":
            continue
        due = "required" if key in required else _default(field)
        yield f"`{key}`", _takes(field, schema), due, str(field.get("description", ""))


def _default(field: dict[str, Any]) -> str:
    value = field.get("default")
    return "" if value in (None, [], {}, ()) else f"`{json.dumps(value, ensure_ascii=False)}`"


def _takes(field: dict[str, Any], schema: dict[str, Any]) -> str:
    """What a key takes, with an example: the first of several ways that is not "nothing"."""
    if "$ref" in field:
        found = schema["$defs"][field["$ref"].rsplit("/", 1)[1]]
        return _takes(found, schema) if "properties" not in found else "a table"
    ways = [w for w in field.get("anyOf", field.get("oneOf", ())) if w.get("type") != "null"]
    if ways:
        return " or ".join(dict.fromkeys(_takes(w, schema) for w in ways))
    if "enum" in field:
        return ", ".join(f"`{json.dumps(v)}`" for v in field["enum"])
    if "examples" in field:
        return f"like `{json.dumps(field['examples'][0], ensure_ascii=False)}`"
    named = {"string": "text", "number": "a number", "integer": "a whole number"}
    named |= {"boolean": "`true` or `false`", "array": "a list", "object": "a table"}
    return named.get(str(field.get("type")), "a value")


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")
