"""Hold: carries a part along a path, lets go at a time or past its limit, loses it in a blow."""

import numpy as np
import pytest

from snapsim.mechanics.joints import WORLD, hinge, hold
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box
from snapsim.parts.surfaces import SurfacePair

G = 9.80665
STILL = rotations.IDENTITY


def held(body, place, sides, path=(), points=None, **keys):
    block = body(Box((0.1, 0.06, 0.04)))
    state = place(((0, 0, 0), None))
    points = np.zeros((2, 3)) if points is None else points
    hand = hold("hand", (0, WORLD), points, *sides(state, 0, WORLD), path=path, **keys)
    return block, state, hand


def test_lift_of_least_jerk_has_its_peak_force_and_does_the_work_of_the_weight(
    body, place, sides, move
):
    """Peak acceleration 10/sqrt(3) d/T^2 at (1/2 - sqrt(3)/6) T (Flash & Hogan 1985, from memory;
    the derivative of 10x^3 - 15x^4 + 6x^5)."""
    lift, span = 0.3, 0.5
    block, state, hand = held(body, place, sides, ((span, np.array([0, 0, lift]), STILL),))
    run = move([block], [hand], state, span)
    assert run.last.state.pose.position[0] == pytest.approx([0, 0, lift], abs=1e-9)
    assert np.abs(run.last.state.velocity[0]).max() < 1e-9
    assert run.last.tally.hold_work == pytest.approx(block.mass * G * lift, rel=1e-7)
    peak = block.mass * (G + 10 / np.sqrt(3) * lift / span**2)
    assert run.end.joints[0].peak_force == pytest.approx(peak, rel=0.03)  # noted at steps
    assert run.end.joints[0].peak_force <= peak * (1 + 1e-9)


def test_part_turned_by_its_handle_ends_in_its_pose_with_its_moment_on_the_handle(
    body, place, sides, move
):
    handle = np.array([[-0.05, 0, 0], [-0.05, 0, 0]])
    turn = rotations.from_axis_angle([0, 1.0, 0], -0.8)
    centre = rotations.rotate(turn, [0.05, 0, 0]) - np.array([0.05, 0, 0])
    block, state, hand = held(body, place, sides, ((0.4, centre, turn),), handle)
    run = move([block], [hand], state, 0.4)
    pose = run.last.state.pose
    assert pose.position[0] == pytest.approx(centre, abs=1e-9)
    assert pose.quaternion[0] == pytest.approx(turn, abs=1e-9)
    rise = block.mass * G * centre[2]
    assert run.last.tally.hold_work == pytest.approx(rise, rel=1e-6)
    moment = block.mass * G * 0.05 * np.cos(0.8)
    force, torque = run.end.joints[0].last_force, run.end.joints[0].last_torque
    assert (force, torque) == pytest.approx((block.mass * G, moment), rel=1e-6)


def test_hand_lets_go_at_its_time_and_the_part_falls_freely(body, place, sides, move):
    block, state, hand = held(body, place, sides, until=0.2)
    run = move([block], [hand], state, 0.5)
    assert run.last.state.pose.position[0, 2] == pytest.approx(-0.5 * G * 0.09, abs=1e-10)
    assert run.end.joints[0].parted == pytest.approx(0.2, abs=1e-12)


def test_hand_lets_go_where_the_lift_asks_more_than_its_limit(body, place, sides, move):
    """m (g + s'' d) = limit: the time is the first root of the closed form."""
    lift, span = 0.3, 0.5
    block, state, _ = held(body, place, sides)
    extra = 0.6 * 10 / np.sqrt(3) * lift / span**2
    *_, hand = held(
        body,
        place,
        sides,
        ((span, np.array([0, 0, lift]), STILL),),
        force_limit=block.mass * (G + extra),
    )
    run = move([block], [hand], state, span)
    x = np.roots([120, -180, 60, -extra * span**2 / lift])
    first = min(r.real for r in x if abs(r.imag) < 1e-12 and r.real > 0) * span
    assert run.end.joints[0].parted == pytest.approx(first, abs=1e-8)
    speed = 30 * (first / span) ** 2 * (1 - first / span) ** 2 * lift / span
    assert run.last.state.velocity[0, 2] == pytest.approx(speed - G * (span - first), abs=1e-7)


