"""A hand as a damped spring of limited force: its potential, its limit, its softness."""

from __future__ import annotations

import numpy as np
import pytest

from snapsim.mechanics.hand_spring import (
    FASTEST,
    STIFFNESS,
    HandSlice,
    hand_slice,
    hand_spring,
)
from snapsim.numerics import rotations
from snapsim.parts.states import Pose

BORNE = np.array([0.0, 0.5, -3.0]), np.array([0.0, 0.01, 0.0])


def slice_of(limit: float, moving: float = 0.0) -> HandSlice:
    spring = hand_spring(limit, 0.3, 1e-4 * np.eye(3), BORNE, 1 / 60)
    start = Pose(np.array([[0.0, 0.0, 0.0]]), rotations.IDENTITY[None])
    velocity = moving * np.array([1.0, 0.0, 0.0]), moving * np.array([0.0, 2.0, 0.0])
    wanted = np.array([0.02, 0.0, 0.01]), rotations.from_rotation_vector([0.0, 0.1, 0.0])
    return hand_slice(spring, 0, wanted, velocity, start)


def at(shift: np.ndarray, turn: np.ndarray) -> Pose:
    return Pose(shift[None], rotations.from_rotation_vector(turn)[None])


@pytest.mark.parametrize("limit", [1.0, 60.0])
@pytest.mark.parametrize("moving", [0.0, 0.2])
def test_its_force_is_the_slope_of_the_work_that_it_does(limit: float, moving: float) -> None:
    """By differences of 1e-6 m and rad; where the limit bends the law the slope is still even."""
    hand, here, turn, step = slice_of(limit, moving), np.array([0.004, 0.003, 0.001]), 0.03, 1e-6
    about = turn * np.array([0.0, 1.0, 0.0])
    force, torque = hand.wrench(at(here, about))
    for k in range(3):
        e = step * np.eye(3)[k]
        slope = (hand.work(at(here + e, about)) - hand.work(at(here - e, about))) / (2 * step)
        assert slope == pytest.approx(force[k], rel=1e-5, abs=1e-5)
    more = np.array([0.0, turn + step, 0.0]), np.array([0.0, turn - step, 0.0])
    slope = (hand.work(at(here, more[0])) - hand.work(at(here, more[1]))) / (2 * step)
    assert slope == pytest.approx(torque[1], rel=1e-5, abs=1e-6)


def test_it_never_gives_more_than_it_has() -> None:
    rng = np.random.default_rng(1)
    for _ in range(200):
        hand = slice_of(5.0, float(rng.uniform(0, 3)))
        force, torque = hand.wrench(at(rng.normal(size=3), rng.normal(size=3)))
        assert np.linalg.norm(force) <= 5.0 * (1 + 1e-12)
        assert np.linalg.norm(torque) <= 5.0 * 0.05 * (1 + 1e-12)


def test_where_it_wants_the_part_it_bears_what_it_gripped() -> None:
    hand = slice_of(60.0)
    there = Pose(hand.position[None], hand.quaternion[None])
    force, torque = hand.wrench(there)
    np.testing.assert_allclose(force, -BORNE[0], atol=1e-12)
    np.testing.assert_allclose(torque, -BORNE[1], atol=1e-12)


def test_a_heavy_part_is_held_as_stiffly_as_an_arm_is_and_a_light_one_more_softly() -> None:
    heavy, light = (hand_spring(60.0, m, m * np.eye(3), BORNE, 1 / 60) for m in (5.0, 0.01))
    assert heavy.stiffness == STIFFNESS
    assert light.stiffness == pytest.approx(0.01 * FASTEST**2)
