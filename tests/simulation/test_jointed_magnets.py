"""Joints and magnets together: frequencies, speeds and loads against the energy of the same model.

The energy is the magnetic model's own, differentiated or integrated numerically here; what is
checked is that motion, joints and loads follow from it.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from snapsim.magnetics.model import MagneticModel
from snapsim.mechanics.joints import STILL, WORLD, Side, String, hinge, hold
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Sphere
from snapsim.parts.states import Pose
from snapsim.run import release as releasing

G = 9.80665
Y = np.array([0.0, 1.0, 0.0])


def release(system):
    """Let go, integrated to 1e-8: what is compared here is finer than a user's run needs."""
    return releasing.release(system, settings=MotionSettings())


def side(state, number):
    q = state.pose.quaternion[number]
    return Side(state.pose.position[number], q, rotations.matrix(q), np.zeros(3), np.zeros(3))


def swinging(make_body, make_system, materials, part, arm, axis, gravity):
    """A part on an arm from the origin along `arm` when at rest, a fixed magnet beyond it."""
    magnet = make_body(
        "magnet", Box((0.04, 0.04, 0.02)), materials["magnet"], (0, 0, 1), fixed=True
    )
    return make_system(
        [(part, arm), (magnet, (0, 0, -0.16))], gravity=gravity, detail="draft"
    ), axis


def turned(system, arm, axis, angle):
    """The pose of the two bodies with the arm turned by `angle` [rad]."""
    q = rotations.from_axis_angle(axis, angle)
    pose = system.start.pose
    position, quaternion = pose.position.copy(), pose.quaternion.copy()
    position[0], quaternion[0] = rotations.rotate(q, arm), q
    return Pose(position, quaternion)


def potential(system, arm, axis):
    """Energy [J] against the angle: magnetic and of the weight, from its value at 0."""
    model = MagneticModel(system.bodies, system.detail, 1e-13)

    def energy(angle):
        pose = turned(system, arm, axis, angle)
        weight = system.bodies[0].mass * system.gravity
        return model.evaluate(pose).energy - float(weight @ pose.position[0])

    return energy


def pinned(system, arm, axis, angle, duration):
    """The same scene with the part hinged to the origin and let go at `angle`."""
    pose = turned(system, arm, axis, angle)
    start = replace(system.start, pose=pose)
    points = np.array([-arm, np.zeros(3)])
    pin = hinge("pin", (0, WORLD), points, axis, side(start, 0), STILL)
    return replace(system, start=start, joints=(pin,), duration=duration)


def inertia(part, arm, axis):
    return float(axis @ part.inertia @ axis) + part.mass * float(arm @ arm)


def test_hinged_iron_bar_beside_a_magnet_swings_at_the_frequency_of_its_energys_curvature(
    make_body, make_system, materials
):
    """omega^2 = E''(0)/I, E'' by central differences of the model's energy. Let go at 0.004 rad it
    passes 0 after a quarter period; tolerance 2e-4: at 0.02 rad the swing is off by 0.2 %, and
    that falls as the square."""
    bar = make_body("bar", Box((0.01, 0.01, 0.06)), materials["iron"](200.0, 1.6))
    arm = np.array([0.0, 0, -0.07])
    system, axis = swinging(make_body, make_system, materials, bar, arm, Y, (0, 0, 0))
    energy, h = potential(system, arm, axis), 0.01
    values = [energy(k * h) for k in (-2, -1, 0, 1, 2)]
    curvature = (-values[0] + 16 * values[1] - 30 * values[2] + 16 * values[3] - values[4]) / (
        12 * h**2
    )
    quarter = 0.5 * np.pi / np.sqrt(curvature / inertia(bar, arm, axis))
    assert curvature > 0
    run = release(pinned(system, arm, axis, 0.004, quarter))
    angle = 2 * np.arctan2(run.quaternion[-1, 0, 2], run.quaternion[-1, 0, 0])
    assert abs(angle / 0.004) < 2e-4 * np.pi / 2
    assert run.audit.unaccounted_fraction < 1e-5


