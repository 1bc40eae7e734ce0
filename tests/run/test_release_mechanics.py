"""Releases without magnetism, against textbook results: the whole loop of flight and contact."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from snapsim.mechanics.material_restitution import restitution_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS
from snapsim.parts.shapes import Box, Sphere
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release

G = 9.80665


def slab(make_body, thickness=0.1, width=4.0):
    return make_body("floor", Box((width, width, thickness)), fixed=True), (0, 0, -thickness / 2)


@pytest.mark.parametrize(
    ("height", "e", "total"),
    # total time sqrt(2h/g) (1+e)/(1-e), e.g. Beer & Johnston, Vector Mechanics: Dynamics, ch. 13
    # (from memory); the sum of a geometric series.
    [(1.0, 0.5, 1.3548022673), (1.0, 0.8, 4.0644068018)],
)
def test_bouncing_ball_comes_to_rest_after_the_sum_of_its_bounces(
    make_body, make_system, height, e, total
):
    """Rebounds under 1 mm/s are not followed: they would last 2 v/(g (1-e)) = 1 ms at most."""
    radius = 0.02
    rows = [(make_body("ball", Sphere(2 * radius)), (0, 0, radius + height)), slab(make_body)]
    system = make_system(rows, duration=total + 1.0, pair=SurfacePair(e, 0.3))
    run = release(system)
    assert run.outcome == "settled"
    assert run.impacts[-1].time == pytest.approx(total, abs=2 * 1e-3 / (G * (1 - e)) + 1e-6)
    first, second = run.impacts[0], run.impacts[1]
    assert first.time == pytest.approx(np.sqrt(2 * height / G), abs=1e-8)
    assert first.closing_speed == pytest.approx(np.sqrt(2 * G * height), rel=1e-8)
    assert second.closing_speed == pytest.approx(e * first.closing_speed, rel=1e-7)
    assert run.audit.unaccounted_fraction < 1e-6


def test_block_at_rest_on_a_slope_below_the_friction_angle_stays(make_body, make_system):
    """Coulomb: it stays where tan(slope) <= mu; 20 degrees against mu = 0.4 (21.8 degrees)."""
    run = release(sloped(make_body, make_system, 20.0, 0.4, 0.5))
    moved = np.linalg.norm(run.position[-1, 0] - run.position[0, 0])
    assert run.outcome == "settled"
    assert moved < 2e-6  # the touching gap


@pytest.mark.parametrize(
    ("slope", "mu", "acceleration"),
    # a = g (sin - mu cos), Meriam & Kraige, Dynamics, ch. 3 (from memory).
    [(30.0, 0.2, 3.20476339480), (45.0, 0.5, 3.46717435786)],
)
def test_block_slides_down_a_slope_with_constant_acceleration(
    make_body, make_system, slope, mu, acceleration
):
    """Tolerance 1e-5: the start settles within the touching gap of 2 micrometres."""
    run = release(sloped(make_body, make_system, slope, mu, 0.5))
    down = np.array([np.cos(np.radians(slope)), 0, -np.sin(np.radians(slope))])
    end = run.time[-1]
    travelled = (run.position[-1, 0] - run.position[0, 0]) @ down
    assert travelled == pytest.approx(0.5 * acceleration * end**2, rel=1e-3)
    assert run.velocity[-1, 0] @ down == pytest.approx(acceleration * end, rel=1e-3)
    assert run.audit.unaccounted_fraction < 1e-4


def sloped(make_body, make_system, degrees, mu, duration):
    """A flat block on a tilted slab, just touching."""
    turn = rotations.from_axis_angle([0, 1, 0], np.radians(degrees))
    up = rotations.rotate(turn[None], np.array([[0, 0, 1.0]]))[0]
    block, floor = make_body("block", Box((0.1, 0.08, 0.04))), slab(make_body)[0]
    rows = [(block, 0.02 * up, turn), (floor, -0.05 * up, turn)]
    return make_system(rows, duration=duration, pair=SurfacePair(0.0, mu))


def test_sliding_ball_ends_rolling_at_five_sevenths_of_its_speed(make_body, make_system):
    """v/v0 = 1/(1 + 2/5) after v0/(mu g (1 + 5/2)); Goldstein or any text (from memory)."""
    radius, v0, mu = 0.05, 1.0, 0.2
    ball = make_body("ball", Sphere(2 * radius))
    rows = [(ball, (0, 0, radius), None, (v0, 0, 0)), slab(make_body)]
    run = release(make_system(rows, duration=0.4, pair=SurfacePair(0.0, mu)))
    assert run.velocity[-1, 0, 0] == pytest.approx(5 / 7, rel=2e-3)
    assert run.spin[-1, 0, 1] * radius == pytest.approx(5 / 7, rel=2e-3)
    at = np.searchsorted(run.time, 0.1456737447)
    rolling = run.velocity[at + 1 :, 0, 0] - run.spin[at + 1 :, 0, 1] * radius
    assert np.abs(rolling).max() < 1e-3
    assert run.audit.unaccounted_fraction < 1e-3


def test_box_dropped_on_a_corner_comes_to_rest_without_sinking(make_body, make_system):
    """Ends lying on a face, no deeper than the touching gap, with every joule booked."""
    turn = rotations.normalise([0.9, 0.3, 0.2, 0.1])
    block = make_body("block", Box((0.1, 0.08, 0.04)))
    rows = [(block, (0, 0, 0.15), turn), slab(make_body)]
    run = release(make_system(rows, duration=3.0, pair=SurfacePair(0.3, 0.35)))
    assert run.outcome == "settled"
    up = rotations.rotate_back(run.quaternion[-1, 0][None], np.array([[0, 0, 1.0]]))[0]
    assert np.abs(up).max() == pytest.approx(1.0, abs=1e-6)
    half = np.array([0.05, 0.04, 0.02])[np.argmax(np.abs(up))]
    assert run.position[-1, 0, 2] == pytest.approx(half, abs=4e-6)
    assert run.audit.event_gain < 1e-9
    assert run.audit.unaccounted_fraction < 1e-3


def test_ball_rebounds_less_from_faster_falls_where_restitution_falls_with_speed(
    make_body, make_system
):
    """e = 0.8 (V_y/V)^(1/4) (plastic impact, Johnson 1985, section 11.5; from memory), each rebound
    from the speed that the one before left; the closed form of the recursion by hand."""
    rows = [(make_body("ball", Sphere(0.04)), (0, 0, 0.02 + 0.5)), slab(make_body)]
    system = make_system(rows, duration=1.2, pair=SurfacePair(0.8, 0.3, yield_speed=0.5))
    run = release(system)
    speeds = [i.closing_speed for i in run.impacts]
    v = np.sqrt(2 * G * 0.5)
    for found in speeds[:4]:
        assert found == pytest.approx(v, rel=1e-5)
        v *= 0.8 * min(1.0, (0.5 / v) ** 0.25)
    assert run.audit.event_gain == 0.0
    assert run.audit.unaccounted_fraction < 1e-5


def test_a_ball_rebounds_as_its_materials_say_and_a_number_beside_it_changes_nothing(
    make_system,
):
    """Each rebound is the law's for the ball's mass and its speed (`material_restitution`, held
    against rebound hardness in its own tests); a pair with a number keeps it, to the last bit."""
    steel, hard = MATERIALS["low-carbon steel"], MATERIALS["bearing steel"]
    floor = Body("floor", Box((4.0, 4.0, 0.1)), replace(steel, curve=None), None, True)
    ball = Body("ball", Sphere(0.02), replace(hard, curve=None), None, False)
    rows = [(ball, (0, 0, 0.01 + 0.05)), (floor, (0, 0, -0.05))]
    pair = SurfacePair(1.0, 0.3, of_materials=True)
    run = release(make_system(rows, duration=0.6, pair=pair))
    speeds = [i.closing_speed for i in run.impacts]
    assert len(speeds) >= 3
    for before, after in pairwise(speeds):
        expected = restitution_of(ball, floor, ball.mass, before)
        assert after == pytest.approx(expected * before, rel=1e-6)
    assert run.audit.unaccounted_fraction < 1e-5
    given = make_system(rows, duration=0.3, pair=SurfacePair(0.6, 0.3))
    rules = replace(given.surfaces, exceptions={(5, 6): pair})
    again = release(replace(given, surfaces=rules))
    np.testing.assert_array_equal(again.position, release(given).position)
