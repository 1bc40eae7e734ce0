"""String: slack and taut again, elastic and inelastic, its breaking load, chains, and contact."""

import numpy as np
import pytest
from scipy.special import ellipkinc

from snapsim.mechanics.joints import WORLD, String, hinge
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Sphere
from snapsim.parts.surfaces import SurfacePair

G = 9.80665
CENTRES = np.zeros((2, 3))


def loop(place, body, alpha, length=0.5, **keys):
    """A ball at the bottom of its string, fast enough to go slack `alpha` short of the top."""
    ball = body(Sphere(0.02))
    speed = np.sqrt(G * length * (2 + 3 * np.cos(alpha)))
    state = place(((0, 0, -length), None, (speed, 0, 0)))
    return ball, state, String("cord", (0, WORLD), CENTRES, length=length, **keys)


@pytest.mark.parametrize("e", [0.0, 0.7, 1.0])
def test_string_goes_slack_flies_a_parabola_and_snaps_taut(body, place, move, e):
    """Slack where v^2 = g L cos(alpha); then |x|^2 - L^2 = t^3 g (g t/4 - v sin(alpha)), so taut
    again after 4 v sin(alpha)/g; there the radial speed is turned by -e and the rest is kept.
    (The quartic's other terms cancel; plain kinematics.) The string is fixed at the centre, so no
    spin arises."""
    alpha, length = np.radians(60.0), 0.5
    ball, state, cord = loop(place, body, alpha, length, restitution=e)
    run = move([ball], [cord], state, 1.1)
    v = np.sqrt(G * length * np.cos(alpha))
    flight = 4 * v * np.sin(alpha) / G
    times = [f.time for f in run.frames]
    i = next(k for k in range(1, len(times)) if times[k] == times[k - 1])
    before, after = run.frames[i - 1].state, run.frames[i].state
    start = length * np.array([np.sin(alpha), 0, np.cos(alpha)])
    left = v * np.array([-np.cos(alpha), 0, np.sin(alpha)])
    taut = start + flight * left + 0.5 * flight**2 * np.array([0, 0, -G])
    assert before.pose.position[0] == pytest.approx(taut, abs=3e-7)
    closing = left + flight * np.array([0, 0, -G])
    assert before.velocity[0] == pytest.approx(closing, abs=3e-6)
    out = taut / length
    assert after.velocity[0] == pytest.approx(closing - (1 + e) * (closing @ out) * out, abs=3e-6)
    lost = 0.5 * ball.mass * (1 - e**2) * (closing @ out) ** 2
    assert run.frames[i].tally.impact_loss == pytest.approx(lost, rel=1e-5, abs=1e-12)
    balance = run.energy(run.last) + run.last.tally.impact_loss - run.energy(run.frames[0])
    assert abs(balance) < 1e-8 * ball.mass * G * length + 1e-10
    far = [np.linalg.norm(f.state.pose.position[0]) for f in run.frames]
    assert max(far) < length + 2e-9


def test_string_breaks_where_its_tension_passes_the_breaking_load(body, place, move):
    """Ball let go level: T = 3 m g cos(a) at a from the bottom; with 2 m g it breaks at cos a =
    2/3, after sqrt(L/g) [K(1/2) - F(asin(sqrt 2 sin(a/2)) | 1/2)], and then flies freely."""
    ball, length = body(Sphere(0.02)), 0.5
    state = place(((length, 0, 0), None))
    limit = 2 * ball.mass * G
    cord = String("cord", (0, WORLD), CENTRES, length=length, force_limit=limit)
    run = move([ball], [cord], state, 0.5)
    a = np.arccos(2 / 3)
    phi = np.arcsin(np.sin(a / 2) / np.sin(np.pi / 4))
    when = np.sqrt(length / G) * (ellipkinc(np.pi / 2, 0.5) - ellipkinc(phi, 0.5))
    record = run.end.joints[0]
    assert record.parted == pytest.approx(when, abs=1e-7)
    assert record.peak_force == pytest.approx(limit, rel=1e-6)
    v = np.sqrt(2 * G * length * 2 / 3)
    t = 0.5 - when
    end = length * np.array([np.sin(a), 0, -2 / 3]) + t * v * np.array([-2 / 3, 0, -np.sin(a)])
    assert run.last.state.pose.position[0] == pytest.approx(end - [0, 0, 0.5 * G * t**2], abs=1e-6)


