"""Demagnetising operators kept on disk, found again by the content of the mesh.

Kept are an operator's blocks, and, of a body of equal sectors, the smaller blocks that these fall
apart into (`sectors`): read alone they save both the larger file and the splitting.

N depends only on a mesh's proportions, so a mesh is brought to unit volume and rounded before its
operator is computed: the result is the same whether it came from disk or not, and parts that differ
only in size share one file. The key also covers the content of the modules that compute it and of
all that these use, so a changed method never meets an old file. Files are written to a temporary
name and renamed; whatever can't be read whole is computed anew, and a directory that can't be
written is no error. The directory is $SNAPSIM_CACHE, else the user's cache directory.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics import continuous_normal, demagnetization, flux_part
from snapsim.magnetics import sectors as sector_method
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.continuous_normal import continuous_operator
from snapsim.magnetics.demagnetization import (
    DemagnetizingOperator,
    demagnetizing_operator,
    shifted_inverse,
)
from snapsim.magnetics.flux_part import FluxBlocks, flux_blocks, flux_shapes
from snapsim.magnetics.sectors import Sectors, sectors_of, split, unknown_volumes
from snapsim.magnetics.symmetric_blocks import Buffer
from snapsim.numerics.kept_files import SHARED, kept_folder, make_room, write_whole
from snapsim.numerics.module_content import modules_hash

DIGITS: Final = 11
"""Decimals that the coordinates of a mesh of unit volume are rounded to."""

LARGEST_TOTAL: Final = 2_000_000_000
"""Bytes that the cache may take; the files used longest ago go first."""

METHOD: Final = tuple(
    m.__name__ for m in (demagnetization, continuous_normal, flux_part, sector_method)
)
"""The modules that compute an operator, with all that these use."""

SUFFIX: Final = ".operator.npz"
SECTORS: Final = ".sectors" + SUFFIX
CONTINUOUS: Final = ".continuous" + SUFFIX
FLUXES: Final = ".fluxes" + SUFFIX

WORTH_SPLITTING: Final = 100_000
"""Numbers in an operator's blocks above which these are split by sectors where they can be."""


@dataclass(frozen=True)
class SortedBlocks:
    """An operator's blocks (k, n, n) [m^3], split by `sectors` where it has any, and the volume
    (n,) [m^3] of each unknown."""

    blocks: Array
    volume: Array
    sectors: Sectors | None

    def inverse(self, susceptibility: float) -> Array:
        """Return (B + V / chi)^-1 of each block."""
        return shifted_inverse(self.blocks, self.volume, susceptibility)


@dataclass(frozen=True)
class ContinuousBlocks:
    """A `ContinuousOperator`: A as blocks like any other, C and B (g, 3b, 3b) in float32."""

    own: SortedBlocks
    mixed: Buffer
    wide: Buffer


