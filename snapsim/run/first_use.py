"""What is compiled at the first use of an installation: tiny cases that call what users call.

Each of `PARTS` runs once in a process of its own (`work.first_compilation`). A kernel that none of
them called is compiled where it is first needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box
from snapsim.parts.states import Pose, State
from snapsim.work.first_compilation import FirstCompilation, compile_parts
from snapsim.work.progress import Progress

if TYPE_CHECKING:
    from snapsim.mechanics.contact import ContactSet

PARTS: Final = {
    name: f"{__name__}:{name}" for name in ("fields", "blows", "gaps", "contacts", "between")
}
"""What is compiled side by side; what takes longest first, and gaps before contacts, which use
them."""

FIELDS: Final = ("fields",)
"""What the stray field of a scene needs."""

FIELDS_OVER_SPACE: Final = (*FIELDS, "gaps")
"""What a force away from the scene's place needs: overlaps are refused first."""

AS_PLACED: Final = (*FIELDS_OVER_SPACE, "contacts")
"""What `force` needs: its pull-off is borne by contacts. Nothing moves."""


def prepare(*needed: str, progress: Progress | None = None) -> FirstCompilation:
    """Compile what is not compiled yet of these parts, of all where none is named.

    At once where that was done, or where compiled functions can't be kept.
    """
    return compile_parts(PARTS, [name for name in PARTS if name in (needed or PARTS)], progress)


def fields() -> None:
    """A saturating block near a block magnet: sources, operator, magnetisation, force."""
    from snapsim.magnetics.model import MagneticModel

    bodies, state = _scene()
    model = MagneticModel(bodies, 8, 1e-9)
    model.evaluate(state.pose, model.evaluate(state.pose))


def gaps() -> None:
    """Distance of two blocks."""
    from snapsim.mechanics.contact import ContactGeometry
    from snapsim.parts.surfaces import SurfaceRules

    bodies, state = _scene()
    ContactGeometry(bodies, SurfaceRules()).gaps(state.pose)


def contacts() -> None:
    """Gaps and contacts of two blocks."""
    from snapsim.mechanics.contact import ContactGeometry
    from snapsim.parts.surfaces import SurfaceRules

    bodies, state = _scene()
    geometry = ContactGeometry(bodies, SurfaceRules())
    geometry.gaps(state.pose)
    geometry.contacts(state.pose, 1.0)


def blows() -> None:
    """A block dropped on a floor: flight, blow, rebound and lasting contact."""
    from snapsim.mechanics.motion import Motion
    from snapsim.mechanics.motion_problem import MotionProblem
    from snapsim.mechanics.rigid_bodies import rigid_bodies
    from snapsim.parts.surfaces import SurfaceRules
    from snapsim.run.steps import STEPS

    bodies, state = _scene()
    nothing = np.zeros((2, 3))
    problem = MotionProblem(
        rigid_bodies(bodies),
        _Floor(),  # type: ignore[arg-type]
        SurfaceRules(),
        lambda pose: (nothing, nothing),
        np.array([0.0, 0.0, -9.8]),
        state,
        0.1,
        settings=STEPS,
    )
    for _ in Motion(problem).run():
        pass


def between() -> None:
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
