"""The energy landscape of several bodies at once: one generalised pose of all that are free.

    U(q_1 ... q_n) = E_mag - sum m_i g.x_i,      d = (d_1 ... d_n),  6 n numbers
    |d|^2 = sum (m_i/m) |d_i|^2,    m the mean mass

d_i a change of `place` of body i, |d_i| its metric: the square is twice the kinetic energy over the
mean mass. Contacts between any two bodies and joints are rows as in `constraints`, a row with
entries for both of its bodies. An `Arrangement` is a `Place` whose arrays have a row a body, so
`descent.settle` goes downhill here as it does for one part. Hands are left out; friction too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.descent import DescentSettings
from snapsim.landscape.energy import TOLERANCE, TURN_STEP, EnergyLandscape, EnergyLevel
from snapsim.landscape.place import Place, metric, moved
from snapsim.magnetics.model import MagneticModel
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.joints import STILL, WORLD, Joint, Rows, Side
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose
from snapsim.simulation.current_stages import refuse_other_currents
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.system import System


class Arrangement(Place):
    """Where n bodies are: `position` (n, 3) of their centres of mass [m], `quaternion` (n, 4)."""


@dataclass(frozen=True)
class PairLimits(Limits):
    """Rows of several bodies, 6 n columns; `pair` (c, 2) numbers of the bodies of each contact."""

    pair: IntArray = field(kw_only=True)

    def touching(self, within: float = 2e-7) -> PairLimits:
        """Return only the rows whose gap is closed."""
        kept = super().touching(within)
        assert isinstance(kept, PairLimits)
        return replace(kept, pair=self.pair[self.gap[: len(self.pair)] < within])


def free_bodies(system: System) -> list[int]:
    """Return the numbers of all bodies that move."""
    return [i for i, body in enumerate(system.bodies) if not body.fixed]


class SeveralLandscape(EnergyLandscape):
    """The energy of bodies `numbers` together; `at` is a pure function of their arrangement."""

    def __init__(
        self,
        system: System,
        numbers: Sequence[int],
        detail: str | int | None = None,
        tolerance: float = TOLERANCE,
    ) -> None:
        refuse_overlaps(system)
        refuse_other_currents(system)
        self.system, self.numbers = system, list(numbers)
        self.number, self.body = self.numbers[0], system.bodies[self.numbers[0]]
        self.bodies = [system.bodies[i] for i in self.numbers]
        masses = np.array([b.mass for b in self.bodies])
        self.mass, self.shares = float(masses.sum()), masses / masses.mean()
        spread = [float(np.trace(b.shape.gyration)) / 3 for b in self.bodies]
        self.radius = float(np.sqrt(np.mean(spread)))
        self.model = MagneticModel(
            system.bodies,
            system.detail if detail is None else detail,
            tolerance,
            recoil=system.recoil,
        )
        self.evaluations = 0
        self._last = None

    @property
    def start(self) -> Arrangement:
        """The bodies' places at release."""
        pose = self.system.start.pose
        return Arrangement(pose.position[self.numbers], pose.quaternion[self.numbers])

    def pose(self, place: Place) -> Pose:
        """Return the pose of all bodies with these arranged so."""
        return posed(self.system, self.numbers, place)

    def at(self, place: Place) -> EnergyLevel:
        """Return energy and slope (6 n,)."""
        found = self.state(place)
        force, torque = found.force[self.numbers], found.torque[self.numbers]
        weight = np.array([b.mass for b in self.bodies])[:, None] * self.system.gravity
        height = -float(np.sum(weight * place.position))
        slope = -np.hstack([force + weight, torque]).ravel()
        return EnergyLevel(
            found.energy + height, found.energy, height, slope, force, torque, found.converged
        )

    def measure(self, place: Place) -> Array:
        """Return the matrix (6 n, 6 n) of |d|^2."""
        return _measure(self.bodies, self.shares, place)

    def moved(self, place: Place, change: Array) -> Arrangement:
        """Return the arrangement after a change (6 n,)."""
        return rearranged(place, change)

    def gone(self, place: Place, far: float) -> bool:
        """Whether one of the bodies is farther than `far` [m] from the middle of the scene."""
        middle = self.system.start.pose.position.mean(axis=0)
        return bool(np.linalg.norm(place.position - middle, axis=1).max() > far)

    def hessian(self, place: Place, step: float = TURN_STEP) -> Array:
        """Return the second derivatives (6 n, 6 n) by central differences."""
        count = 6 * len(self.numbers)
        found = np.empty((count, count))
        for k in range(count):
            h = step * self.radius if k % 6 < 3 else step
            d = np.zeros(count)
            d[k] = h
            ahead, behind = (self.at(self.moved(place, s * d)).slope for s in (1.0, -1.0))
            found[k] = (ahead - behind) / (2 * h)
        return 0.5 * (found + found.T)


