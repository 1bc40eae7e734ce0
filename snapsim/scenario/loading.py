"""Reading a scene file: text, TOML, changes, checks, system."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from os import PathLike, fspath
from typing import Any

from pydantic import ValidationError

from snapsim.scenario.build import build
from snapsim.scenario.changes import apply_changes
from snapsim.scenario.explain import input_error
from snapsim.scenario.inlining import with_surfaces
from snapsim.scenario.names import check_names
from snapsim.scenario.resolve import resolved_text
from snapsim.scenario.scene import SceneDescription
from snapsim.scenario.text_file import read_text, toml_document
from snapsim.simulation.system import System


def load_scene(path: str | PathLike[str], changes: Sequence[str] = ()) -> System:
    """Read a scene file and return its system; `changes` are "key=value" what-ifs.

    Raises InputError with one line: file, key, what is wrong, what is allowed.
    """
    file = fspath(path)
    return scene_from_text(scene_text(file), file, changes)


def scene_from_text(
    text: str, file: str, changes: Sequence[str] = (), resolve: bool = True
) -> System:
    """Return the system of a scene given as TOML text; `file` only names it in errors.

    Unless `resolve`, the filled-in scene that a run file keeps is left empty.
    """
    document = apply_changes(_document(text, file), changes, file)
    scene = with_surfaces(describe_scene(document, file), file)
    extra = {"changes": "\n".join(changes)} if changes else {}
    system = build(scene, file)
    return replace(
        system, source=text, resolved=resolved_text(scene) if resolve else "", extra=extra
    )


def describe_scene(document: dict[str, Any], file: str) -> SceneDescription:
    """Return a TOML document as a checked description; raises InputError."""
    try:
        scene = SceneDescription.model_validate(document)
    except ValidationError as error:
        raise input_error(error, document, file) from None
    check_names(scene, file)
    return scene


def scene_text(file: str) -> str:
    """Return the text of a scene file; raises InputError."""
    return read_text(file)


@lru_cache(maxsize=4)
def _document(text: str, file: str) -> dict[str, Any]:
    return toml_document(text, file)
