"""A made-up run to draw: a ring-shaped blank swings up from a table to a block magnet and rebounds.

The motion is invented, not computed; the tests here are about pictures, not about physics.
"""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.errors import MissingSystemLibrary
from snapsim.mechanics.ending import EndReason, ended
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Ring
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules
from snapsim.render import offscreen
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Audit, Cells, Cost, Impact, Trajectory

IMPACT = 0.18
END = 0.9


def make_system():
    magnet = Material("NdFeB N45", 7500.0, remanence=1.35, family="NdFeB")
    iron = Material(
        "grey cast iron", 7200.0, MagnetisationCurve(susceptibility=400, saturation=1.6)
    )
    oak = Material("oak", 700.0)
    bodies = (
        Body("magnet", Box((0.12, 0.08, 0.04)), magnet, np.array([0.0, 0.0, -1.0]), True),
        Body("blank", Ring(0.11, 0.026, 0.018), iron, None, False),
        Body("table", Box((1.2, 0.8, 0.03)), oak, None, True),
    )
    tilt = rotations.from_axis_angle([0, 1, 0], np.radians(8))
    position = np.array([[0, 0, 0.02], [-0.012, 0, -0.13], [0, 0, -0.175]])
    quaternion = np.stack([rotations.IDENTITY, tilt, rotations.IDENTITY])
    start = State(Pose(position, quaternion), np.zeros((3, 3)), np.zeros((3, 3)))
    return System(
        "Cast-iron blank leaps to a block magnet (invented)",
        "",
        bodies,
        start,
        SurfaceRules(),
        np.array([0.0, 0.0, -9.80665]),
        END,
    )


def swing(t):
    """Height and lean of the blank at time `t`, smooth up to the blow, a small hop after it."""
    if t <= IMPACT:
        u = t / IMPACT
        return -0.13 + 0.074 * u**3, np.radians(8 + 78 * u**2)
    w = (t - IMPACT) / (END - IMPACT)
    return -0.056 - 0.02 * np.sin(np.pi * min(3 * w, 1)), np.radians(86 - 30 * min(w * 3, 1))


def make_trajectory():
    system = make_system()
    before = np.linspace(0, IMPACT, 61)
    after = np.linspace(IMPACT, END, 121)
    time = np.concatenate([before, after])
    k = len(time)
    position = np.repeat(system.start.pose.position[None], k, axis=0)
    quaternion = np.repeat(system.start.pose.quaternion[None], k, axis=0)
    velocity, spin = np.zeros((k, 3, 3)), np.zeros((k, 3, 3))
    for i, t in enumerate(time):
        late = i >= len(before)
        height, lean = swing(t)
        h = 1e-6
        low, high = (t, t + h) if late or t == 0 else (t - h, t)
        low, high = (t - h, t) if t == END else (low, high)
        velocity[i, 1, 2] = (
            (swing(high + 1e-12)[0] - swing(low + 1e-12)[0]) / h
            if late
            else (swing(high)[0] - swing(low)[0]) / h
        )
        position[i, 1, 0] = -0.012 + 0.03 * min(t / IMPACT, 1) ** 2
        position[i, 1, 2] = height
        quaternion[i, 1] = rotations.from_axis_angle([0, 1, 0], lean)
    mass = system.bodies[1].mass
    kinetic = 0.5 * mass * (velocity[:, 1] ** 2).sum(axis=1)
    cells, magnetisation = make_cells(position, quaternion)
    speed = float(np.linalg.norm(velocity[60, 1]))
    blow = Impact(
        IMPACT, "blank", "magnet", np.array([0.02, 0, 0.0]), np.array([0, 0, -1.0]),
        speed, float(kinetic[60]), mass, float(kinetic[60]), 1.0, (100.0, 200.0),
    )  # fmt: skip
    zero = np.zeros(k)
    return Trajectory(
        system=system,
        ending=ended(EndReason.AT_REST),
        time=time,
        position=position,
        quaternion=quaternion,
        velocity=velocity,
        spin=spin,
        force=np.zeros((k, 3, 3)),
        torque=np.zeros((k, 3, 3)),
        energy={"kinetic": kinetic, "gravity": zero, "magnetic": zero, "dissipated": zero},
        gap=np.maximum(-position[:, 1, 2] - 0.055, 0.0),
        cells={"blank": cells},
        magnetisation={"blank": magnetisation},
        impacts=(blow,),
        loads={},
        audit=Audit(*([0.0] * 10)),
        cost=Cost(0, 0, 0.0),
        accuracy={},
    )


def make_cells(position, quaternion):
    """Cells on two circles, magnetised by a plain dipole-like falling field: something to draw."""
    turn = 2 * np.pi * np.arange(24) / 24
    places = np.concatenate(
        [np.column_stack([r * np.cos(turn), r * np.sin(turn), 0 * turn]) for r in (0.024, 0.043)]
    )
    world = position[:, None, 1] + rotations.rotate(quaternion[:, None, 1], places[None])
    away = world - np.array([0, 0, 0.02])
    strength = (1.4 / MU_0) / (1 + (np.linalg.norm(away, axis=-1) / 0.08) ** 3)
    direction = away * [0.4, 0.4, 1.0]
    direction /= np.linalg.norm(direction, axis=-1, keepdims=True)
    field = rotations.rotate_back(quaternion[:, None, 1], direction * strength[..., None])
    return Cells(places, np.full(48, 3e-6)), field


@pytest.fixture(scope="session")
def trajectory():
    return make_trajectory()


@pytest.fixture(scope="session")
def one_frame(trajectory):
    """The same scene where nothing is let go: a run of a single frame."""
    series = ("time", "position", "quaternion", "velocity", "spin", "force", "torque", "gap")
    cut = {name: getattr(trajectory, name)[:1] for name in series}
    for name in ("energy", "magnetisation"):
        cut[name] = {k: v[:1] for k, v in getattr(trajectory, name).items()}
    return replace(trajectory, impacts=(), ending=ended(EndReason.NOTHING_FREE), **cut)


@pytest.fixture(scope="session")
def system():
    return make_system()


@pytest.fixture(scope="session")
def drawing():
    """Skips the test only where the probe finds no off-screen OpenGL."""
    try:
        offscreen.require()
    except MissingSystemLibrary as missing:
        pytest.skip(str(missing))
