"""Stability and frequencies of rests whose stiffness is known in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.landscape.constraints import Constraints
from snapsim.landscape.descent import DescentSettings, settle
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.hovering import balance
from snapsim.landscape.place import Place
from snapsim.landscape.stability import stability
from snapsim.landscape.symmetry import idle_directions
from snapsim.mechanics.joints import STILL, Side, String, hinge
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Sphere

G = 9.80665


def judged(system, body=0, cells=60):
    """The rest that the body comes to from its start, and its stability."""
    landscape, constraints = EnergyLandscape(system, body, cells), Constraints(system, body)
    idle = None if constraints.joints else idle_directions(landscape.body)
    settings = DescentSettings(longest=0.003, far=2.0, idle=idle)
    rest = settle(landscape, constraints, constraints.restored(landscape.start), settings)
    assert rest.outcome == "rest"
    return rest, stability(landscape, constraints, rest)


def test_a_ball_on_top_of_a_ball_leaves_at_the_rate_of_the_contact_curvature(
    make_system, make_body
):
    """Its centre moves on a sphere of radius R + r, so k = -m g/(R + r): textbook mechanics. The
    difference step of 0.1 mm costs (step/radius)^2."""
    ball, dome = make_body("ball", Sphere(0.02)), make_body("dome", Sphere(0.1), fixed=True)
    system = make_system([(ball, (0, 0, 0.06)), (dome, (0, 0, 0))])
    _, found = judged(system)
    assert found.verdict == "saddle"
    assert len(found.unstable) == 2
    wanted = -ball.mass * G / 0.06
    assert [m.stiffness for m in found.modes] == pytest.approx([wanted, wanted], rel=1e-4)


def test_a_ball_on_a_table_is_free_to_roll(make_system, make_body):
    ball, table = make_body("ball", Sphere(0.02)), make_body("table", Box((1, 1, 0.1)), fixed=True)
    _, found = judged(make_system([(ball, (0, 0, 0.01)), (table, (0, 0, -0.05))]))
    assert found.verdict == "stable"
    assert found.neutral == 2


def test_a_box_on_its_edge_tips_about_that_edge(make_system, make_body):
    """Balanced at 45 deg: U = m g L cos(angle), L from edge to centre; the contact does not slide
    without moving the centre sideways, which smooth contact leaves free: the centre only falls,
    k = -m g L/(I/m) per square metre of the metric."""
    turn = rotations.from_axis_angle([0, 1, 0], np.pi / 4)
    box, table = (
        make_body("box", Box((0.04, 0.1, 0.04))),
        make_body("t", Box((1, 1, 0.1)), fixed=True),
    )
    high = 0.02 * np.sqrt(2)
    _, found = judged(make_system([(box, (0, 0, high), turn), (table, (0, 0, -0.05))]))
    assert found.verdict == "saddle"
    assert found.unstable[0].words == "tips about the y axis"
    per_mass = (0.04**2 + 0.04**2) / 12
    assert found.unstable[0].stiffness == pytest.approx(-box.mass * G * high / per_mass, rel=1e-3)


def test_a_hinged_bar_swings_as_a_compound_pendulum(make_system, make_body):
    """f = sqrt(m g L/(I + m L^2))/(2 pi) (textbook compound pendulum)."""
    bar = make_body("bar", Box((0.02, 0.02, 0.2)))
    system = make_system([(bar, (0, 0, 0))])
    points = np.array([[0, 0, 0.08], [0, 0, 0.08]])
    start = Side(np.zeros(3), rotations.IDENTITY, np.eye(3), np.zeros(3), np.zeros(3))
    pin = hinge("pin", (0, -1), points, np.array([0.0, 1.0, 0.0]), start, STILL)
    _, found = judged(replace(system, joints=(pin,)))
    inertia = bar.inertia[1, 1] + bar.mass * 0.08**2
    wanted = np.sqrt(bar.mass * G * 0.08 / inertia) / (2 * np.pi)
    assert found.verdict == "stable"
    assert [m.frequency for m in found.modes] == pytest.approx([wanted], rel=1e-5)


def test_a_ball_on_a_string_swings_as_a_double_pendulum(make_system, make_body):
    """String L to the ball's surface, ball r: the two frequencies of the textbook double pendulum
    of a massless rod and a rigid body, det(K - w^2 M) = 0 with M = m [[L^2, L r], [L r, r^2 + i]],
    K = m g diag(L, r), i the inertia per mass 2 r^2/5; each twice, once a plane."""
    radius, length = 0.02, 0.1
    ball = make_body("ball", Sphere(2 * radius))
    system = make_system([(ball, (0, 0, -length - radius))])
    string = String("s", (0, -1), np.array([[0, 0, radius], [0, 0, 0]]), length=length)
    _, found = judged(replace(system, joints=(string,)))
    mass = np.array([[length**2, length * radius], [length * radius, 1.4 * radius**2]])
    stiff = G * np.diag([length, radius])
    wanted = np.sqrt(np.sort(np.linalg.eigvals(np.linalg.solve(mass, stiff)))) / (2 * np.pi)
    assert found.verdict == "stable"
    got = sorted(m.frequency for m in found.modes if np.isfinite(m.frequency))
    assert got == pytest.approx(sorted([*wanted, *wanted]), rel=1e-4)
    assert found.neutral == 1  # spin about the string


@pytest.mark.parametrize("seed", [0, 1, 3, 5])
def test_nothing_hangs_stably_in_free_air(make_system, make_body, materials, seed):
    """Earnshaw (1842), for soft iron Braunbek (1939): some motion always leaves; and the sum of
    the stiffnesses of the three displacements is never positive."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(0.03, 0.08, 2)
    magnet = make_body("magnet", Cylinder(size[0], size[1]), materials["magnet"], (0, 0, 1), True)
    soft = bool(seed % 2)
    shape = Sphere(rng.uniform(0.008, 0.02)) if soft else Cylinder(0.02, rng.uniform(0.004, 0.03))
    part = make_body("part", shape, materials["iron"](200.0)) if soft else make_body(
        "part", shape, materials["magnet"], (0, 0, rng.choice([-1, 1]))
    )  # fmt: skip
    system = make_system([(magnet, (0, 0, 0)), (part, (0, 0, 1.0))])
    landscape, constraints = EnergyLandscape(system, 1, 60), Constraints(system, 1)
    found = []
    for height in np.linspace(-0.3, 0.3, 13 if soft else 5):
        rest = balance(landscape, constraints, Place(np.array([0, 0, height]), rotations.IDENTITY))
        if rest is not None:
            found.append(stability(landscape, constraints, rest).verdict)
            trace = float(np.trace(landscape.hessian(rest.place)[:3, :3]))
            assert trace <= 1e-3 * landscape.mass * G / landscape.radius
    assert found
    assert "stable" not in found
