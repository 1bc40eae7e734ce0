"""Magnetic force and torque as the motion asks for them: one evaluation a pose, warm-started."""

from __future__ import annotations

from collections import OrderedDict

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.parts.states import Pose

CONTACT_TOLERANCE = 1e-8
"""Residual bound of the magnetisation in sustained contact, as a share of the energy."""


def flight_tolerance(relative: float) -> float:
    """Return the residual bound for flight with the integrator's `relative` bound.

    A force errs by up to the root of the energy's error, and where it is rougher than the
    integrator's bound the steps shrink; the power 3/2 was found good by trial from 1e-6 to 1e-9.
    """
    return float(min(relative**1.5, CONTACT_TOLERANCE))


class MagneticLoads:
    """Evaluates the model at poses, starting each solve from the last one; keeps the last few.

    In flight to the model's own tolerance, in sustained contact to CONTACT_TOLERANCE. Frames are
    asked for at poses the motion has just used, hence the short memory.
    """

    MEMORY = 32

    def __init__(self, model: MagneticModel) -> None:
        self.model = model
        self._tolerance = model.tolerance
        self.evaluations = 0
        self.unconverged = 0
        self.worst_bound = 0.0
        self._last: MagneticState | None = None
        self._recent: OrderedDict[bytes, MagneticState] = OrderedDict()

    def flight(self, pose: Pose) -> tuple[Array, Array]:
        """Return force and torque (n, 3) each [N, N m], about the centres of mass, for flight."""
        found = self.state(pose, self._tolerance)
        return found.force, found.torque

    def contact(self, pose: Pose) -> tuple[Array, Array]:
        """Return the same for sustained contact, from a rougher solve."""
        found = self.state(pose, CONTACT_TOLERANCE)
        return found.force, found.torque

    def state(self, pose: Pose, tolerance: float = CONTACT_TOLERANCE) -> MagneticState:
        """Return the magnetic state at `pose`, solved to `tolerance` or better."""
        place = pose.position.tobytes() + pose.quaternion.tobytes()
        key = place + np.float64(tolerance).tobytes()
        known = self._recent.get(key)
        if known is not None:
            return known
        self.model.tolerance = tolerance
        found = self.model.evaluate(pose, self._last)
        self.evaluations += 1
        self.unconverged += not found.converged
        self.worst_bound = max(self.worst_bound, found.bound)
        self._last = found
        for bound in {tolerance, CONTACT_TOLERANCE}:
            self._recent[place + np.float64(bound).tobytes()] = found
        while len(self._recent) > self.MEMORY:
            self._recent.popitem(last=False)
        return found
