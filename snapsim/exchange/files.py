"""Which file is written in which form: by its ending."""

from __future__ import annotations

from os import PathLike, fspath
from pathlib import Path
from typing import Final

from snapsim.errors import InputError
from snapsim.exchange.tables import ROWS, TableRows, write_csv, write_parquet
from snapsim.extras import require_extra
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory
from snapsim.storage.whole_file import require_writable, whole_file
from snapsim.work.standard_streams import ending_of_name

USD: Final = (".usdc", ".usda")
OF_RUN: Final = (".csv", ".parquet", ".glb", *USD, ".pvd")
OF_SCENE: Final = (".glb", *USD, ".stl")
DRAWN: Final = (".glb", *USD, ".pvd")
"""What is made of surfaces as clips draw them."""
SIDES: Final = 48
"""Sides that a round body has in an STL file."""


def export(
    what: Trajectory | System,
    path: str | PathLike[str],
    rows: str = "frames",
    body: str | None = None,
    force: bool = False,
) -> None:
    """Write a run or a scene as the ending of `path` says, whole or not at all.

    A run: `.csv` and `.parquet` (`rows` "frames", "impacts" or "loads"), moving scenes `.glb`,
    `.usdc` and `.usda`, `.pvd` (with a folder of frames beside it). A scene: still ones, and `.stl`
    of one `body`, in millimetres and in its own axes. An existing file is replaced only with
    `force`; "-" is CSV on standard output. Raises InputError and OutputError.
    """
    name, ending = fspath(path), ending_of_name(path)
    wanted = _checked(what, name, rows)
    require_writable(name, force)
    with whole_file(name, force) as temporary:
        if ending in USD:
            from snapsim.exchange.usd import write_usd

            write_usd(what, temporary, ending)
        elif isinstance(what, Trajectory):
            _run(what, temporary, name, wanted, force)
        elif ending == ".glb":
            from snapsim.exchange.gltf import scene_glb

            scene_glb(what, temporary)
        else:
            _stl(what, body, temporary)


def _checked(what: Trajectory | System, name: str, rows: str) -> TableRows:
    """Refuse an ending, rows and missing libraries before all else; return the rows."""
    ending = ending_of_name(name)
    allowed = OF_RUN if isinstance(what, Trajectory) else OF_SCENE
    if ending not in allowed:
        kind = "run" if isinstance(what, Trajectory) else "scene"
        raise InputError(
            f'"{name}": a {kind} is written as {", ".join(allowed)}; end its name so',
            key="--output",
        )
    if rows not in ROWS:
        raise InputError(f'"{rows}" is not known; allowed: {", ".join(ROWS)}', key="--rows")
    if ending in DRAWN:
        require_extra("export", f"a {ending}", "pyvista", key="--output")
    return rows


def _run(run: Trajectory, temporary: Path, name: str, rows: TableRows, force: bool) -> None:
    ending = ending_of_name(name)
    if ending == ".pvd":
        from snapsim.exchange.series import write_series

        write_series(run, temporary, name, force)
    elif ending == ".glb":
        from snapsim.exchange.gltf import run_glb

        run_glb(run, temporary)
    else:
        (write_csv if ending == ".csv" else write_parquet)(run, rows, temporary)


def _stl(system: System, body: str | None, path: Path) -> None:
    """Write a body's surface by trimesh, its numbers in millimetres."""
    import trimesh

    names = [b.name for b in system.bodies]
    if body is None:
        raise InputError(f"is missing: which of {', '.join(names)}?", key="--body")
    corners, triangles = system.bodies[system.number(body, "--body")].shape.surface(SIDES)
    mesh = trimesh.Trimesh(1e3 * corners, triangles, process=False)
    mesh.export(path, file_type="stl")
