"""What pydantic found wrong, said as one line: the key as the author wrote it, what is allowed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from snapsim.errors import InputError, label, suggest
from snapsim.scenario.scene import SceneDescription


def input_error(
    error: ValidationError,
    document: Mapping[str, Any],
    file: str,
    model: type[BaseModel] = SceneDescription,
) -> InputError:
    """Return the first complaint of `error` about `document`, a `model`, as one InputError."""
    found = error.errors(include_url=False)
    first = min(found, key=_urgency)
    key, table = _key(first["loc"], document)
    return InputError(_message(first, table, model), file=file, key=key or None)


def name_in(document: Mapping[str, Any]) -> str | None:
    """Return the name of a [[table]], where it has a sound one."""
    name = document.get("name")
    return name if isinstance(name, str) and name and name.isprintable() else None


def _urgency(entry: Any) -> int:
    """Unknown keys first: a misspelt key also makes the right one missing."""
    return 0 if entry["type"] == "extra_forbidden" else 1


def _key(loc: Sequence[int | str], document: Any) -> tuple[str, Any]:
    """Return the dotted key and the value that holds its last part.

    Parts of `loc` that the file does not have are pydantic's own (the member of a union, the list
    round a single table) and left out, but for the last, which may be a missing key.
    """
    parts: list[str] = []
    holder, here = document, document
    for i, part in enumerate(loc):
        if isinstance(part, int):
            if not isinstance(here, list):
                continue
            if part >= len(here):  # an entry that is due and not there
                holder, here = here, None
                parts.append(f"[{part + 1}]")
                break
            holder, here = here, here[part]
            name = name_in(here) if isinstance(here, dict) else None
            many = len(parts) == 1 and name is not None
            parts.append(f".{label(name)}" if many and name else f"[{part + 1}]")
        elif isinstance(here, dict) and part in here:
            holder, here = here, here[part]
            parts.append(f".{label(part)}")
        elif i == len(loc) - 1 and isinstance(here, dict):
            holder, here = here, None
            parts.append(f".{part}")
    return "".join(parts).lstrip("."), holder


_MUST_BE: Final = {
    "int_type": "must be a whole number, without quotes",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number, without quotes",
    "finite_number": "must be a finite number",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "tuple_type": "must be a list, [..., ...]",
    "list_type": "must be a list, [..., ...]",
}
"""What is due, where the library's own words would not tell an author."""


def _message(entry: Any, holder: Any, model: type[BaseModel]) -> str:
    """One complaint, in words."""
    kind, context, value = entry["type"], entry.get("ctx", {}), entry.get("input")
    match kind:
        case "extra_forbidden":
            return (
                f"is not a known key{suggest(str(entry['loc'][-1]), _allowed(entry['loc'], model))}"
            )
        case "bool_type":
            return f"{_shown(value)}: must be true or false, without quotes"
        case "missing":
            return "is missing, and must be given"
        case "value_error":
            return str(context["error"])
        case "union_tag_invalid":
            allowed = [t.strip().strip("'") for t in context["expected_tags"].split(",")]
            return f'kind "{context["tag"]}" is not known{suggest(context["tag"], allowed)}'
        case "union_tag_not_found":
            return 'has no kind; write kind = "..." first'
        case "too_short":
            return f"has {context['actual_length']} entries; at least {context['min_length']} due"
        case "too_long":
            return (
                f"has {context['actual_length']} entries; at most {context['max_length']} allowed"
            )
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"{_shown(value)} is no table"
    said = _MUST_BE.get(kind) or _lower(entry["msg"]).replace("input should be", "must be")
    return f"{_shown(value)}: {said}"


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    text = f'"{value}"' if isinstance(value, str) else " ".join(repr(value).split())
    return text if len(text) <= 60 else text[:57] + "..."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _allowed(loc: Sequence[int | str], model: type[BaseModel]) -> list[str]:
    """The keys that the table at `loc[:-1]` may have, from the JSON Schema of the model."""
    schema = model.model_json_schema()
    nodes = [schema]
    for part in loc[:-1]:
        nodes = [n for node in nodes for n in _step(_members(node, schema), part)]
    names = [k for node in nodes for m in _members(node, schema) for k in m.get("properties", {})]
    return list(dict.fromkeys(names))


def _members(node: dict[str, Any], schema: dict[str, Any]) -> list[dict[str, Any]]:
    """The node itself with references followed and unions opened."""
    if "$ref" in node:
        return _members(schema["$defs"][node["$ref"].rsplit("/", 1)[1]], schema)
    for choice in ("anyOf", "oneOf", "allOf"):
        if choice in node:
            return [m for n in node[choice] for m in _members(n, schema)]
    return [node]


def _step(members: list[dict[str, Any]], part: int | str) -> list[dict[str, Any]]:
    """Go one part of a location down: into a list, a key, or the member with that kind."""
    if isinstance(part, int):
        found = [m["items"] for m in members if isinstance(m.get("items"), dict)]
        return found or members
    keyed = [m["properties"][part] for m in members if part in m.get("properties", {})]
    keyed = keyed or [
        m["additionalProperties"]
        for m in members
        if isinstance(m.get("additionalProperties"), dict)
    ]
    if keyed:
        return keyed
    return [m for m in members if m.get("properties", {}).get("kind", {}).get("const") == part]
