"""Slide: a rail level and tilted, with friction and stops."""

import numpy as np
import pytest

from snapsim.mechanics.joints import WORLD, hinge, slide
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


def test_block_flung_out_along_a_turning_rod_keeps_energy_and_angular_momentum(
    body, place, sides, move
):
    """Free rod on a vertical axle, block on it: (I + m r^2) w and the energy stay, which gives
    both w and dr/dt at any r (Goldstein, Classical Mechanics, section 1.3, from memory). Errors
    in the turning rail's accelerations would be taken out each step, at the cost of energy."""
    rod, block = body(Box((0.4, 0.02, 0.02)), name="rod"), body(Box((0.03, 0.03, 0.03)))
    start, spin = 0.05, np.array([0, 0, 8.0])
    lift = np.array([0, 0, 0.05])
    state = place(
        ((0, 0, 0), None, None, spin), ((start, 0, 0.05), None, np.cross(spin, [start, 0, 0]), spin)
    )
    joints = [
        hinge("axle", (0, WORLD), np.zeros((2, 3)), spin / 8, *sides(state, 0, WORLD)),
        slide(
            "rail",
            (1, 0),
            np.array([np.zeros(3), lift]),
            np.array([1.0, 0, 0]),
            *sides(state, 1, 0),
        ),
    ]
    run = move([rod, block], joints, state, 0.2)
    last = run.last.state
    r = float(np.hypot(*last.pose.position[1, :2]))
    out = last.velocity[1] @ last.pose.position[1] / r
    fixed = rod.inertia[2, 2] + block.inertia[2, 2]
    inertia = [fixed + block.mass * x**2 for x in (start, r)]
    w = 8.0 * inertia[0] / inertia[1]
    assert r > 2 * start
    assert last.spin[:, 2] == pytest.approx([w, w], rel=1e-7)
    speed = np.sqrt((inertia[0] * 64.0 - inertia[1] * w**2) / block.mass)
    assert out == pytest.approx(speed, rel=1e-7)
