"""Magnetic force and torque as the motion asks for them: one evaluation a pose, warm-started."""

from __future__ import annotations

from collections import OrderedDict

from snapsim.arrays import Array
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.parts.states import Pose


class MagneticLoads:
    """Evaluates the model at poses, starting each solve from the last one; keeps the last few.

    Frames are asked for at poses the integrator has just used, hence the short memory.
    """

    MEMORY = 32

    def __init__(self, model: MagneticModel) -> None:
        self.model = model
        self.evaluations = 0
        self.unconverged = 0
        self.worst_bound = 0.0
        self._last: MagneticState | None = None
        self._recent: OrderedDict[bytes, MagneticState] = OrderedDict()

    def state(self, pose: Pose) -> MagneticState:
        """Return the magnetic state at `pose`."""
        key = pose.position.tobytes() + pose.quaternion.tobytes()
        known = self._recent.get(key)
        if known is not None:
            return known
        found = self.model.evaluate(pose, self._last)
        self.evaluations += 1
        self.unconverged += not found.converged
        self.worst_bound = max(self.worst_bound, found.bound)
        self._last = found
        self._recent[key] = found
        if len(self._recent) > self.MEMORY:
            self._recent.popitem(last=False)
        return found

    def __call__(self, pose: Pose) -> tuple[Array, Array]:
        """Return force and torque (n, 3) each [N, N m], about the centres of mass."""
        found = self.state(pose)
        return found.force, found.torque
