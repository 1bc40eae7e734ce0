"""Puts what files of meshes and curves hold into the description: nothing later depends on them."""

from __future__ import annotations

from pathlib import Path

from snapsim.errors import label
from snapsim.scenario.scene import SceneDescription


def with_surfaces(scene: SceneDescription, file: str) -> SceneDescription:
    """Return the scene with every file of a mesh or a curve read; raises InputError."""
    folder = Path(file).parent
    bodies = tuple(
        b.model_copy(update={"shape": b.shape.inlined(folder, file, f"body.{label(b.name)}.shape")})
        for b in scene.body
    )
    materials = tuple(m.inlined(folder, file) for m in scene.material)
    return scene.model_copy(update={"body": bodies, "material": materials})