class SeveralConstraints(Constraints):
    """The contacts and joints of bodies `numbers`, of one another too."""

    def __init__(self, system: System, numbers: Sequence[int]) -> None:
        self.system, self.numbers = system, list(numbers)
        self.number, self.body = self.numbers[0], system.bodies[self.numbers[0]]
        self.slot = {i: k for k, i in enumerate(self.numbers)}
        self.bodies = [system.bodies[i] for i in self.numbers]
        masses = np.array([b.mass for b in self.bodies])
        self.shares = masses / masses.mean()
        held = [replace(b, fixed=i not in self.slot) for i, b in enumerate(system.bodies)]
        self.geometry = ContactGeometry(held, system.surfaces)
        self.joints = [
            (i, j)
            for i, j in enumerate(system.joints)
            if set(j.bodies) & set(self.numbers) and not j.carries
        ]
        self.others = np.arange(len(self.geometry.pairs))

    def pose(self, place: Place) -> Pose:
        """Return the pose of all bodies with these arranged so."""
        return posed(self.system, self.numbers, place)

    def touching_pairs(self, place: Place, within: float = 1e-6) -> frozenset[tuple[int, int]]:
        """Return the pairs of bodies that touch, by number."""
        closed = self.geometry.pairs[self.gaps(place) < within]
        return frozenset((int(a), int(b)) for a, b in closed)

    def limits(self, place: Place, reach: float) -> PairLimits:
        """Return all rows, contacts with gaps below `reach` [m]."""
        contacts = self.geometry.contacts(self.pose(place), reach)
        rows = np.zeros((len(contacts.gap), 6 * len(self.numbers)))
        for side, sign in ((0, 1.0), (1, -1.0)):
            for k, i in enumerate(contacts.pair[:, side].tolist()):
                if i in self.slot:
                    slot = self.slot[i]
                    normal = sign * contacts.normal[k]
                    arm = contacts.point[k] - place.position[slot]
                    rows[k, 6 * slot : 6 * slot + 6] = *normal, *np.cross(arm, normal)
        rub = [self.system.surfaces.pair(int(a), int(b)).friction for a, b in contacts.pair]
        one_sided, equal, owner = self._joint_rows(place)
        none = np.zeros((0, 6 * len(self.numbers)))
        return PairLimits(
            np.vstack([rows, *(r[0] for r in one_sided)]),
            np.concatenate([contacts.gap, *(r[1] for r in one_sided)]),
            np.vstack([none, *(r[0] for r in equal)]),
            np.concatenate([np.zeros(0), *(r[1] for r in equal)]),
            contacts.point,
            contacts.normal,
            contacts.pair[:, 1].astype(np.int64),
            np.array(rub, dtype=np.float64),
            np.array(owner, dtype=np.int64),
            pair=contacts.pair.astype(np.int64),
        )

    def _own(self, joint: Joint, found: Rows) -> tuple[Array, Array]:
        """A joint's rows spread over the columns of its bodies, and their errors."""
        jacobian, error = found.jacobian, found.error
        rows = np.zeros((len(error), 6 * len(self.numbers)))
        for side, number in enumerate(joint.bodies):
            if number in self.slot:
                at = 6 * self.slot[number]
                rows[:, at : at + 6] = jacobian[:, 6 * side : 6 * side + 6]
        return rows, error

    def _side(self, number: int, place: Place) -> Side:
        if number == WORLD:
            return STILL
        pose, still = self.pose(place), np.zeros(3)
        q = pose.quaternion[number]
        return Side(pose.position[number], q, rotations.matrix(q), still, still)

    def measure(self, place: Place) -> Array:
        """Return the matrix (6 n, 6 n) of |d|^2."""
        return _measure(self.bodies, self.shares, place)

    def moved(self, place: Place, change: Array) -> Arrangement:
        """Return the arrangement after a change (6 n,)."""
        return rearranged(place, change)


def posed(system: System, numbers: Sequence[int], place: Place) -> Pose:
    """Return the pose of all bodies with some arranged so."""
    pose = system.start.pose
    position, quaternion = pose.position.copy(), pose.quaternion.copy()
    position[list(numbers)], quaternion[list(numbers)] = place.position, place.quaternion
    return Pose(position, quaternion)


def one_of(place: Place, slot: int) -> Place:
    """Return where one of the bodies is."""
    return Place(place.position[slot], place.quaternion[slot])


def rearranged(place: Place, change: Array) -> Arrangement:
    """Return the arrangement after a change (6 n,) [m, rad]."""
    each = [
        moved(one_of(place, k), d) for k, d in enumerate(change.reshape(len(place.position), 6))
    ]
    return Arrangement(np.array([p.position for p in each]), np.array([p.quaternion for p in each]))


def several_settings(landscape: SeveralLandscape, longest: float, far: float) -> DescentSettings:
    """Return the settings of a descent of several bodies; slower in the last steps than for one
    part, where second derivatives cost 6 n solves both ways."""
    return DescentSettings(longest, far, most=300, newton=12)


def _measure(bodies: Sequence[Body], shares: Array, place: Place) -> Array:
    count = len(bodies)
    found = np.zeros((6 * count, 6 * count))
    for k, body in enumerate(bodies):
        here = slice(6 * k, 6 * k + 6)
        found[here, here] = shares[k] * metric(body, one_of(place, k))
    return found
