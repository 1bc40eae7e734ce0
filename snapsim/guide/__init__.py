"""The guide: chapters as Markdown beside this file, and the references made from the models."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any, Final

from snapsim.analysis.json_objects import VERSIONS
from snapsim.errors import InputError, suggest

CHAPTERS: Final = {
    "tutorial": "an evening's show in ten steps",
    "how-to": "a CAD part, your own B-H curve, a guard, two parts, filming, a rehearsal, a report",
    "python": "ten snippets, from a scene in code to a moving scene for other tools",
    "keys": "every key of a scene file: what it takes, its default, what it is",
    "keys-study": "every key of a study file",
    "keys-match": "every key of a match file",
    "json": "what --json prints, and what stays the same",
    "film": "clips, storyboards, layers and files for editors",
    "limits": "how far to trust it: what is left out, and how large errors are",
    "theory": "energy, force, contact, impact, error bars: equations with sources",
    "faq": "what people ask",
    "changelog": "what changed, what breaks",
    "cite": "how to cite",
}
"""Every chapter, and what it is about."""


def chapter(name: str) -> str:
    """Return a chapter as Markdown; raises InputError for a name that none has."""
    if name not in CHAPTERS:
        raise InputError(f'"{name}" is no chapter{suggest(name, CHAPTERS)}', key="TOPIC")
    if name.startswith("keys"):
        return _reference(name)
    return files("snapsim").joinpath(f"guide/{name}.md").read_text(encoding="utf-8")


def output_schema(what: str) -> dict[str, Any]:
    """Return the JSON Schema of the object "snapsim `what`" that a command prints.

    Raises InputError for one that none prints.
    """
    if what not in VERSIONS:
        raise InputError(f'"{what}" is no object{suggest(what, VERSIONS)}', key="--schema")
    text = files("snapsim").joinpath(f"guide/schemas/{what}.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def _reference(name: str) -> str:
    from snapsim.scenario.key_reference import key_reference

    if name == "keys-study":
        from snapsim.study.study_file import study_schema

        return key_reference(study_schema(), "Keys of a study file")
    if name == "keys-match":
        from snapsim.footage.match_file import match_schema

        return key_reference(match_schema(), "Keys of a match file")
    from snapsim.scenario.schema import scene_schema

    return key_reference(scene_schema(), "Keys of a scene file")
