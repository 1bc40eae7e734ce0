"""Blows through rows of balls that touch, released whole: what is thrown out at the far end."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Sphere
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.release import release
from snapsim.simulation.system import System

WOOD = Material("test wood", 700.0)
DIAMETER = 0.04


def row(count, e, gap, incoming=1):
    """Balls in a row on a table, `gap` [m] apart; the first comes at 1 m/s from 20 mm away."""
    names = ["table", *(f"ball {i}" for i in range(count))]
    shapes = [Box((4.0, 4.0, 0.05)), *[Sphere(DIAMETER)] * count]
    bodies = tuple(Body(n, s, WOOD, None, n == "table") for n, s in zip(names, shapes, strict=True))
    x = np.arange(count) * (DIAMETER + gap) - np.where(np.arange(count) < incoming, 0.02, 0.0)
    position = np.zeros((count + 1, 3))
    position[0, 2], position[1:, 0], position[1:, 2] = -0.025, x, 0.5 * DIAMETER
    velocity = np.zeros((count + 1, 3))
    velocity[1 : 1 + incoming, 0] = 1.0
    pose = Pose(position, np.tile(rotations.IDENTITY, (count + 1, 1)))
    start = State(pose, velocity, np.zeros((count + 1, 3)))
    rules = SurfaceRules(SurfacePair(e, 0.0), {})
    gravity = np.array([0.0, 0.0, -9.80665])
    return System("a row of balls", "", bodies, start, rules, gravity, 0.06, "draft")


@pytest.mark.parametrize("gap", [0.0, 1e-7, 5e-7])
def test_the_last_of_five_touching_balls_leaves_as_a_hertz_chain_has_it(gap):
    """0.989 of the speed (`hertz_chain` in test_impact integrates it on its own); the balls before
    it follow, the first comes back; nothing is lost at e = 1."""
    run = release(row(5, 1.0, gap))
    speed = run.velocity[-1, 1:, 0]
    np.testing.assert_allclose(speed, [-0.0711, -0.0303, -0.0145, 0.1270, 0.9888], atol=2e-4)
    assert run.energy["dissipated"][-1] == pytest.approx(0.0, abs=1e-9 * run.energy["kinetic"][0])


def test_balls_apart_by_more_than_their_compression_hand_on_all_the_speed():
    """Blows one after the other, each of equal masses at e = 1: the last takes it all."""
    run = release(row(5, 1.0, 1e-4))
    np.testing.assert_allclose(run.velocity[-1, 1:, 0], [0, 0, 0, 0, 1.0], atol=1e-6)


@pytest.mark.parametrize("e", [0.5, 0.9])
def test_a_row_with_restitution_keeps_momentum_and_gains_no_energy(e):
    run = release(row(4, e, 0.0))
    speed = run.velocity[-1, 1:, 0]
    assert speed.sum() == pytest.approx(1.0, rel=1e-9)
    assert (speed**2).sum() < 1.0
    assert speed[-1] > speed[0]
    assert np.all(np.diff(speed) > -1e-9)  # nothing closes any more
