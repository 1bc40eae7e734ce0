"""Releases in which contacts share what they bear: a stack on a slope, a rod that slides on its
end, a row that runs into a wall, against closed forms."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Sphere
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release

G = 9.80665


def stack_on_a_slope(make_body, make_system, tangent):
    """Three boxes on each other, friction 0.2; gravity leans instead of the floor."""
    rows = [(make_body("floor", Box((0.6, 0.6, 0.05)), fixed=True), (0, 0, -0.025))]
    rows += [(make_body(f"box {k}", Box((0.04,) * 3)), (0, 0, 0.02 + 0.04 * k)) for k in range(3)]
    cosine = 1 / np.hypot(1, tangent)
    pull = (G * tangent * cosine, 0, -G * cosine)
    pair = SurfacePair(0.0, 0.2)
    return make_system(rows, duration=0.2, pair=pair, gravity=pull, detail="draft")


def test_a_stack_on_a_slope_below_the_friction_angle_stays(make_body, make_system):
    """Coulomb: tan(slope) = 0.19 below 0.2, for each box as for all."""
    run = release(stack_on_a_slope(make_body, make_system, 0.19))
    assert run.outcome == "settled"
    assert np.abs(run.position[-1] - run.position[0]).max() < 2e-6  # the touching gap


def test_a_stack_on_a_slope_above_the_friction_angle_slides_as_one(make_body, make_system):
    """a = g (sin - mu cos), Meriam & Kraige, Dynamics, ch. 3 (from memory), for the whole stack:
    between the boxes friction bears just its limit as at the floor. 1e-4: the start settles within
    the touching gap."""
    run = release(stack_on_a_slope(make_body, make_system, 0.21))
    fall = 0.5 * G * (0.21 - 0.2) / np.hypot(1, 0.21) * run.time[-1] ** 2
    assert run.position[-1, 1:, 0] - run.position[0, 1:, 0] == pytest.approx(fall, rel=1e-4)
    assert np.abs(run.spin[-1]).max() < 1e-6
    assert run.audit.unaccounted_fraction < 1e-4


LONG, THIN = 0.2, 0.004
INERTIA = LONG**2 / 12 + THIN**2 / 16  # of a rod of 1 kg about a line across its middle


def rod_on_its_end(make_body, make_system, friction, lean, speed, duration):
    """A round rod on the rim of its end, `lean` [rad] from the floor, sliding along at `speed`, and
    the point of contact as seen from the middle (a box has two, which push unevenly)."""
    edge = np.array([0.5 * LONG, -0.5 * THIN])
    turn = np.array([[np.cos(lean), np.sin(lean)], [-np.sin(lean), np.cos(lean)]])
    point = turn @ edge
    tilt = rotations.from_axis_angle((0, 1, 0), lean + np.pi / 2)
    rod = make_body("rod", Cylinder(THIN, LONG))
    floor = make_body("floor", Box((2, 2, 0.05)), fixed=True)
    rows = [(rod, (0, 0, -point[1]), tilt, (speed, 0, 0)), (floor, (0, 0, -0.025))]
    return make_system(rows, duration=duration, pair=SurfacePair(0.0, friction)), point


@pytest.mark.parametrize("friction", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("speed", [2.0, -2.0])
def test_a_rod_that_slides_on_its_end_starts_as_in_closed_form(
    make_body, make_system, friction, speed
):
    """Seen from the middle the end is at (x, -h); no normal acceleration there asks for
    N = m g / (1 + (x^2 - s mu x h) m / I), s the sense of sliding (Painleve, Comptes Rendus 121,
    112 (1895); Genot & Brogliato, Eur. J. Mech. A 18, 653 (1999), eq. 5 at rest; from memory). In
    2 ms the rod turns by less than a thousandth."""
    lean, duration = np.radians(60), 2e-3
    system, (x, z) = rod_on_its_end(make_body, make_system, friction, lean, speed, duration)
    run = release(system)
    sense = np.sign(speed)
    push = G / (1 + x * (x + sense * friction * z) / INERTIA)
    assert run.outcome == "moving"
    gained = (run.velocity[-1] - run.velocity[0])[0] / duration
    assert gained[0] == pytest.approx(-sense * friction * push, rel=3e-3, abs=1e-3)
    assert gained[2] == pytest.approx(push - G, rel=3e-3)
    spin = push * (x + sense * friction * z) / INERTIA
    assert -run.spin[-1, 0, 1] / duration == pytest.approx(spin, rel=3e-3)
    assert run.audit.unaccounted_fraction < 1e-4


def test_a_rod_past_the_critical_friction_jams(make_body, make_system):
    """Beyond mu = 4/3 there are leans at which no finite push keeps the sliding end on the floor:
    it stops at once, in a blow without a collision (Painleve; Genot & Brogliato; from memory), and
    the rod is thrown over its end. What it then has is no more than before."""
    lean = np.radians(63.4)
    system, (x, z) = rod_on_its_end(make_body, make_system, 2.0, lean, 2.0, 4e-3)
    assert 1 + x * (x + 2.0 * z) / INERTIA < 0
    run = release(system)
    assert run.outcome == "moving"
    arm = np.array([x, 0, z])
    end = run.velocity[-1, 0] + np.cross(run.spin[-1, 0], arm)
    assert end[0] < 0.1 < 1.0 < abs(run.spin[-1, 0, 1])
    assert run.energy["kinetic"].max() <= run.energy["kinetic"][0] * (1 + 1e-6)
    assert run.audit.unaccounted_fraction < 1e-3


def into_a_wall(make_body, make_system, gap, e):
    """Five balls in a row, without weight, that run into a wall at 1 m/s; mass of one of them."""
    pitch = 0.02 + gap
    rows = [
        (make_body(f"ball {k}", Sphere(0.02)), (-pitch * k, 0, 0), None, (1.0, 0, 0))
        for k in range(5)
    ]
    rows.append((make_body("wall", Box((0.05, 0.2, 0.2)), fixed=True), (0.0355, 0, 0)))
    run = release(make_system(rows, duration=0.03, pair=SurfacePair(e, 0.2), gravity=(0, 0, 0)))
    mass = 2 * run.energy["kinetic"][0] / 5
    return run, mass, sum(i.impulse for i in run.impacts if "wall" in (i.body, i.against))


def test_a_spaced_row_comes_back_from_a_wall_as_fast_as_it_came(make_body, make_system):
    """Equal balls exchange speeds, so with e = 1 each leaves at the speed it came with, and the
    wall bears 2 m v of each (Newton's law of restitution, blow by blow)."""
    run, mass, impulse = into_a_wall(make_body, make_system, 1e-3, 1.0)
    assert run.velocity[-1, :5, 0] == pytest.approx(-1.0, rel=1e-9)
    assert impulse == pytest.approx(2 * 5 * mass, rel=1e-9)


@pytest.mark.parametrize("e", [0.0, 0.5, 0.9, 1.0])
def test_a_touching_row_gives_a_wall_its_momentum_once_to_twice(make_body, make_system, e):
    """Stopped it gives m v of each ball, thrown back with all of its energy at most twice that
    (Cauchy and Schwarz: of one energy the most momentum is that of equal speeds)."""
    run, mass, impulse = into_a_wall(make_body, make_system, 0.0, e)
    assert 5 * mass * (1 - 1e-9) <= impulse <= 2 * 5 * mass * (1 + 1e-9)
    away = -(mass * run.velocity[-1, :5, 0]).sum()
    assert impulse == pytest.approx(5 * mass + away, rel=1e-6)
    assert run.energy["kinetic"][-1] <= run.energy["kinetic"][0] * (1 + 1e-9)
    if e == 0.0:
        assert np.abs(run.velocity[-1, :5]).max() < 1e-6
