"""Magnetic force and torque as the motion asks for them: one evaluation a pose, warm-started."""

from __future__ import annotations

from collections import OrderedDict

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.parts.states import Pose
from snapsim.simulation.energy_between_poses import EnergyBetweenPoses, PoseEnergy

CONTACT_TOLERANCE = 1e-8
"""Residual bound of the magnetisation in sustained contact, as a share of the energy."""


def flight_tolerance(relative: float, several: bool = False) -> float:
    """Return the residual bound for flight with the integrator's `relative` bound.

    A force errs by up to the root of the energy's error, and where it is rougher than the
    integrator's bound the steps shrink; the power 3/2 was found good by trial from 1e-6 to 1e-9.
    With `several` bodies that have cells it is that of contact: `joint_fluxes` goes on to a
    hundredth of it, which leaves 6e-6 of the force, a twentieth of what `SEVERAL` allows.
    """
    if several and relative >= SOLVED_BELOW:
        return CONTACT_TOLERANCE
    return float(min(relative**1.5, CONTACT_TOLERANCE))


INTERPOLATED = (20.0, 100.0)
"""Shares of the loads, in flight and in contact, to which they may be interpolated, over the
integrator's relative bound."""

LARGEST_SHARES = (3e-4, 1e-3)
"""The largest such shares."""

SEVERAL = 5.0
"""Times these shares where parts with cells magnetise each other: with their relative place the
loads are uneven by some 1e-5 of themselves, which no interpolant follows, and a hundred times as
much is what their cells are off by. Two blanks at draft: 229 poses solved to 112, energy
unaccounted for 4e-5 to 5e-5 of what is released, end poses 4 um apart (fifteen times: 76 poses,
1e-3)."""

SOLVED_BELOW = 1e-6
"""Relative bound of the integrator below which every pose is solved."""


def interpolation_shares(relative: float, several: bool = False) -> tuple[float, float] | None:
    """Return the shares for flight and contact at the integrator's `relative` bound; `several`
    where more than one body has cells."""
    if relative < SOLVED_BELOW:
        return None
    times = SEVERAL if several else 1.0
    flight, contact = (
        min(times * factor * relative, largest)
        for factor, largest in zip(INTERPOLATED, LARGEST_SHARES, strict=True)
    )
    return flight, contact


class MagneticLoads:
    """Evaluates the model at poses, starting each solve from the last one; keeps the last few.

    In flight to the model's own tolerance, in sustained contact to CONTACT_TOLERANCE. Frames are
    asked for at poses the motion has just used, hence the short memory. With `between`, loads are
    interpolated where they are known to `shares` (flight, contact) of themselves, and `solutions`
    has the poses solved and the magnetisation there, every second one dropped where they would take
    more than `ROOM` bytes. Where fewer than two bodies act, nothing depends on the pose: it is
    solved once.
    """

    MEMORY = 32
    ROOM = 200_000_000

    def __init__(
        self,
        model: MagneticModel,
        between: EnergyBetweenPoses | None = None,
        shares: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        self.model = model
        self.between = between
        self._shares = shares
        self._tolerance = model.tolerance
        self._alone = len({*model.soft, *model.magnets}) < 2
        self.evaluations = 0
        self.unconverged = 0
        self.worst_bound = 0.0
        self._last: MagneticState | None = None
        self._recent: OrderedDict[bytes, MagneticState] = OrderedDict()
        self._guesses: dict[bytes, PoseEnergy] = {}
        self.solutions: list[tuple[Pose, tuple[Array, ...]]] = []

    def flight(self, pose: Pose) -> tuple[Array, Array]:
        """Return force and torque (n, 3) each [N, N m], about the centres of mass, for flight."""
        return self._load(pose, self._tolerance, self._shares[0])

    def contact(self, pose: Pose) -> tuple[Array, Array]:
        """Return the same for sustained contact, from a rougher solve."""
        return self._load(pose, CONTACT_TOLERANCE, self._shares[1])

    def _load(self, pose: Pose, tolerance: float, share: float) -> tuple[Array, Array]:
        if self._alone and self._last is not None:
            return self._last.force, self._last.torque
        place = _key(pose)
        key = place + np.float64(tolerance).tobytes()
        if self.between is not None and key not in self._recent:
            guess = self._guesses.get(key) or self.between.level(pose, share)
            if guess is not None:
                if len(self._guesses) >= self.MEMORY:
                    self._guesses.clear()
                self._guesses[key] = guess
                return guess.force, guess.torque
        found = self._solved(pose, tolerance, share)
        return found.force, found.torque

    @property
    def surprises(self) -> int:
        """Poses solved so far that the interpolation had not known well."""
        return 0 if self.between is None else self.between.surprises

    def glance(self, pose: Pose) -> PoseEnergy | None:
        """Return energy and loads for sustained contact where they can be interpolated."""
        return None if self.between is None else self.between.level(pose, self._shares[1])

    def state(self, pose: Pose, tolerance: float = CONTACT_TOLERANCE) -> MagneticState:
        """Return the magnetic state at `pose`, solved to `tolerance` or better."""
        return self._solved(pose, tolerance, self._shares[1])

    def _solved(self, pose: Pose, tolerance: float, share: float) -> MagneticState:
        if self._alone and self._last is not None:
            return self._last
        place = _key(pose)
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
        if self.between is not None and found.converged:
            self.between.solved(pose, found.energy, (found.force, found.torque), share)
            self._guesses.clear()
            self._remember(pose, found)
        return found

    def _remember(self, pose: Pose, found: MagneticState) -> None:
        self.solutions.append((pose, found.magnetisation))
        if len(self.solutions) * sum(m.nbytes for m in found.magnetisation) > self.ROOM:
            del self.solutions[::2]


def _key(pose: Pose) -> bytes:
    return pose.position.tobytes() + pose.quaternion.tobytes()
