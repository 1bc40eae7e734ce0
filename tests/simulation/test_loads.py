"""What fixed bodies and joints bear, at the peak and at rest, by statics; blows of a clamp."""

import numpy as np
import pytest

from snapsim.mechanics.joints import STILL, WORLD, Side, hold
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Sphere
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release

G = 9.80665


def test_a_table_bears_the_weight_at_rest_and_its_lever(make_body, make_system):
    """Statics: F = m g, and m g times the lever about the table's centre; 1e-6 of touching gaps."""
    block = make_body("block", Box((0.1, 0.08, 0.04)))
    table = make_body("table", Box((2.0, 2.0, 0.1)), fixed=True)
    rows = [(block, (0.3, -0.4, 0.02)), (table, (0, 0, -0.05))]
    run = release(make_system(rows, pair=SurfacePair(0.0, 0.3)))
    load, weight = run.loads["table"], block.mass * G
    assert run.outcome == "settled"
    assert load.last_force == pytest.approx(weight, rel=1e-6)
    assert load.last_torque == pytest.approx(0.5 * weight, rel=1e-5)
    borne = run.bearing["table"]
    assert borne.shape == (len(run.time), 2)
    assert borne[-1].tolist() == [load.last_force, load.last_torque]
    assert borne[:, 0].max() <= load.peak_force


def test_a_magnets_mount_bears_a_hanging_part_s_weight_at_rest_whatever_the_pull(
    make_body, make_system, materials
):
    """The part's pull and its push on the magnet cancel but for its weight."""
    magnet = make_body("magnet", Box((0.06, 0.06, 0.03)), materials["magnet"], (0, 0, -1), True)
    block = make_body("block", Box((0.02, 0.02, 0.01)), materials["iron"](400.0, 1.6))
    rows = [(magnet, (0, 0, 0.015)), (block, (0, 0, -0.008))]
    run = release(make_system(rows, detail="draft", pair=SurfacePair(0.0, 0.3)))
    load = run.loads["magnet"]
    assert run.outcome == "settled"
    assert load.last_force == pytest.approx(block.mass * G, rel=1e-3)
    assert load.peak_force > 20 * load.last_force  # just before it lands nothing cancels the pull
    assert run.impacts[0].area == pytest.approx(0.02 * 0.02, rel=1e-6)  # it lands flat


def test_a_driven_clamp_pays_for_its_blow(make_body, make_system):
    """A plate driven at u meets a resting ball: the ball leaves at (1+e) u, and energy 1/2 m
    (1+e)^2 u^2 came from the drive, which gives m (1+e) u^2, and 1/2 m (1-e^2) u^2 is lost
    (momentum and Newton's restitution against an unyielding plate; any text, from memory).
    """
    e = 0.5
    plate, ball = make_body("plate", Box((0.1, 0.1, 0.02))), make_body("ball", Sphere(0.04))
    rows = [(plate, (0, 0, 0)), (ball, (0, 0, 0.06))]
    system = make_system(rows, duration=0.5, pair=SurfacePair(e, 0.0), gravity=(0, 0, 0))
    side = Side(np.zeros(3), rotations.IDENTITY, np.eye(3), np.zeros(3), np.zeros(3))
    path = ((1.0, np.array([0, 0, 0.2]), rotations.IDENTITY),)
    clamp = hold("clamp", (0, WORLD), np.zeros((2, 3)), side, STILL, path=path)
    run = release(type(system)(**{**system.__dict__, "joints": (clamp,)}))
    blow = run.impacts[0]
    u = blow.closing_speed
    after = run.time.searchsorted(blow.time, side="right") - 1
    assert run.velocity[after, 1, 2] == pytest.approx((1 + e) * u, rel=1e-9)
    given = run.work["hold"][after] - run.work["hold"][after - 1]
    assert given == pytest.approx(ball.mass * (1 + e) * u**2, rel=1e-6)
    assert run.audit.impact_loss == pytest.approx(0.5 * ball.mass * (1 - e**2) * u**2, rel=1e-6)
    assert run.audit.event_gain == 0.0
    assert run.audit.unaccounted_fraction < 1e-5  # flight keeps 1e-6 of a step
    assert (blow.body, blow.against) == ("plate", "ball")  # the one that moves
