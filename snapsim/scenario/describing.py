"""From a scene's TOML document to its system: changes, checks, models."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from snapsim.scenario.build import build
from snapsim.scenario.changes import apply_changes
from snapsim.scenario.explain import input_error
from snapsim.scenario.inlining import with_surfaces
from snapsim.scenario.names import check_names
from snapsim.scenario.resolve import resolved_text
from snapsim.scenario.scene import SceneDescription
from snapsim.simulation.system import System


def system_of(document: dict[str, Any], file: str, changes: Sequence[str], resolve: bool) -> System:
    """Return the system of a scene's document, its `source` left empty; raises InputError."""
    changed = apply_changes(document, changes, file)
    scene = with_surfaces(_described(changed, file), file)
    extra = {"changes": "\n".join(changes)} if changes else {}
    system = build(scene, file)
    return replace(system, resolved=resolved_text(scene) if resolve else "", extra=extra)


def _described(document: dict[str, Any], file: str) -> SceneDescription:
    try:
        scene = SceneDescription.model_validate(document)
    except ValidationError as error:
        raise input_error(error, document, file) from None
    check_names(scene, file)
    return scene
