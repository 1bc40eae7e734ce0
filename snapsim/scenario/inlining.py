"""Puts what mesh files hold into the description, so that nothing later depends on the files."""

from __future__ import annotations

from pathlib import Path

from snapsim.errors import InputError
from snapsim.scenario.explain import label
from snapsim.scenario.mesh_file import surface_in_metres
from snapsim.scenario.scene import SceneDescription
from snapsim.scenario.shapes import CompoundShape, MeshShape, ShapeDescription


def with_surfaces(scene: SceneDescription, file: str) -> SceneDescription:
    """Return the scene with every mesh file read; raises InputError."""
    folder = Path(file).parent
    bodies = tuple(
        b.model_copy(
            update={"shape": _inlined(b.shape, folder, file, f"body.{label(b.name)}.shape")}
        )
        for b in scene.body
    )
    return scene.model_copy(update={"body": bodies})


def _inlined(shape: ShapeDescription, folder: Path, file: str, key: str) -> ShapeDescription:
    if isinstance(shape, CompoundShape):
        members = [
            m.model_copy(
                update={"shape": _inlined(m.shape, folder, file, f"{key}.members[{k}].shape")}
            )
            for k, m in enumerate(shape.members, start=1)
        ]
        return shape.model_copy(update={"members": members})
    if not isinstance(shape, MeshShape) or shape.file is None:
        return shape
    try:
        corners, triangles = surface_in_metres(folder, shape.file, shape.scale)
    except ValueError as error:
        raise InputError(str(error), file=file, key=f"{key}.file") from None
    return shape.model_copy(update={"corners": corners, "triangles": triangles})
