"""What stays the same in a motion, from start to end: bodies, joints, surfaces, loads, numbers.

Free bodies are those of a linkage of no joints: nothing below asks whether there are any.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.brake import Brake
from snapsim.mechanics.contact import ContactGeometry, ContactSet
from snapsim.mechanics.contact_springs import ContactStiffness, Springs
from snapsim.mechanics.joints.contract import Joint
from snapsim.mechanics.linkage import Linkage
from snapsim.mechanics.material_restitution import MaterialRestitution
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules

LoadFunction = Callable[[Pose], tuple[Array, Array]]
"""Applied force and torque (n, 3) each, about the centres of mass, world axes, without gravity."""


@dataclass(frozen=True)
class MotionProblem:
    """An initial value problem: `start` and what acts on n bodies for `duration` [s].

    `loads` serve flight, `contact_loads` (`loads` without them) sustained contact, which bears a
    rougher solve; `gravity` (3,) [m/s^2]. Without `stiffness` all contacts are equally stiff in a
    blow at several. `rebounds` is asked where a pair's restitution is that of its materials. A
    `brake` acts by how the bodies move. All these act `until` a moment [s], from which on the
    problem is the `later` one, of the same bodies and joints with other loads.
    """

    bodies: RigidBodies
    geometry: ContactGeometry
    surfaces: SurfaceRules
    loads: LoadFunction
    gravity: Array
    start: State
    duration: float
    joints: tuple[Joint, ...] = ()
    contact_loads: LoadFunction | None = None
    stiffness: ContactStiffness | None = None
    rebounds: MaterialRestitution | None = None
    settings: MotionSettings = field(default_factory=MotionSettings)
    brake: Brake | None = None
    until: float = np.inf
    later: MotionProblem | None = None

    @cached_property
    def linkage(self) -> Linkage:
        """The joints together."""
        return Linkage(self.joints, len(self.bodies.mass))

    @cached_property
    def pressing_loads(self) -> LoadFunction:
        """The loads of sustained contact."""
        return self.contact_loads or self.loads

    @cached_property
    def pull(self) -> float:
        """Size of gravity [m/s^2]."""
        return float(np.linalg.norm(self.gravity))

    @cached_property
    def weight(self) -> Array:
        """Force of gravity (n, 3) [N] on what is free."""
        weight: Array = np.where(self.bodies.free, self.bodies.mass, 0.0)[:, None] * self.gravity
        return weight

    @cached_property
    def least_load(self) -> Array:
        """What no body's load (n,) [N] counts as less than; infinite where it is fixed."""
        bodies = self.bodies
        least: Array = np.where(bodies.free, bodies.mass * self.pull + 1e-9, np.inf)
        return least

    @cached_property
    def fall(self) -> float:
        """How far the applied forces alone may move a body in a step of contact [m]."""
        smallest = float(self.bodies.reach[self.bodies.free].min(initial=np.inf))
        return min(self.settings.fall, self.settings.fall_share * smallest)

    @cached_property
    def friction_table(self) -> Array:
        """Friction (n, n) of every two bodies."""
        numbers = range(len(self.bodies.mass))
        table = [self.surfaces.pair(a, b).friction for a in numbers for b in numbers]
        return np.array(table, dtype=np.float64).reshape(len(numbers), len(numbers))

    @cached_property
    def stage(self) -> tuple[Array, float]:
        """Centre (3,) and radius [m] of the ball in which the motion is followed."""
        position = self.start.pose.position
        centre = position.mean(axis=0)
        spread = np.linalg.norm(position - centre, axis=1) + self.bodies.reach
        return centre, 5.0 + 5.0 * float(spread.max())

    def friction(self, contacts: ContactSet) -> Array:
        """Return the friction of each contact (c,)."""
        friction: Array = self.friction_table[contacts.pair[:, 0], contacts.pair[:, 1]]
        return friction

    def springs(self, contacts: ContactSet) -> Springs | None:
        """Return how stiff contacts are, where several are struck together."""
        if self.stiffness is None or len(contacts) < 2:
            return None
        return self.stiffness.springs(contacts)
