"""Undoing penetration takes the energy that it gives out of the motion, and nothing else."""

import numpy as np
import pytest

from snapsim.mechanics.position_correction import clusters, owed, slowed
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State

MASS = np.array([1e9, 2.0, 0.5, 1.0])
INERTIA = np.array([np.eye(3), np.diag([2, 3, 4]) * 1e-3, np.diag([1, 1, 2]) * 1e-4, np.eye(3)])
FREE = np.array([False, True, True, True])
NONE = np.zeros(4, dtype=bool)
PAIRS = np.array([[1, 2]])


@pytest.fixture
def bodies():
    """A fixed body and three free ones."""
    inverse = np.where(FREE, 1 / MASS, 0.0)
    inverse_inertia = np.linalg.inv(INERTIA) * FREE[:, None, None]
    return RigidBodies(MASS, INERTIA, inverse, inverse_inertia, FREE, np.full(4, 0.05))


@pytest.fixture
def state():
    """Everything on the move, but for the fixed body."""
    r = np.random.default_rng(3)
    pose = Pose(0.1 * r.normal(size=(4, 3)), rotations.normalise(r.normal(size=(4, 4))))
    moving = FREE[:, None]
    return State(pose, r.normal(size=(4, 3)) * moving, 5 * r.normal(size=(4, 3)) * moving)


def total(bodies, state):
    """Momentum and angular momentum about the origin of bodies 1 and 2."""
    p = MASS[1:3, None] * state.velocity[1:3]
    spin = bodies.angular_momentum(state)[1:3]
    return p.sum(axis=0), (spin + np.cross(state.pose.position[1:3], p)).sum(axis=0)


def test_a_floating_pair_gives_the_energy_and_keeps_its_momenta(bodies, state):
    raised = np.array([0.0, 0.03, 0.02, 0.0])
    after, given = slowed(bodies, state, PAIRS, raised, NONE)
    lost = bodies.kinetic_energies(state) - bodies.kinetic_energies(after)
    assert given.sum() == pytest.approx(0.05, rel=1e-9)
    np.testing.assert_allclose(given, lost, rtol=0, atol=1e-15)
    for was, now in zip(total(bodies, state), total(bodies, after), strict=True):
        np.testing.assert_allclose(now, was, atol=1e-12)
    np.testing.assert_array_equal(after.velocity[3], state.velocity[3])


def test_a_pair_that_leans_on_a_fixed_body_is_slowed_by_one_factor(bodies, state):
    raised = np.array([0.0, 0.03, 0.02, 0.0])
    after, _ = slowed(bodies, state, np.array([[1, 2], [0, 1]]), raised, NONE)
    before = bodies.kinetic_energies(state)
    assert before.sum() - bodies.kinetic_energies(after).sum() == pytest.approx(0.05, rel=1e-9)
    ratio = after.velocity[1:3] / state.velocity[1:3]
    np.testing.assert_allclose(ratio, ratio[0, 0])
    np.testing.assert_allclose(after.spin[1:3] / state.spin[1:3], ratio)


def test_what_fell_is_given_back(bodies, state):
    after, _ = slowed(bodies, state, PAIRS, np.array([0, -0.005, 0, 0]), NONE)
    before = bodies.kinetic_energies(state)
    assert bodies.kinetic_energies(after).sum() - before.sum() == pytest.approx(5e-3, rel=1e-9)


@pytest.mark.parametrize("raised", [-1e3, 1e3])
def test_what_the_motion_has_not_is_left(bodies, state, raised):
    after, _ = slowed(bodies, state, PAIRS, np.array([0, raised, 0, 0]), NONE)
    np.testing.assert_array_equal(after.velocity, state.velocity)


def test_bodies_that_joints_hold_are_left(bodies, state):
    tied = np.array([False, False, True, False])
    after, _ = slowed(bodies, state, PAIRS, np.array([0, 0.05, 0, 0]), tied)
    np.testing.assert_array_equal(after.spin, state.spin)


def test_clusters_are_free_bodies_that_touch_directly_or_through_others():
    free = np.array([True, True, True, True, True, False])
    label = clusters(np.array([[1, 2], [4, 2], [0, 3], [0, 5], [1, 5]]), free)
    groups = sorted(tuple(np.flatnonzero(label == k).tolist()) for k in np.unique(label))
    assert groups == [(0, 3), (1, 2, 4), (5,)]


NOTHING = np.zeros((1, 3)), np.zeros((1, 3))


@pytest.fixture
def lone():
    """One free body."""
    return RigidBodies(
        np.ones(1), np.eye(3)[None], np.ones(1), np.eye(3)[None], np.ones(1, bool), np.ones(1)
    )


def test_a_correction_costs_the_work_of_its_displacement_and_turn(lone):
    turn = np.array([0.0, 2e-6, 0.0])
    sunk = Pose(np.zeros((1, 3)), rotations.normalise(np.array([[1.0, 2, 0, 1]])))
    pose = Pose(
        np.array([[1e-6, 0, 3e-6]]),
        rotations.multiply(rotations.from_rotation_vector(turn)[None], sunk.quaternion),
    )
    load, weight = (np.array([[3.0, 0, 0]]), np.array([[0, 5.0, 0]])), np.array([[0, 0, -7.0]])
    found = owed(lone, NOTHING, NOTHING, load, load, weight, sunk, pose)
    np.testing.assert_allclose(found, [[-3e-6 - 1e-5 + 2.1e-5], [-2.1e-5]], rtol=1e-9)


def test_unequal_steps_are_settled_to_the_trapezoidal_rule(lone):
    """(F1 + F2).(d1 + d2)/2 is what the field did; F1.d1 + F2.d2 was booked. The motion, which got
    what was booked, owes the difference."""
    pose = Pose(np.zeros((1, 3)), np.array([[1.0, 0, 0, 0]]))
    r = np.random.default_rng(5)
    d1, d2, first, second = r.normal(size=(4, 2, 1, 3))
    found = owed(lone, tuple(d2), tuple(d1), tuple(second), tuple(first), 0 * d1[0], pose, pose)
    did = ((first + second) * (d1 + d2)).sum() / 2
    booked = (first * d1 + second * d2).sum()
    assert found[0, 0] == pytest.approx(booked - did, rel=1e-12)
