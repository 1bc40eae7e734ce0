"""The scene's keys as fields of the page, each with the key that `--set` takes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from snapsim.errors import label
from snapsim.page.pose import with_unit
from snapsim.parts.materials import MATERIALS
from snapsim.scenario.contact import ContactDescription
from snapsim.scenario.run import RunDescription
from snapsim.scenario.shapes import SHAPE_TABLES

FACES = ["+x", "-x", "+y", "-y", "+z", "-z"]

FormField = dict[str, Any]


def scene_fields(document: Mapping[str, Any], part: str) -> list[dict[str, Any]]:
    """Return groups of fields: one a body, then contact and run; `part` moves in the 3-D view."""
    own = [m.get("name") for m in document.get("material", [])]
    groups = [
        {
            "title": body["name"],
            "fields": list(_body(body, part, own)),
            "shape": body.get("shape", {}).get("kind", ""),
        }
        for body in document.get("body", [])
    ]
    groups += [
        {"title": t["name"], "fields": list(_fastened(f"{kind}.{label(t['name'])}", t))}
        for kind in ("joint", "hand")
        for t in document.get(kind, [])
        if "name" in t
    ]
    groups.append({"title": "contact", "fields": list(_contact(document.get("contact", {})))})
    groups.append({"title": "run", "fields": list(_run(document.get("run", {})))})
    return groups


def as_typed(text: str, shown: str) -> str:
    """Return a value as typed over `shown`: a plain number keeps the unit that stood there."""
    number, _, unit = shown.partition(" ")
    try:
        float(number)
    except ValueError:
        return text
    return with_unit(text, unit).strip()


def _body(body: Mapping[str, Any], part: str, own: list[Any]) -> Iterator[FormField]:
    key = f"body.{label(body['name'])}"
    shape = body.get("shape", {})
    asked = SHAPE_TABLES[shape["kind"]].quantities() if "kind" in shape else []
    for name, value in shape.items():
        if name in asked:
            yield _field(f"{key}.shape.{name}", _words(name), value)
    yield _field(f"{key}.material", "material", body.get("material"), _like(body, own))
    if "magnetised" in body:
        yield _field(f"{key}.magnetised", "magnetised along", body["magnetised"])
    if body["name"] != part:
        yield _field(f"{key}.position", "position (centre)", body.get("position"))


def _fastened(key: str, table: Mapping[str, Any]) -> Iterator[FormField]:
    """What a joint or a hand has as plain texts and numbers."""
    for name, value in table.items():
        if name not in ("name", "kind") and isinstance(value, str | int | float):
            options = FACES if name == "face" else None
            yield _field(f"{key}.{name}", _words(name), value, options)


def _like(body: Mapping[str, Any], own: list[Any]) -> list[str]:
    """Names of materials that may take this body's place: magnets for a magnet, else the rest."""
    magnet = "magnetised" in body
    return [n for n in own if n] + [n for n, m in MATERIALS.items() if m.is_magnet == magnet]


def _contact(contact: Mapping[str, Any]) -> Iterator[FormField]:
    unset = ContactDescription()
    defaults = {"restitution": unset.restitution, "friction": unset.friction, "air_gap": "0 mm"}
    for name, default in defaults.items():
        yield _field(f"contact.{name}", _words(name), contact.get(name, default))


def _run(run: Mapping[str, Any]) -> Iterator[FormField]:
    unset = RunDescription()
    yield _field("run.duration", "follow for", run.get("duration", f"{unset.duration:g} s"))
    details = ["draft", "normal", "fine"]
    yield _field("run.detail", "cells", run.get("detail", unset.detail), details)


def _field(key: str, words: str, value: Any, options: list[str] | None = None) -> FormField:
    return {"key": key, "label": words, "value": str(value), "options": options}


def _words(name: str) -> str:
    return name.replace("_", " ")
