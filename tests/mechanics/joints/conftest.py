"""Small jointed systems, moved without magnetism."""

from dataclasses import dataclass

import numpy as np
import pytest

from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.joints import STILL, Side
from snapsim.mechanics.motion import Motion
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.mechanics.records import End, Frame, Strike
from snapsim.mechanics.rigid_bodies import rigid_bodies
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules

G = 9.80665
DOWN = np.array([0.0, 0.0, -G])
OAK = Material("oak", 700.0)


@dataclass
class Run:
    """What a motion gave: frames, end, bodies as the motion has them."""

    frames: list
    end: End
    bodies: object

    @property
    def last(self):
        return self.frames[-1]

    def energy(self, frame, gravity=DOWN):
        free = self.bodies.free
        weight = self.bodies.mass[free, None] * gravity
        height = float(np.sum(weight * frame.state.pose.position[free]))
        return float(self.bodies.kinetic_energies(frame.state).sum()) - height


@pytest.fixture
def body():
    def make(shape, fixed=False, name="part"):
        return Body(name, shape, OAK, None, fixed)

    return make


@pytest.fixture
def place():
    """State from rows (position, quaternion, velocity, spin), the last three optional."""

    def make(*rows):
        zero, columns = np.zeros(3), []
        for row in rows:
            row = (*row, *(None,) * (4 - len(row)))
            fill = (zero, rotations.IDENTITY, zero, zero)
            pairs = zip(row, fill, strict=True)
            columns.append([f if r is None else np.array(r, float) for r, f in pairs])
        x, q, v, w = (np.array(c) for c in zip(*columns, strict=False))
        return State(Pose(x, q), v, w)

    return make


@pytest.fixture
def sides():
    """The sides of a joint between bodies (numbers, -1 the world) in a state."""

    def make(state, *numbers):
        found = []
        for i in numbers:
            if i < 0:
                found.append(STILL)
                continue
            q = state.pose.quaternion[i]
            found.append(
                Side(
                    state.pose.position[i],
                    q,
                    rotations.matrix(q),
                    state.velocity[i],
                    state.spin[i],
                )
            )
        return found

    return make


@pytest.fixture
def move():
    def make(bodies, joints, start, duration, pair=None, gravity=DOWN, loads=None, settings=None):
        rules = SurfaceRules(pair or SurfacePair())
        kinetics = rigid_bodies(bodies)
        none = np.zeros((len(bodies), 3))
        problem = MotionProblem(
            kinetics,
            ContactGeometry(bodies, rules),
            rules,
            loads or (lambda pose: (none, none)),
            np.array(gravity, float),
            start,
            duration,
            tuple(joints),
            settings=settings or MotionSettings(),
        )
        items = list(Motion(problem).run())
        frames = []
        for item in items:
            if isinstance(item, Frame):
                frames.append(item)
            elif isinstance(item, Strike):
                frames.append(Frame(item.time, item.before, item.tally_before, True))
                frames.append(Frame(item.time, item.after, item.tally_after, True))
        return Run(frames, items[-1], kinetics)

    return make
