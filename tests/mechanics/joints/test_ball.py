"""Ball joint: pendulums in a plane and round a cone, a top that nutates, a chain, what it bears."""

import numpy as np
import pytest

from snapsim.mechanics.joints import WORLD, Ball
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box

G = 9.80665
Y = np.array([0.0, 1.0, 0.0])


def hung(body, place, angle, length=1.0, width=0.02, spin=None):
    """A rod on a ball at its upper end in the origin, `angle` [rad] from straight down, toward +x;
    `spin` (3,) world axes."""
    rod = body(Box((width, width, length)))
    turn = rotations.from_axis_angle(-Y, angle)
    centre = rotations.rotate(turn, np.array([0, 0, -length / 2]))
    spin = np.zeros(3) if spin is None else np.asarray(spin, float)
    state = place((centre, turn, np.cross(spin, centre), spin))
    points = np.array([[0, 0, length / 2], [0, 0, 0]])
    return rod, state, Ball("ball", (0, WORLD), points)


def of_pivot(rod, state):
    """Inertia (3, 3) about the origin and angular momentum (3,) about it, world axes."""
    r = rotations.matrix(state.pose.quaternion[0])
    c = state.pose.position[0]
    inertia = r @ rod.inertia @ r.T + rod.mass * (c @ c * np.eye(3) - np.outer(c, c))
    return inertia, inertia @ state.spin[0]


@pytest.mark.parametrize(
    ("degrees", "ratio"),
    # T/T0 = (2/pi) K(sin^2(theta0/2)): Abramowitz & Stegun 17.3.1 for K; computed to 12 digits.
    [(30, 1.017408797596), (90, 1.180340599016)],
)
def test_a_rod_let_go_at_rest_swings_in_its_plane_with_a_pendulum_s_period(
    body, place, move, degrees, ratio
):
    """T0 = 2 pi sqrt(2L/3g) of a thin rod: 1.63822632734 s at 1 m; a width w makes the inertia
    1 + (w/2L)^2 times that. Tolerances: an order above the integrator's 1e-8 a period."""
    rod, state, ball = hung(body, place, np.radians(degrees))
    run = move([rod], [ball], state, 1.63822632734 * np.sqrt(1 + 0.01**2) * ratio)
    assert np.abs(run.last.state.pose.position - state.pose.position).max() < 2e-6
    assert max(abs(f.state.pose.position[0, 1]) for f in run.frames) < 1e-9
    for frame in run.frames:
        pose = frame.state.pose
        top = pose.position[0] + rotations.rotate(pose.quaternion[0], np.array([0, 0, 0.5]))
        assert np.abs(top).max() < 1e-9


def test_a_rod_goes_round_a_cone_at_the_rate_of_steady_precession(body, place, move):
    """A body that turns as a whole about the vertical through its pivot, W^2 (I1 - I3) cos(theta) =
    m g d (Goldstein, Classical Mechanics, 3rd ed., eq. (5.76) with the spin W cos(theta) about its
    own axis; from memory): here I1 about the pivot, d from it to the centre of mass."""
    angle = np.radians(40)
    rod, state, _ = hung(body, place, angle, 0.5, 0.04)
    inertia, _ = of_pivot(rod, state)
    own = np.linalg.eigvalsh(inertia)
    rate = np.sqrt(rod.mass * G * 0.25 / ((own[2] - own[0]) * np.cos(angle)))
    rod, state, ball = hung(body, place, angle, 0.5, 0.04, spin=[0, 0, rate])
    run = move([rod], [ball], state, 2 * np.pi / rate)
    heights = [f.state.pose.position[0, 2] for f in run.frames]
    assert np.ptp(heights) < 1e-6 * 0.25
    assert run.last.state.pose.position == pytest.approx(state.pose.position, abs=2e-6)
    # the ball bears weight and what keeps the centre on its circle
    pull = rod.mass * np.hypot(G, rate**2 * 0.25 * np.sin(angle))
    assert run.end.joints[0].last_force == pytest.approx(pull, rel=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_a_top_keeps_energy_and_both_angular_momenta(body, place, move, seed):
    """A symmetric top in gravity keeps E, L about the vertical and L about its own axis, both about
    the pivot (Goldstein, 3rd ed., section 5.7, from memory)."""
    rng = np.random.default_rng(seed)
    spin = rng.normal(size=3) * 12
    rod, state, ball = hung(body, place, rng.uniform(0.3, 2.6), 0.2, 0.05, spin)
    run = move([rod], [ball], state, 0.6)

    def kept(s):
        _, momentum = of_pivot(rod, s)
        axis = rotations.matrix(s.pose.quaternion[0])[:, 2]
        return momentum[2], momentum @ axis

    scale = np.linalg.norm(of_pivot(rod, state)[1])
    energies = [run.energy(f) for f in run.frames]
    assert np.ptp(energies) < 2e-6 * (abs(energies[0]) + rod.mass * G * 0.1)
    for frame in run.frames:
        assert kept(frame.state) == pytest.approx(kept(state), abs=2e-6 * scale)
    tilts = [f.state.pose.position[0, 2] for f in run.frames]
    assert np.ptp(tilts) > 1e-3  # it did nutate


def test_two_rods_on_balls_hang_still_and_bear_their_weights(body, place, move):
    rods = [body(Box((0.02, 0.02, 0.3)), name=n) for n in "ab"]
    state = place(([0, 0, -0.15],), ([0, 0, -0.45],))
    ends = np.array([[0, 0, 0.15], [0, 0, 0]])
    upper = Ball("upper", (0, WORLD), ends)
    lower = Ball("lower", (1, 0), np.array([[0, 0, 0.15], [0, 0, -0.15]]))
    run = move(rods, [upper, lower], state, 0.2)
    assert np.abs(run.last.state.pose.position - state.pose.position).max() < 1e-12
    weight = rods[0].mass * G
    forces = [j.last_force for j in run.end.joints]
    assert forces == pytest.approx([2 * weight, weight], rel=1e-9)
