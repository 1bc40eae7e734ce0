"""Demagnetising operators kept on disk, found again by the content of the mesh.

N depends only on a mesh's proportions, so a mesh is brought to unit volume and rounded before its
operator is computed: the result is the same whether it came from disk or not, and parts that differ
only in size share one file. The key also covers the source of the modules that compute it, so a
changed method never meets an old file. Files are written to a temporary name and renamed; whatever
can't be read whole is computed anew, and a directory that can't be written is no error. The
directory is $SNAPSIM_CACHE, else the user's cache directory.
"""

from __future__ import annotations

import hashlib
import inspect
import os
import tempfile
import zipfile
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
import platformdirs

from snapsim.magnetics import charged_polygon, demagnetization, single_layer
from snapsim.magnetics.cells import hexahedron
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.demagnetization import DemagnetizingOperator, demagnetizing_operator

DIGITS: Final = 11
"""Decimals that the coordinates of a mesh of unit volume are rounded to."""

LARGEST_TOTAL: Final = 2_000_000_000
"""Bytes that the cache may take; the files used longest ago go first."""

SUFFIX: Final = ".operator.npz"


def kept_operator(mesh: CellMesh) -> DemagnetizingOperator:
    """Return the demagnetising operator of a mesh, from disk where it is known already."""
    size = float(np.cbrt(mesh.volume.sum()))
    unit = _unit(mesh, size)
    path = directory() / (_key(unit) + SUFFIX)
    found = _read(path, unit)
    if found is None:
        found = demagnetizing_operator(unit)
        _write(path, found)
    images = 2 ** len(mesh.mirrors)
    return replace(found.scaled(size), volume=mesh.volume[: len(mesh.volume) // images].copy())


def directory() -> Path:
    """Return the directory of the cache, which need not exist."""
    chosen = os.environ.get("SNAPSIM_CACHE")
    if chosen:
        return Path(chosen).expanduser()
    return Path(platformdirs.user_cache_dir("snapsim", appauthor=False)) / "operators"


def _unit(mesh: CellMesh, size: float) -> CellMesh:
    """The mesh at unit volume, coordinates rounded; adding 0 makes -0 and 0 the same bytes."""
    corners = np.round(mesh.corners / size, DIGITS) + 0.0
    return replace(mesh, corners=corners, volume=mesh.volume / size**3)


def _key(unit: CellMesh) -> str:
    """Hash of all that the operator depends on."""
    base = len(unit.cells) // 2 ** len(unit.mirrors)
    digest = hashlib.sha256(_method().encode())
    digest.update(repr((unit.mirrors, unit.corners.shape, base)).encode())
    digest.update(unit.corners.tobytes())
    digest.update(np.ascontiguousarray(unit.cells[:base], dtype=np.int64).tobytes())
    return digest.hexdigest()[:40]


@cache
def _method() -> str:
    """Source of the modules that compute an operator."""
    modules = (hexahedron, charged_polygon, single_layer, demagnetization)
    return "".join(inspect.getsource(module) for module in modules)


def _read(path: Path, unit: CellMesh) -> DemagnetizingOperator | None:
    """The operator in a file; None when there is none, or none that is whole and fits."""
    images = 2 ** len(unit.mirrors)
    base = len(unit.cells) // images
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
            blocks = np.asarray(archive["blocks"], dtype=np.float64)
        os.utime(path)
    except (OSError, EOFError, ValueError, KeyError, zipfile.BadZipFile):
        return None
    if blocks.shape != (images, 3 * base, 3 * base) or not np.isfinite(blocks).all():
        return None
    return DemagnetizingOperator(blocks, unit.mirrors, unit.volume[:base])


def _write(path: Path, operator: DemagnetizingOperator) -> None:
    """Write a file under a temporary name and rename it; give up quietly where that fails."""
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as file:
            temporary = Path(file.name)
            np.savez(file, blocks=operator.blocks)
        os.replace(temporary, path)
        temporary = None
        _make_room(path)
    except OSError:
        return
    finally:
        if temporary is not None:
            with suppress(OSError):
                temporary.unlink()


def _make_room(newest: Path) -> None:
    """Delete the files used longest ago, never the newest one, until the rest fits."""
    known = []
    for path in newest.parent.glob("*" + SUFFIX):
        with suppress(OSError):
            status = path.stat()
            known.append((status.st_mtime, status.st_size, path))
    total = sum(size for _, size, _ in known)
    for _, size, path in sorted(known):
        if total <= LARGEST_TOTAL or path == newest:
            return
        with suppress(OSError):
            path.unlink()
        total -= size
