"""Slide: a rail level and tilted, with friction and stops."""

import numpy as np
import pytest

from snapsim.mechanics.joints import WORLD, slide
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box

G = 9.80665


def on_rail(body, place, sides, degrees, velocity=0.0, **keys):
    """A block on a rail that runs down along +x at an angle."""
    block, turn = (
        body(Box((0.1, 0.06, 0.04))),
        rotations.from_axis_angle([0, 1.0, 0], np.radians(degrees)),
    )
    along = rotations.rotate(turn, [1.0, 0, 0])
    state = place(((0, 0, 0), turn, velocity * along))
    rail = slide(
        "rail",
        (0, WORLD),
        np.zeros((2, 3)),
        np.array([1.0, 0, 0]),
        *sides(state, 0, WORLD),
        **keys,
    )
    return block, state, rail, along


@pytest.mark.parametrize(
    ("degrees", "mu"),
    # a = g (sin - mu cos), Meriam & Kraige, Dynamics, ch. 3 (from memory).
    [(30.0, 0.0), (30.0, 0.2), (80.0, 0.5)],
)
def test_block_runs_down_a_rail_with_constant_acceleration(body, place, sides, move, degrees, mu):
    block, state, rail, along = on_rail(body, place, sides, degrees, friction=mu)
    run = move([block], [rail], state, 0.5)
    slope = np.radians(degrees)
    want = 0.5 * 0.25 * G * (np.sin(slope) - mu * np.cos(slope))
    assert run.last.state.pose.position[0] == pytest.approx(want * along, abs=1e-9)
    assert run.last.tally.friction_loss == pytest.approx(
        mu * block.mass * G * np.cos(slope) * want, rel=1e-8, abs=1e-12
    )


@pytest.mark.parametrize(("degrees", "stays"), [(21.7, True), (21.9, False)])
def test_block_stays_on_the_rail_below_the_friction_angle(body, place, sides, move, degrees, stays):
    """mu = 0.4: 21.801 degrees."""
    block, state, rail, _ = on_rail(body, place, sides, degrees, friction=0.4)
    run = move([block], [rail], state, 0.5)
    assert (run.end.outcome == "settled") is stays
    moved = float(np.abs(run.last.state.pose.position).max())
    assert (moved < 1e-10) is stays


def test_pushed_block_stops_after_v_squared_over_2_mu_g_and_does_not_creep_back(
    body, place, sides, move
):
    block, state, rail, _ = on_rail(body, place, sides, 0.0, 1.0, friction=0.25)
    run = move([block], [rail], state, 1.0)
    assert run.last.state.pose.position[0, 0] == pytest.approx(1 / (2 * 0.25 * G), abs=1e-8)
    assert run.end.outcome == "settled"
    assert run.last.tally.friction_loss == pytest.approx(0.5 * block.mass, rel=1e-8)


def test_block_bounces_between_stops_and_keeps_its_energy(body, place, sides, move):
    """Level, no friction, e = 1: a triangle wave between the stops."""
    block, state, rail, _ = on_rail(
        body, place, sides, 0.0, 1.0, stops=(-0.1, 0.1), restitution=1.0
    )
    run = move([block], [rail], state, 0.75)
    assert run.last.state.pose.position[0, 0] == pytest.approx(-0.05, abs=1e-8)
    assert run.last.state.velocity[0, 0] == pytest.approx(1.0, abs=1e-9)


def test_rail_bears_the_weight_across_it_and_the_stop_the_weight_along_it(body, place, sides, move):
    """The joint's force is the whole weight, whichever way the rail is tilted."""
    block, state, rail, _ = on_rail(body, place, sides, 35.0, stops=(-0.05, 0.02))
    run = move([block], [rail], state, 2.0)
    assert run.end.outcome == "settled"
    assert run.end.joints[0].last_force == pytest.approx(block.mass * G, rel=1e-9)