def kept_operator(mesh: CellMesh) -> DemagnetizingOperator:
    """Return the demagnetising operator of a mesh, from disk where it is known already."""
    size = float(np.cbrt(mesh.volume.sum()))
    unit = _unit(mesh, size)
    path = _path(unit, SUFFIX)
    found = _read(path, unit)
    if found is None:
        found = demagnetizing_operator(unit)
        _write(path, blocks=found.blocks)
    images = 2 ** len(mesh.mirrors)
    return replace(found.scaled(size), volume=mesh.volume[: len(mesh.volume) // images].copy())


def kept_blocks(mesh: CellMesh) -> SortedBlocks:
    """Return the blocks that the operator of a mesh falls apart into, from disk where known."""
    images = 2 ** len(mesh.mirrors)
    base = len(mesh.volume) // images
    sectors = _worthwhile_sectors(mesh)
    if sectors is not None:
        size = float(np.cbrt(mesh.volume.sum()))
        path = _path(_unit(mesh, size), SECTORS)
        order = 3 * base // sectors.count
        blocks = _blocks(path, (int(sectors.block.max()) + 1, order, order))
        if blocks is None:
            blocks = split(kept_operator(mesh).blocks / size**3, sectors)
            if blocks is not None:
                _write(path, blocks=blocks)
        if blocks is not None:
            volumes = unknown_volumes(mesh.volume[:base], sectors)
            return SortedBlocks(blocks * size**3, volumes, sectors)
    operator = kept_operator(mesh)
    return SortedBlocks(operator.blocks, np.repeat(operator.volume, 3), None)


def kept_continuous(mesh: CellMesh, stiffness: float) -> ContinuousBlocks:
    """Return `continuous_operator` of a mesh, from disk where known, A split where it falls apart.

    Raises ComputationError as that does.
    """
    size, sectors = float(np.cbrt(mesh.volume.sum())), _worthwhile_sectors(mesh)
    unit = _unit(mesh, size)
    path = _path(unit, CONTINUOUS, repr(float(stiffness)))
    base = len(mesh.volume) // 2 ** len(mesh.mirrors)
    whole_shape = 2 ** len(mesh.mirrors), 3 * base, 3 * base
    blocks_of = [whole_shape]
    if sectors is not None:
        blocks_of.append((int(sectors.block.max()) + 1, *(2 * (3 * base // sectors.count,))))
    shapes = {"blocks": tuple(blocks_of), "mixed": (whole_shape,), "wide": (whole_shape,)}
    found = _arrays(path, shapes)
    if found is None:
        whole = continuous_operator(unit, stiffness)
        parts = None if sectors is None else split(whole.own, sectors)
        found = {
            "blocks": whole.own if parts is None else parts,
            "mixed": whole.mixed.astype(np.float32),
            "wide": whole.wide.astype(np.float32),
        }
        _write(path, **found)
    blocks = found["blocks"] * size**3
    if sectors is None or blocks.shape[-1] == 3 * base:
        own = SortedBlocks(blocks, np.repeat(mesh.volume[:base], 3), None)
    else:
        own = SortedBlocks(blocks, unknown_volumes(mesh.volume[:base], sectors), sectors)
    return ContinuousBlocks(own, found["mixed"], found["wide"] / np.float32(size**3))


def kept_fluxes(mesh: CellMesh, susceptibility: float, stiffness: float) -> FluxBlocks:
    """Return `flux_blocks` of a mesh, from disk where known.

    Raises ComputationError as that does.
    """
    size = float(np.cbrt(mesh.volume.sum()))
    unit = _unit(mesh, size)
    path = _path(unit, FLUXES, repr((float(susceptibility), float(stiffness))))
    found = _arrays(path, flux_shapes(unit))
    if found is None:
        blocks = flux_blocks(unit, susceptibility, stiffness)
        _write(path, layer=blocks.layer, pull=blocks.pull, inverse=blocks.inverse)
    else:
        blocks = FluxBlocks(**found)
    return blocks.scaled(size)


def _worthwhile_sectors(mesh: CellMesh) -> Sectors | None:
    """The sectors of a mesh, if it has any and its operator is large enough to split."""
    images = 2 ** len(mesh.mirrors)
    base = len(mesh.volume) // images
    return sectors_of(mesh) if images * (3 * base) ** 2 > WORTH_SPLITTING else None


def _write(path: Path | None, **arrays: Buffer) -> None:
    """Write a file whole; give up quietly where that fails."""
    if path is None:
        return
    with suppress(OSError):
        write_whole(path, lambda file: np.savez(file, allow_pickle=False, **arrays), SHARED)
        make_room(path.parent.glob("*" + SUFFIX), LARGEST_TOTAL, keep=path)


def _path(unit: CellMesh, suffix: str, further: str = "") -> Path | None:
    folder = kept_folder("operators")
    return None if folder is None else folder / (_key(unit, further) + suffix)


def _unit(mesh: CellMesh, size: float) -> CellMesh:
    """The mesh at unit volume, coordinates rounded; adding 0 makes -0 and 0 the same bytes."""
    corners = np.round(mesh.corners / size, DIGITS) + 0.0
    return replace(mesh, corners=corners, volume=mesh.volume / size**3)


def _key(unit: CellMesh, further: str) -> str:
    """Hash of all that the operator depends on, `further` numbers among it."""
    base = len(unit.cells) // 2 ** len(unit.mirrors)
    digest = hashlib.sha256((modules_hash(*METHOD) + further).encode())
    digest.update(repr((unit.mirrors, unit.corners.shape, base)).encode())
    digest.update(unit.corners.tobytes())
    digest.update(np.ascontiguousarray(unit.cells[:base], dtype=np.int64).tobytes())
    return digest.hexdigest()[:40]


def _read(path: Path | None, unit: CellMesh) -> DemagnetizingOperator | None:
    """The operator in a file; None when there is none, or none that is whole and fits."""
    images = 2 ** len(unit.mirrors)
    base = len(unit.cells) // images
    blocks = _blocks(path, (images, 3 * base, 3 * base))
    return (
        None if blocks is None else DemagnetizingOperator(blocks, unit.mirrors, unit.volume[:base])
    )


def _blocks(path: Path | None, shape: tuple[int, int, int]) -> Array | None:
    """The blocks in a file; None when there are none, or none that are whole and of that shape."""
    found = _arrays(path, {"blocks": (shape,)})
    return None if found is None else np.asarray(found["blocks"], dtype=np.float64)


def _arrays(
    path: Path | None, shapes: Mapping[str, tuple[tuple[int, ...], ...]]
) -> dict[str, Buffer] | None:
    """The arrays of a file by name, each of one of its `shapes`; None when there is none, or none
    that is whole."""
    if path is None:
        return None
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
            found = {name: np.asarray(archive[name]) for name in shapes}
        with suppress(OSError):  # another user's
            os.utime(path)
    except OSError:  # none there, or none for us
        return None
    except Exception:  # zip's checksums find all that is damaged; heads raise whatever they like
        found = {}
    if len(found) == len(shapes) and all(
        one.shape in shapes[name] and np.isfinite(one).all() for name, one in found.items()
    ):
        return found
    _say_damaged(path)
    return None


def _say_damaged(path: Path) -> None:
    """Say that what is kept is damaged; whoever asked for it computes it anew."""
    if sys.stderr is not None:
        said = "is damaged: what it held is computed anew"
        print(f"snapsim: {path}: {said}", file=sys.stderr)
