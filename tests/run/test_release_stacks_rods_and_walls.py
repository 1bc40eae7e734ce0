"""Releases in which contacts share what they bear: a stack on a slope, a rod that slides on its
end, a row that runs into a wall, against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.mechanics.phases import strike
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Sphere
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
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


@pytest.mark.parametrize("law", ["stopped at once", "followed"])
def test_a_stack_that_settles_slowly_gives_the_floor_its_momentum(
    make_body, make_system, law, monkeypatch
):
    """Five boxes in touch that come down at 2 mm/s together, which nothing rebounds from: the floor
    bears their momentum, 5 m v, and the blow takes all they had, 5 m v^2/2 (conservation), whether
    twenty contacts are stopped at once or their compression is followed. 1e-3: weight acts too, and
    a blow of many contacts has steps of that error."""
    monkeypatch.setattr(strike, "GENTLE", 4.0 if law == "stopped at once" else 0.0)
    rows = [(make_body("floor", Box((0.6, 0.6, 0.05)), fixed=True), (0, 0, -0.025))]
    for k in range(5):
        place, coming = (0, 0, 0.02 + 0.04 * k), (0, 0, -2e-3)
        rows.append((make_body(f"box {k}", Box((0.04,) * 3)), place, None, coming))
    pair = SurfacePair(0.3, 0.2)
    run = release(make_system(rows, duration=1e-4, pair=pair, detail="draft"), estimates=False)
    first = run.impacts[0]
    total = sum(b.mass for b in run.system.bodies[1:]) * 2e-3
    assert first.impulse == pytest.approx(total, rel=1e-3)
    assert run.audit.impact_loss == pytest.approx(0.5 * total * 2e-3, rel=1e-3)
    assert np.abs(run.velocity[-1]).max() < 1e-5


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


def jam_in_closed_form(point, friction, speed, closing, e):
    """Impulse of 1 kg on the end at `point`, work of compression [J], after a slide that jams.

    Friction presses the end in while it slides (p), stops the slide, and holds it while the rest
    is compressed (q) and given back (r): Stronge, Impact Mechanics, 2nd ed. 2018, ch. 3 and 5;
    Genot & Brogliato, Eur. J. Mech. A 18, 653 (1999), section 4 (from memory)."""
    x, z = point
    nn, tt, nt = 1 + x * x / INERTIA, 1 + z * z / INERTIA, -x * z / INERTIA
    sliding, sticking = nn - friction * nt, nn - nt * nt / tt
    assert sliding < 0 < friction * tt - nt
    p = speed / (friction * tt - nt)
    deepest = closing - sliding * p
    work = closing * p - 0.5 * sliding * p * p + 0.5 * deepest**2 / sticking
    q, r = deepest / sticking, e * np.sqrt(2 * work / sticking)
    normal = p + q + r
    return np.array([(-speed - nt * normal) / tt, normal]), work


@pytest.mark.parametrize("e", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("closing", [0.0, 5e-5, 5e-4, 2e-3])
def test_a_slide_past_the_critical_friction_is_told_as_a_blow(make_body, make_system, e, closing):
    """Beyond mu = 4/3 there are leans at which no finite push keeps the sliding end on the floor:
    it stops at once, in a blow without a collision (Painleve), whether it came down on the floor or
    lay there. 1e-4: it falls for a step of a tenth of a microsecond, and closes by a few
    millionths of the slip at first."""
    lean, friction, speed = np.radians(63.4), 2.0, 2.0
    system, point = rod_on_its_end(make_body, make_system, friction, lean, speed, 1e-4)
    system.start.velocity[0, 2] = -closing
    rules = SurfaceRules(SurfacePair(e, friction))
    run = release(replace(system, surfaces=rules), estimates=False)
    impulse, work = jam_in_closed_form(point, friction, speed, closing, e)
    blow, mass = run.impacts[0], run.system.bodies[0].mass
    assert blow.jammed
    assert not blow.struck_through
    assert blow.impulse == pytest.approx(mass * impulse[1], rel=1e-4)
    assert blow.effective_energy == pytest.approx(mass * work, rel=1e-4)
    straight = 0.5 * blow.effective_mass * blow.closing_speed**2
    assert blow.effective_energy == pytest.approx(straight, rel=1e-9)
    after = np.flatnonzero(run.time == blow.time)[-1]
    gained = run.velocity[after, 0] - run.velocity[0, 0]
    assert gained[[0, 2]] == pytest.approx(impulse, rel=1e-4)
    assert run.audit.unaccounted_fraction < 1e-4


@pytest.mark.parametrize("closing", [0.0, 2e-3])
def test_an_edge_that_jams_at_two_corners_has_the_blow_of_one(make_body, make_system, closing):
    """Both corners of a box's edge do the same, so together what one would do (symmetry). 1 %: the
    units of blows at several contacts are integrated in steps."""
    lean, friction, speed = np.radians(63.4), 2.0, 2.0
    system, point = rod_on_its_end(make_body, make_system, friction, lean, speed, 1e-4)
    bar = make_body("bar", Box((THIN, THIN * np.sqrt(0.5), LONG)))
    system = replace(system, bodies=(bar, *system.bodies[1:]))
    system.start.velocity[0, 2] = -closing
    run = release(system, estimates=False)
    x, z = point
    inertia = LONG**2 / 12 + THIN**2 / 12
    nn, tt, nt = 1 + x * x / inertia, 1 + z * z / inertia, -x * z / inertia
    impulse, mass = speed / (tt * nn / nt - nt), run.system.bodies[0].mass  # without rebound
    assert run.impacts[0].impulse == pytest.approx(mass * impulse, rel=1e-2)
    assert run.impacts[0].jammed
    assert run.impacts[0].peak_force[1] > 100 * 9.80665 * mass


def test_a_slide_below_the_critical_friction_is_no_blow(make_body, make_system):
    """The same rod at a friction of 1, for which every lean has its finite push."""
    system, _ = rod_on_its_end(make_body, make_system, 1.0, np.radians(63.4), 2.0, 4e-3)
    assert not release(system).impacts


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