def test_parts_hung_from_parts_settle_with_the_weights_below_on_each_string(body, place, move):
    balls = [body(Sphere(0.03), name=n) for n in "abc"]
    state = place(*(((0, 0, -0.1 * k), None) for k in (1, 2, 3)))
    cords = [String(f"s{k}", (k, k - 1 if k else WORLD), CENTRES, length=0.1) for k in range(3)]
    run = move(balls, cords, state, 2.0)
    assert run.end.outcome == "settled"
    weight = balls[0].mass * G
    tensions = [r.last_force for r in run.end.joints]
    assert tensions == pytest.approx([3 * weight, 2 * weight, weight], rel=1e-9)


def two_part_chain(body, place, sides, move, turn=None, swap=False):
    """A bar on a hinge with a block on a string from its end; optionally another laboratory."""
    turn = rotations.IDENTITY if turn is None else turn
    bar, block = body(Box((0.3, 0.04, 0.02)), name="bar"), body(Box((0.05, 0.04, 0.03)))
    offset = np.array([0.01, 0.005, 0.015])
    at = rotations.rotate(turn, [[0.15, 0, 0], [0.32, 0.03, -0.1]])
    rows = [(at[0], turn), (at[1], turn, None, rotations.rotate(turn, [1.0, -2.0, 3.0]))]
    order = (1, 0) if swap else (0, 1)
    state = place(*(rows[i] for i in order))
    bodies = [(bar, block)[i] for i in order]
    number = {0: order.index(0), 1: order.index(1)}
    pins = np.array([[-0.15, 0, 0], [0, 0, 0]])
    axis = np.array([0, 1.0, 0])
    joints = [
        hinge("pin", (number[0], WORLD), pins, axis, *sides(state, number[0], WORLD)),
        String(
            "cord",
            (number[1], number[0]),
            np.array([offset, [0.15, 0, 0]]),
            length=0.16,
            restitution=0.3,
        ),
    ]
    gravity = rotations.rotate(turn, [0, 0, -G])
    run = move(bodies, joints[::-1] if swap else joints, state, 0.5, gravity=gravity)
    found = run.last.state.pose.position[[number[0], number[1]]]
    return rotations.rotate_back(turn, found), run, gravity


def test_result_does_not_depend_on_the_laboratorys_turn_nor_the_order(body, place, sides, move):
    """Half a second with slack and snaps in it; differences come from step control alone."""
    want, run, gravity = two_part_chain(body, place, sides, move)
    turned, *_ = two_part_chain(body, place, sides, move, rotations.from_axis_angle([1, 2, 3], 1.1))
    swapped, *_ = two_part_chain(body, place, sides, move, swap=True)
    assert np.abs(turned - want).max() < 2e-6
    assert np.abs(swapped - want).max() < 2e-6
    start, end = run.energy(run.frames[0], gravity), run.energy(run.last, gravity)
    assert run.last.tally.impact_loss > 0
    assert abs(end + run.last.tally.impact_loss - start) < 1e-8


def test_block_pulled_short_on_a_table_lies_with_less_than_its_weight_on_it(body, place, move):
    """A block hung so that its near edge is lifted: string and table share the weight."""
    block, table = body(Box((0.2, 0.1, 0.04))), body(Box((1, 1, 0.1)), fixed=True)
    state = place(((0, 0, 0.0201), None), ((0, 0, -0.05), None))
    points = np.array([[-0.1, 0, 0.02], [-0.1, 0, 0.3]])
    cord = String("cord", (0, WORLD), points, length=0.3 - 0.04)
    run = move([block, table], [cord], state, 1.0, SurfacePair(0.0, 0.4))
    assert run.end.outcome == "settled"
    assert abs(run.energy(run.last)) < abs(run.energy(run.frames[0]))


def test_string_at_its_length_does_not_hold_what_falls_towards_its_anchor(body, place, move):
    """Ball above the anchor at just the string's length: free fall, z = L - g t^2/2."""
    ball, length = body(Sphere(0.02)), 0.5
    state = place(((0, 0, length), None))
    run = move([ball], [String("cord", (0, WORLD), CENTRES, length=length)], state, 0.2)
    assert run.last.state.pose.position[0, 2] == pytest.approx(length - 0.02 * G, abs=1e-10)
    assert run.end.joints[0].peak_force == 0.0
