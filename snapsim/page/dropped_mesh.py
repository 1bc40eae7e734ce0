"""A mesh file that was dropped onto the stage: taken within the bounds of the command line, then
named by the scene as a file beside it.

The scene's text names it plainly ("part.stl"); where it really lies is put in its place only for
what computes (`located`).
"""

from __future__ import annotations

import asyncio
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from aiohttp import web

from snapsim.errors import InputError
from snapsim.page.edits import Document
from snapsim.parts.shapes.mesh import MOST_TRIANGLES
from snapsim.scenario.mesh_file import LARGEST, SUFFIXES, read_surface

UNITS: Final = ("mm", "cm", "m", "inch")
"""Units that are offered; the scene's text takes any other."""

LONGEST_NAME: Final = 80


@dataclass(frozen=True)
class DroppedMesh:
    """A file as it was called and where it lies; its `size` (3) in its own unit."""

    name: str
    path: str
    size: tuple[float, ...]
    triangles: int


async def taken(request: web.Request, folder: Path) -> DroppedMesh:
    """Write the file that a request brings into `folder`; raises InputError in one line."""
    name = plain_name(request.query.get("name", ""))
    path = folder / f"mesh-{secrets.token_hex(6)}{Path(name).suffix.lower()}"
    received = 0
    try:
        with path.open("wb") as file:
            async for piece in request.content.iter_chunked(2**16):
                received += len(piece)
                if received > LARGEST:
                    raise InputError(f"is larger than {LARGEST / 1e6:.0f} MB", file=name)
                file.write(piece)
        # beside the page: a file of the largest size takes seconds
        return await asyncio.to_thread(_looked_at, name, path)
    except (InputError, OSError) as error:
        path.unlink(missing_ok=True)
        if isinstance(error, InputError):
            raise
        raise InputError(f"cannot be kept: {error.strerror}", file=name) from None


def plain_name(given: str) -> str:
    """Return a file's own name without what no file beside a scene may have; raises InputError."""
    name = re.sub(r"[^\w. -]", "_", given.replace("\\", "/").rsplit("/", 1)[-1]).strip(" .")
    if Path(name).suffix.lower() not in SUFFIXES:
        shown = given[:LONGEST_NAME]
        raise InputError(f'"{shown}" is no mesh file; allowed: {", ".join(SUFFIXES)}', key="file")
    return Path(name).stem[-LONGEST_NAME:] + Path(name).suffix.lower()


def _looked_at(name: str, path: Path) -> DroppedMesh:
    try:
        corners, triangles = read_surface(path.parent, path.name)
    except ValueError as error:
        raise InputError(str(error).replace(path.name, name), file=None) from None
    if len(triangles) > MOST_TRIANGLES:
        said = f'"{name}" has {len(triangles)} triangles; at most {MOST_TRIANGLES}, simplify it'
        raise InputError(said)
    size = tuple(float(s) for s in np.ptp(corners, axis=0))
    return DroppedMesh(name, str(path), size, len(triangles))


def located(document: Document, places: Mapping[str, str]) -> Document:
    """Return it with the paths of mesh files in place of the names that `places` knows."""
    if not places:
        return document
    bodies = [
        b | {"shape": _shape(b["shape"], places)} if isinstance(b.get("shape"), dict) else b
        for b in document.get("body", [])
    ]
    return document | {"body": bodies}


def _shape(shape: dict[str, Any], places: Mapping[str, str]) -> dict[str, Any]:
    if shape.get("file") in places:
        return shape | {"file": places[shape["file"]]}
    if isinstance(shape.get("members"), list):
        members = [
            m | {"shape": _shape(m["shape"], places)}
            if isinstance(m, dict) and isinstance(m.get("shape"), dict)
            else m
            for m in shape["members"]
        ]
        return shape | {"members": members}
    return shape


def named(document: Mapping[str, Any]) -> set[str]:
    """Return every mesh file that a scene names."""
    found: set[str] = set()
    waiting = [b.get("shape") for b in document.get("body", [])]
    while waiting:
        shape = waiting.pop()
        if isinstance(shape, dict):
            if isinstance(shape.get("file"), str):
                found.add(shape["file"])
            waiting += [m.get("shape") for m in shape.get("members", []) if isinstance(m, dict)]
    return found