def test_magnet_pendulum_over_a_magnet_passes_the_bottom_as_quadrature_of_its_energy_says(
    make_body, make_system, materials
):
    """w(a) = sqrt(2 (U(A) - U(a))/I), t = integral da/w with a = A cos(s), 32 Gauss nodes."""
    bob = make_body("bob", Box((0.02, 0.02, 0.02)), materials["magnet"], (0, 0, 1))
    arm = np.array([0.0, 0, -0.11])
    system, axis = swinging(make_body, make_system, materials, bob, arm, Y, (0, 0, -G))
    energy, top = potential(system, arm, axis), 0.6
    inertia_ = inertia(bob, arm, axis)
    high = energy(top)
    nodes, weights = np.polynomial.legendre.leggauss(32)
    s = 0.25 * np.pi * (nodes + 1)
    speeds = np.array([np.sqrt(2 * (high - energy(top * np.cos(x))) / inertia_) for x in s])
    time = 0.25 * np.pi * float(weights @ (top * np.sin(s) / speeds))
    run = release(pinned(system, arm, axis, top, time))
    angle = 2 * np.arctan2(run.quaternion[-1, 0, 2], run.quaternion[-1, 0, 0])
    speed = np.sqrt(2 * (high - energy(0.0)) / inertia_)
    assert abs(run.spin[-1, 0, 1]) == pytest.approx(speed, rel=1e-5)
    assert abs(angle) < 1e-5
    pull = run.force[-1, 0, 2]
    load = bob.mass * (G + 0.11 * speed**2) - pull
    assert run.loads["pin"].last_force == pytest.approx(load, rel=1e-5)


def hanging(make_body, make_system, materials):
    """A steel ball above a magnet that pulls it down."""
    ball = make_body("ball", Sphere(0.03), materials["iron"](100.0, 1.6))
    magnet = make_body(
        "magnet", Box((0.06, 0.06, 0.02)), materials["magnet"], (0, 0, 1), fixed=True
    )
    return make_system(
        [(ball, (0, 0, 0.05)), (magnet, (0, 0, -0.01))], duration=1.0, detail="draft"
    )


def test_string_of_a_ball_over_a_magnet_bears_its_weight_and_the_magnets_pull(
    make_body, make_system, materials
):
    system = hanging(make_body, make_system, materials)
    cord = String("cord", (0, WORLD), np.array([[0, 0, 0], [0, 0, 0.25]]), length=0.2)
    run = release(replace(system, joints=(cord,)))
    weight = system.bodies[0].mass * G
    pull = -run.force[-1, 0, 2]
    assert run.outcome == "settled"
    assert pull > weight
    assert run.loads["cord"].last_force == pytest.approx(weight + pull, rel=1e-9)
    assert run.loads["magnet"].peak_force == pytest.approx(pull, rel=1e-9)


def test_hand_that_lowers_a_ball_to_a_magnet_loses_it_where_the_pull_passes_its_limit(
    make_body, make_system, materials
):
    """There weight, pull and inertia of the carried ball add up to the limit; afterwards the ball
    falls onto the magnet. The height follows from the model's force and the path's acceleration."""
    system = hanging(make_body, make_system, materials)
    start, ball = system.start, system.bodies[0]
    path = ((0.4, np.array([0, 0, 0.02]), rotations.IDENTITY),)
    points = np.array([[0, 0, 0], [0, 0, 0.05]])
    limit = 20.0
    hand = hold("hand", (0, WORLD), points, side(start, 0), STILL, path=path, force_limit=limit)
    run = release(replace(system, joints=(hand,)))
    model = MagneticModel(system.bodies, system.detail, 1e-13)

    def margin(time):
        x = time / 0.4
        z = 0.05 - 0.03 * (10 * x**3 - 15 * x**4 + 6 * x**5)
        a = -0.03 * 60 * x * (1 - x) * (1 - 2 * x) / 0.4**2
        pose = start.pose
        position = pose.position.copy()
        position[0, 2] = z
        pull = -model.evaluate(Pose(position, pose.quaternion)).force[0, 2]
        return limit - (ball.mass * (G + a) + pull)

    parted = run.loads["hand"].parted
    assert parted == pytest.approx(brentq(margin, 1e-3, 0.399), abs=1e-6)
    assert run.impacts[0].against == "magnet"
    assert run.audit.unaccounted_fraction < 1e-3
