"""What a clip is made from: runs, companions, choices; and the fingerprint of it all.

Pieces of a clip are used again after an interruption only where the fingerprint is the same: the
same runs, choices and program draw the same frames, bit for bit, on the same kind of OpenGL.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from importlib.metadata import version
from pathlib import Path

import numpy as np

from snapsim.render.board import Storyboard
from snapsim.render.options import ClipOptions
from snapsim.simulation.trajectory import Trajectory


@dataclass(frozen=True)
class ClipJob:
    """`runs` are shown side by side; `companions` are other runs of the first one's scene, whose
    ways fan out beside it; `alpha`: frames carry opacity."""

    runs: tuple[Trajectory, ...]
    options: ClipOptions
    companions: tuple[Trajectory, ...] = ()
    alpha: bool = False


def fingerprint(job: ClipJob | Storyboard, name: str) -> str:
    """Return a hash of all that a clip in the format called `name` depends on."""
    found = hashlib.sha256(name.encode())
    for package in ("snapsim", "pyvista", "vtk", "pillow", "imageio-ffmpeg"):
        found.update(f"{package} {version(package)}".encode())
    for source in sorted(Path(__file__).parent.rglob("*.py")):
        found.update(source.read_bytes())
    same = replace(job.options, workers=1, overwrite=False)
    _feed(found, replace(job, options=same))
    return found.hexdigest()


def _feed(found: hashlib._Hash, what: object) -> None:
    """Add a value's content, whatever it is made of."""
    if isinstance(what, np.ndarray):
        found.update(f"array {what.dtype} {what.shape}".encode())
        found.update(np.ascontiguousarray(what).tobytes())
    elif is_dataclass(what) and not isinstance(what, type):
        found.update(type(what).__name__.encode())
        for field in fields(what):
            _feed(found, getattr(what, field.name))
    elif isinstance(what, Mapping):
        for key, value in what.items():
            found.update(f"key {key}".encode())
            _feed(found, value)
    elif isinstance(what, tuple | list):
        found.update(f"sequence {len(what)}".encode())
        for value in what:
            _feed(found, value)
    elif isinstance(what, frozenset):
        found.update(f"set {sorted(map(str, what))}".encode())
    else:
        found.update(f"value {what!r}".encode())
