"""Reads a surface from a file: STL, OBJ, PLY or STEP, its path from the scene's folder."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.scenario.step_file import load_step

SUFFIXES: Final = (".stl", ".obj", ".ply")
"""Of files of triangles, whose numbers have no unit."""

STEP: Final = (".step", ".stp")
"""Of files that say their unit."""

LARGEST: Final = 100_000_000
"""Bytes of a file that is read at all."""


def read_surface(folder: Path, name: str) -> tuple[Array, IntArray]:
    """Return corners (n, 3) in the file's unit, of STEP in metres, and triangles (m, 3), equal
    corners joined.

    Raises ValueError with one line for a person: not there, too large, or not readable.
    """
    path = folder / name
    if path.suffix.lower() not in SUFFIXES + STEP:
        raise ValueError(f'"{name}" is no mesh file; allowed: {", ".join(SUFFIXES + STEP)}')
    try:
        if not path.is_file():
            raise ValueError(f'"{name}" is not there; its path goes from the scene\'s folder')
        size = path.stat().st_size
        if size > LARGEST:
            raise ValueError(f'"{name}" has {size / 1e6:.0f} MB; at most {LARGEST / 1e6:.0f} MB')
        if path.suffix.lower() == ".stl":
            _require_whole_stl(path, size)
        found = load_step(path) if says_its_unit(name) else _loaded(path)
    except OSError as error:
        raise ValueError(f'"{name}" cannot be read: {error.strerror}') from None
    corners, triangles = np.asarray(found.vertices), np.asarray(found.faces)
    if not len(triangles):
        raise ValueError(f'"{name}" has no triangles; a closed surface is needed')
    if triangles.min() < 0 or triangles.max() >= len(corners):
        raise ValueError(
            f'"{name}" is damaged: a triangle names corner {_odd(triangles, len(corners))}, and'
            f" there are {len(corners)}"
        )
    if not np.isfinite(corners).all():
        raise ValueError(f'"{name}" is damaged: a corner is not finite')
    return _joined(np.array(corners, dtype=np.float64), np.array(triangles, dtype=np.int64))


def says_its_unit(name: str) -> bool:
    """Whether a file of this name says what unit its numbers are in."""
    return Path(name).suffix.lower() in STEP


def _require_whole_stl(path: Path, size: int) -> None:
    """Raise ValueError for an STL file that its own head or end shows to be cut short.

    Binary: 80 bytes, the number of triangles as 32 bits, 50 bytes each. As text: "solid" to
    "endsolid". (The format of 3D Systems, 1989; from memory.)
    """
    with path.open("rb") as file:
        head = file.read(512)
        file.seek(max(0, size - 512))
        end = file.read(512)
    count = int.from_bytes(head[80:84], "little")
    due = 84 + 50 * count
    if size >= 84 and size == due:
        return
    if head.lstrip()[:5].lower() == b"solid" and b"\0" not in head:
        if b"endsolid" not in end.lower():
            raise ValueError(f'"{path.name}" is cut short: the line "endsolid" is missing')
        return
    if size < 84:
        raise ValueError(f'"{path.name}" is cut short: {size} bytes, an STL file has at least 84')
    what = "cut short" if size < due else "damaged"
    raise ValueError(
        f'"{path.name}" is {what}: {size} bytes, where {due} are due for its {count} triangles'
    )


def _odd(triangles: IntArray, corners: int) -> int:
    """The first number that is no corner's."""
    return int(triangles[(triangles < 0) | (triangles >= corners)][0])


def _loaded(path: Path) -> Any:
    """The file as trimesh reads it, nothing merged or repaired."""
    import trimesh

    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    try:
        with path.open("rb") as file:
            return trimesh.load_mesh(
                file, file_type=path.suffix[1:].lower(), process=False, skip_materials=True
            )
    except OSError:
        raise
    except Exception as error:  # damaged files raise whatever the reader stumbles over
        detail = " ".join(str(error).split())[:80]
        kind = path.suffix[1:].upper()
        raise ValueError(f'"{path.name}" is damaged, or no {kind} file: {detail}') from None


def _joined(corners: Array, triangles: IntArray) -> tuple[Array, IntArray]:
    """Join equal corners, leave out unused ones and triangles without area between them."""
    used, number = np.unique(triangles, return_inverse=True)
    distinct, name = np.unique(corners[used] + 0.0, axis=0, return_inverse=True)
    joined = name.reshape(-1)[number.reshape(-1, 3)]
    a, b, c = joined.T
    whole = joined[(a != b) & (b != c) & (c != a)]
    return distinct, np.asarray(whole, dtype=np.int64)


def surface_in_metres(
    folder: Path, name: str, scale: float
) -> tuple[Sequence[tuple[float, float, float]], Sequence[tuple[int, int, int]]]:
    """Return corners [m] and triangles as plain numbers; raises ValueError as `read_surface`."""
    corners, triangles = read_surface(folder, name)
    places = (corners * scale).tolist()
    return [(x, y, z) for x, y, z in places], [(a, b, c) for a, b, c in triangles.tolist()]
