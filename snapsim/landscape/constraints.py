"""What keeps one body from moving freely: contacts, strings, hinges and slides, as linear rows.

    gap + J d >= 0  (contacts, taut strings, stops),      misfit + C d = 0  (hinges, slides)

d a change of place (6,) [m, rad]; rows J (k, 6), C (m, 6), gaps and misfits [m or rad]. A contact
with normal n into the body at the arm r from its centre of mass has the row (n, r x n). Gaps come
from the exact contact geometry of all other bodies, which stay where they are; hands (`hold`) are
left out: the question is what happens once they let go. Rows are exact to first order; `restored`
takes out what the second order leaves, by the shortest change that meets all rows (Newton).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array, IntArray, as_floats
from snapsim.landscape.place import Place, length, metric, moved, with_one_at
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.joints import STILL, WORLD, Joint, Rows, Side
from snapsim.numerics import rotations
from snapsim.numerics.quadratic_program import minimise
from snapsim.parts.states import Pose
from snapsim.simulation.system import System

CLEAR = 2e-9
"""Depth or misfit [m] that counts as none."""

TOUCH = 2e-7
"""Gap [m] below which surfaces count as touching."""

DEEP = 1e-6
"""Overlap [m] that no contact row shows: so deep that the shapes have swallowed each other."""

ATTEMPTS = 25


@dataclass(frozen=True)
class Rub:
    """Friction of one joint: `row` (6,) is what a change of place rubs along it; `own` are the
    joint's rows among the equalities, whose multipliers say how hard it rubs."""

    joint: Joint
    row: Array
    own: slice


@dataclass(frozen=True)
class Limits:
    """Rows at one place: contacts first, then one-sided rows of joints.

    `jacobian` (k, 6), `gap` (k,); `equality` (m, 6), `misfit` (m,). Of the first c rows, the
    contacts: `point` (c, 3) [m] and `normal` (c, 3) into the body, world axes, `other` (c,) body
    number, `friction` (c,). Of the others: `joint` (k - c,) number of the joint in the system.
    `rubs`: joints that rub.
    """

    jacobian: Array
    gap: Array
    equality: Array
    misfit: Array
    point: Array
    normal: Array
    other: IntArray
    friction: Array
    joint: IntArray
    rubs: tuple[Rub, ...] = ()

    def rubbing(self, load: Array, motion: Array) -> float:
        """Return what joints' friction takes at most along a motion (6,), force times motion,
        while joints keep the rest of a load (6,) [N, N m] on the part."""
        if not self.rubs:
            return 0.0
        borne = np.linalg.lstsq(self.equality.T, load)[0]
        limits = [one.joint.friction_limit(as_floats(borne[one.own])) for one in self.rubs]
        along = [abs(float(one.row @ motion)) for one in self.rubs]
        return float(np.dot(limits, along))

    def touching(self, within: float = TOUCH) -> Limits:
        """Return only the rows whose gap is closed."""
        keep = self.gap < within
        c = len(self.other)
        return replace(
            self,
            jacobian=self.jacobian[keep],
            gap=self.gap[keep],
            point=self.point[keep[:c]],
            normal=self.normal[keep[:c]],
            other=self.other[keep[:c]],
            friction=self.friction[keep[:c]],
            joint=self.joint[keep[c:]],
        )