def test_clamp_without_a_limit_that_presses_parts_together_ends_the_run(body, place, sides, move):
    block = body(Box((0.1, 0.06, 0.04)))
    table = body(Box((1, 1, 0.1)), fixed=True, name="table")
    state = place(((0, 0, 0.1), None), ((0, 0, -0.05), None))
    path = ((0.5, np.array([0, 0, -0.1]), STILL),)
    ends = sides(state, 0, WORLD)
    at = np.array([[0, 0, 0], [0, 0, 0.1]])
    clamp = hold("clamp", (0, WORLD), at, *ends, path=path)
    run = move([block, table], [clamp], state, 1.0, SurfacePair(0.2, 0.3))
    assert (run.end.outcome, run.end.time < 0.5) == ("stopped", True)
    hand = hold("hand", (0, WORLD), at, *ends, path=path, force_limit=100.0)
    run = move([block, table], [hand], state, 1.0, SurfacePair(0.2, 0.3))
    assert run.end.outcome == "settled"
    assert run.last.state.pose.position[0, 2] == pytest.approx(0.02, abs=2e-6)
    assert run.end.joints[0].parted < 0.5


def test_part_held_by_a_swinging_bar_is_carried_by_it(body, place, sides, move):
    """A block clamped to a hinged bar moves with it as one body: compare with their sum."""
    bar, block = body(Box((0.3, 0.04, 0.02)), name="bar"), body(Box((0.05, 0.04, 0.02)))
    state = place(((0.15, 0, 0), None), ((0.275, 0, -0.03), None))
    pins = np.array([[-0.15, 0, 0], [0, 0, 0]])
    joints = [
        hinge("pin", (0, WORLD), pins, np.array([0, 1.0, 0]), *sides(state, 0, WORLD)),
        hold("clamp", (1, 0), np.array([[0, 0, 0], [0.125, 0, -0.03]]), *sides(state, 1, 0)),
    ]
    run = move([bar, block], joints, state, 0.4)
    mass = np.array([bar.mass, block.mass])
    x = np.array([[0.15, 0, 0], [0.275, 0, -0.03]])
    inertia = bar.inertia[1, 1] + block.inertia[1, 1] + mass @ np.sum(x**2, axis=1)
    centre = mass @ x
    angle = 2 * np.arctan2(*run.last.state.pose.quaternion[0, [2, 0]])
    turned = rotations.rotate(rotations.from_axis_angle([0, 1.0, 0], angle), centre)
    speed = np.sqrt(2 * G * (centre[2] - turned[2]) / inertia)
    assert abs(run.last.state.spin[1, 1]) == pytest.approx(speed, rel=1e-7)


def test_handle_feels_the_acceleration_of_a_part_that_is_carried_and_turned(
    body, place, sides, move
):
    """The centre goes straight by the share s, so the handle, off centre, bears m (s'' d - g)."""
    handle = np.array([[-0.05, 0, 0], [-0.05, 0, 0]])
    span, time, way = 0.4, 0.13, np.array([0.02, 0.1, 0.04])
    turn = rotations.from_axis_angle([0, 1.0, 0], -2.0)
    block, state, hand = held(body, place, sides, ((span, way, turn),), handle)
    run = move([block], [hand], state, time)
    x = time / span
    gain = 60 * x * (1 - x) * (1 - 2 * x) / span**2
    load = block.mass * (gain * way + np.array([0, 0, G]))
    assert run.end.joints[0].last_force == pytest.approx(np.linalg.norm(load), rel=1e-8)
