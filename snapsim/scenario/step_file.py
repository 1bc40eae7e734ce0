"""Reads a solid from a STEP file (ISO 10303-21), as CAD programs write it, into triangles.

cascadio does it, which holds Open CASCADE: native code that prints what it thinks of a damaged file
on standard output, and could end the process. So it runs in a process of its own.
"""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

from snapsim.extras import require_extra

TURN: Final = 0.4
"""Angle [rad] as the library takes it, which halves it: 32 facets to a circle, whose area is 0.6 %
short."""

BULGE: Final = 0.01
"""Share of an edge's length by which a facet may lie off the face."""

LONGEST: Final = 120.0
"""Time [s] after which a file is given up."""

READER: Final = f"""
import os, sys, cascadio
out = os.dup(1)
os.dup2(2, 1)
with open(sys.argv[1], "rb") as file:
    data = file.read()
found = cascadio.load(data, file_type="step", tol_linear={BULGE}, tol_relative=True,
                      tol_angular={TURN}, use_parallel=False)
with os.fdopen(out, "wb") as file:
    file.write(found)
"""
"""What the process runs: nothing but the surface reaches its standard output."""


def load_step(path: Path) -> Any:
    """Return the surface as trimesh has it, in metres: the file names its own unit.

    Raises MissingExtra without cascadio, ValueError with one line for a file that is damaged, has
    no solid, or takes too long.
    """
    require_extra("step", "a STEP file", key="file")
    import trimesh

    surface = _read(path)
    if not surface:
        raise ValueError(f'"{path.name}" is damaged, or no STEP file')
    scene = trimesh.load_scene(io.BytesIO(surface), file_type="glb", process=False)
    return scene.to_geometry()


def _read(path: Path) -> bytes:
    try:
        done = subprocess.run(
            [sys.executable, "-c", READER, str(path)],
            capture_output=True, timeout=LONGEST, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise ValueError(f'"{path.name}" took more than {LONGEST:.0f} s to read') from None
    return done.stdout if done.returncode == 0 else b""