class Constraints:
    """The contacts and joints of body number `body`; `parted` joints (numbers) are left out."""

    def __init__(self, system: System, body: int, parted: frozenset[int] = frozenset()) -> None:
        self.system, self.number, self.body = system, body, system.bodies[body]
        bodies = [replace(b, fixed=i != body) for i, b in enumerate(system.bodies)]
        self.geometry = ContactGeometry(bodies, system.surfaces)
        self.joints = [
            (i, j)
            for i, j in enumerate(system.joints)
            if body in j.bodies and not j.carries and i not in parted
        ]
        first, second = self.geometry.pairs.T
        self.others: IntArray = np.where(first == body, second, first).astype(np.int64)

    def pose(self, place: Place) -> Pose:
        """Return the pose of all bodies with this one at `place`."""
        return with_one_at(self.system.start.pose, self.number, place)

    def gaps(self, place: Place) -> Array:
        """Return the gap to each of `others` (p,) [m]."""
        return self.geometry.gaps(self.pose(place))

    def touched(self, place: Place, within: float = TOUCH) -> frozenset[int]:
        """Return the numbers of the bodies that this one touches."""
        return self.near(self.gaps(place), within)

    def near(self, gaps: Array, within: float) -> frozenset[int]:
        """Return the numbers of the bodies whose gap, of those `gaps` gives, is below `within`."""
        return frozenset(int(i) for i in self.others[gaps < within])

    def limits(self, place: Place, reach: float) -> Limits:
        """Return all rows, contacts with gaps below `reach` [m]."""
        contacts = self.geometry.contacts(self.pose(place), reach)
        first = contacts.pair[:, 0] == self.number
        sign = np.where(first, 1.0, -1.0)
        normal = sign[:, None] * contacts.normal
        arm = contacts.point - place.position
        other = np.where(first, contacts.pair[:, 1], contacts.pair[:, 0])
        rub = [self.system.surfaces.pair(self.number, int(i)).friction for i in other]
        jacobian = np.hstack([normal, np.cross(arm, normal)])
        one_sided, equal, owner = self._joint_rows(place)
        return Limits(
            np.vstack([jacobian, *(r[0] for r in one_sided)]),
            np.concatenate([contacts.gap, *(r[1] for r in one_sided)]),
            np.vstack([np.zeros((0, 6)), *(r[0] for r in equal)]),
            np.concatenate([np.zeros(0), *(r[1] for r in equal)]),
            contacts.point,
            normal,
            other.astype(np.int64),
            np.array(rub, dtype=np.float64),
            np.array(owner, dtype=np.int64),
            self._rubs(place, [len(r[1]) for r in equal]),
        )

    def _rubs(self, place: Place, counts: list[int]) -> tuple[Rub, ...]:
        """The joints that rub, of which each has `counts` equalities."""
        found, at = [], 0
        for (_, joint), count in zip(self.joints, counts, strict=True):
            a, b = (self._side(i, place) for i in joint.bodies)
            row, _ = self._own(joint, joint.friction_row(a, b))
            if len(row):
                found.append(Rub(joint, row[0], slice(at, at + count)))
            at += count
        return tuple(found)

    def _joint_rows(
        self, place: Place
    ) -> tuple[list[tuple[Array, Array]], list[tuple[Array, Array]], list[int]]:
        one_sided, equal, owner = [], [], []
        for number, joint in self.joints:
            a, b = (self._side(i, place) for i in joint.bodies)
            equal.append(self._own(joint, joint.equalities(a, b, 0.0)))
            one_sided.append(self._own(joint, joint.inequalities(a, b)))
            owner += [number] * len(one_sided[-1][1])
        return one_sided, equal, owner

    def _own(self, joint: Joint, found: Rows) -> tuple[Array, Array]:
        """This body's columns of a joint's rows, and their errors."""
        at = 6 * joint.bodies.index(self.number)
        return found.jacobian[:, at : at + 6], found.error

    def _side(self, number: int, place: Place) -> Side:
        if number == WORLD:
            return STILL
        pose = self.system.start.pose
        here = place if number == self.number else Place(
            pose.position[number], pose.quaternion[number]
        )  # fmt: skip
        still = np.zeros(3)
        q = here.quaternion
        return Side(here.position, q, rotations.matrix(q), still, still)

    def measure(self, place: Place) -> Array:
        """Return the matrix (6, 6) of |d|^2."""
        return metric(self.body, place)

    def moved(self, place: Place, change: Array) -> Place:
        """Return the place after a change (6,)."""
        return moved(place, change)

    def restored(self, place: Place, furthest: float = np.inf) -> Place | None:
        """Return the nearest place without overlap, joints kept; None where none is found within
        `furthest` [m]."""
        gone = 0.0
        for _ in range(ATTEMPTS):
            limits = self.limits(place, 1e-4)
            worst = max(-limits.gap.min(initial=0.0), np.abs(limits.misfit).max(initial=0.0))
            if worst <= CLEAR:
                deep = self.gaps(place).min(initial=0.0) < -DEEP
                return None if deep else place
            measure = self.measure(place)
            found = minimise(
                measure,
                np.zeros(len(measure)),
                limits.jacobian,
                -limits.gap,
                limits.equality,
                -limits.misfit,
            )
            if found is None:
                return None
            gone += length(found.d, measure)
            if gone > furthest:
                return None
            place = self.moved(place, found.d)
        return None
