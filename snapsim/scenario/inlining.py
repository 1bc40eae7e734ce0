"""Puts what mesh files hold into the description, so that nothing later depends on the files."""

from __future__ import annotations

from pathlib import Path

from snapsim.errors import label
from snapsim.scenario.scene import SceneDescription


def with_surfaces(scene: SceneDescription, file: str) -> SceneDescription:
    """Return the scene with every mesh file read; raises InputError."""
    folder = Path(file).parent
    bodies = tuple(
        b.model_copy(update={"shape": b.shape.inlined(folder, file, f"body.{label(b.name)}.shape")})
        for b in scene.body
    )
    return scene.model_copy(update={"body": bodies})
