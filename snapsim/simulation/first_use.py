"""The first use of an installation: its kernels are compiled once, several processes side by side.

numba compiles a kernel when it is first called and keeps it on disk. One after another that takes
minutes; but what computes fields, contacts and blows hardly share a kernel, so each of `PARTS` is
set going in a process of its own, on a tiny case that calls what a release will call. Nothing here
changes a result: a kernel that no part compiled is compiled where it is first needed.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from filelock import FileLock

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.numerics.compilation import kernel_folder, toolchain
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box
from snapsim.parts.states import Pose, State

if TYPE_CHECKING:
    from snapsim.mechanics.contact import ContactSet

KERNELS: Final = ("numerics", "parts", "magnetics", "mechanics")
"""Folders whose sources the kernels depend on."""


def prepare() -> None:
    """Compile what is not compiled yet; at once where that was done, or cannot be kept.

    Other processes that ask meanwhile wait. With one processor nothing is gained, nor done.
    """
    stamp = _stamp()
    if stamp is None or stamp.exists() or _processors() < 2:
        return
    with suppress(OSError), FileLock(f"{stamp}.lock"):
        if not stamp.exists() and _compile_all():
            stamp.touch()


_PREFIX: Final = "compiled-"


@cache
def _stamp() -> Path | None:
    """The file that says that the kernels of these sources are compiled; None where they can't be
    kept."""
    folder = kernel_folder()
    root = Path(__file__).parent.parent
    digest = hashlib.sha256(repr(toolchain()).encode())
    for path in sorted(p for name in KERNELS for p in (root / name).rglob("*.py")):
        source = path.read_bytes()
        if b"numerics.compilation import" in source:
            digest.update(f"{path.relative_to(root).as_posix()} ".encode() + source)
    return None if folder is None else folder / (_PREFIX + digest.hexdigest()[:20])


def _processors() -> int:
    known = getattr(os, "sched_getaffinity", None)
    return len(known(0)) if known else os.cpu_count() or 1


def _compile_all() -> bool:
    """Run all parts, as many at once as there are processors; True where all came to their end."""
    waiting, running, sound = list(PARTS), list[subprocess.Popen[bytes]](), True
    try:
        while waiting or running:
            while waiting and len(running) < _processors():
                running.append(_begin(waiting.pop(0)))
            with suppress(subprocess.TimeoutExpired):
                running[0].wait(0.2)
            for process in [p for p in running if p.poll() is not None]:
                running.remove(process)
                sound = sound and process.returncode == 0
    finally:
        for process in running:
            process.terminate()
    return sound


def _begin(part: str) -> subprocess.Popen[bytes]:
    code = (
        f"import sys; sys.path[:] = {sys.path!r};"
        f" from snapsim.simulation.first_use import PARTS; PARTS[{part!r}]()"
    )
    quiet = subprocess.DEVNULL
    return subprocess.Popen([sys.executable, "-c", code], stdin=quiet, stdout=quiet, stderr=quiet)


def _fields() -> None:
    """A saturating block near a block magnet: sources, operator, magnetisation, force."""
    from snapsim.magnetics.model import MagneticModel

    bodies, state = _scene()
    model = MagneticModel(bodies, 8, 1e-9)
    model.evaluate(state.pose, model.evaluate(state.pose))


def _contacts() -> None:
    """Gaps and contacts of two blocks."""
    from snapsim.mechanics.contact import ContactGeometry
    from snapsim.parts.surfaces import SurfaceRules

    bodies, state = _scene()
    geometry = ContactGeometry(bodies, SurfaceRules())
    geometry.gaps(state.pose)
    geometry.contacts(state.pose, 1.0)


def _blows() -> None:
    """A block dropped on a floor: flight, blow, rebound and lasting contact."""
    from snapsim.mechanics.motion import Motion
    from snapsim.mechanics.rigid_bodies import rigid_bodies
    from snapsim.parts.surfaces import SurfaceRules
    from snapsim.simulation.release import STEPS

    bodies, state = _scene()
    nothing = np.zeros((2, 3))
    motion = Motion(
        rigid_bodies(bodies),
        _Floor(),  # type: ignore[arg-type]
        SurfaceRules(),
        lambda pose: (nothing, nothing),
        np.array([0.0, 0.0, -9.8]),
        state,
        0.1,
        STEPS,
    )
    for _ in motion.run():
        pass


def _between() -> None:
    """Loads between a few poses whose energy is that of a spring."""
    from snapsim.simulation.energy_between_poses import EnergyBetweenPoses, pose_space

    bodies, state = _scene()
    space = pose_space(bodies, (0, 1), np.array([0.0, 0.0, -9.8]))
    if space is None:
        return
    between = EnergyBetweenPoses(space)
    for x in np.linspace(0.0, HALF, 6):
        pose = Pose(state.pose.position + np.array([[x, 0, 0], [0, 0, 0]]), state.pose.quaternion)
        pull = np.array([[-x, 0, 0], [x, 0, 0]])
        between.solved(pose, 0.5 * x * x, (pull, np.zeros((2, 3))), 1e-3)
        between.level(pose, 1e-3)


class _Floor:
    """Corners of the scene's block over a floor 0.1 mm under it: contacts that need no kernel."""

    pairs = np.array([[0, 1]])

    def gaps(self, pose: Pose) -> Array:
        """Height of the lowest corner (1,) [m]."""
        lowest: Array = self._heights(pose).min(keepdims=True)
        return lowest

    def depth(self, pose: Pose) -> float:
        """How deep it is in the floor [m]."""
        return -float(self.gaps(pose).min(initial=0.0))

    def touches(self, pose: Pose) -> bool:
        """Whether it is on the floor or in it."""
        return bool(self.gaps(pose)[0] <= 0.0)

    def contacts(self, pose: Pose, reach: float) -> ContactSet:
        """Corners lower than `reach` [m]."""
        from snapsim.mechanics.contact import ContactSet

        height = self._heights(pose)
        low = height < reach
        count = int(low.sum())
        up = np.tile([0.0, 0.0, 1.0], (count, 1))
        return ContactSet(
            np.tile(self.pairs, (count, 1)), self._corners(pose)[low], up, height[low]
        )

    def _heights(self, pose: Pose) -> Array:
        heights: Array = self._corners(pose)[:, 2] + HALF + 1e-4
        return heights

    def _corners(self, pose: Pose) -> Array:
        at = HALF * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
        corners: Array = pose.position[0] + rotations.rotate(pose.quaternion[0], at)
        return corners


HALF: Final = 0.01
"""Half the edge of the scene's block [m]."""


def _scene() -> tuple[tuple[Body, ...], State]:
    """A block of iron that may move, tilted a little, and a magnet beside it."""
    iron = Material("iron", 7800.0, MagnetisationCurve(100.0, 1.6))
    magnet = Material("magnet", 7500.0, remanence=1.3)
    bodies = (
        Body("block", Box((2 * HALF,) * 3), iron, None, False),
        Body("magnet", Box((0.02, 0.03, 0.04)), magnet, np.array([0.0, 0.0, 1.0]), True),
    )
    turn = rotations.from_rotation_vector([0.001, 0.002, 0.0])
    position = np.array([[0.0, 0.0, 0.0], [0.05, 0.001, 0.002]])
    pose = Pose(position, np.array([turn, rotations.IDENTITY]))
    still = np.zeros((2, 3))
    return bodies, State(pose, still, still)


PARTS: Final[dict[str, Callable[[], None]]] = {
    "fields": _fields,
    "blows": _blows,
    "contacts": _contacts,
    "between": _between,
}
"""What is compiled side by side; what takes longest first."""
