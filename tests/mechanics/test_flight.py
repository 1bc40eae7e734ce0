"""Flight of rigid bodies against closed forms."""

import numpy as np
import pytest
from scipy.special import ellipj, ellipk

from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.flight import take_off
from snapsim.mechanics.linkage import Mode
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import MotionSettings, Tolerances
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules

NO_GRAVITY = np.zeros(3)


def one_body(inertia, mass=1.0):
    inertia = np.diag(inertia)
    return RigidBodies(
        np.array([mass]),
        inertia[None],
        np.array([1 / mass]),
        np.linalg.inv(inertia)[None],
        np.array([True]),
        np.array([0.1]),
    )


def no_load(pose):
    return np.zeros_like(pose.position), np.zeros_like(pose.position)


def at_rest(position=(0, 0, 0), spin=(0, 0, 0)):
    pose = Pose(np.array([position], dtype=float), rotations.IDENTITY[None])
    return State(pose, np.zeros((1, 3)), np.array([spin], dtype=float))


def fly(bodies, start, end, loads=no_load, gravity=NO_GRAVITY, relative=1e-10, longest=np.inf):
    tolerances = Tolerances(relative, 1e-12, 1e-11)
    rules = SurfaceRules()
    problem = MotionProblem(
        bodies, ContactGeometry([], rules), rules, loads, gravity, start, end,
        settings=MotionSettings(tolerances),
    )  # fmt: skip
    flight = take_off(problem, Mode(frozenset()), start, 0.0, end)
    while flight.running:
        flight = flight.step(longest)
    return flight.at(end), float(flight.books(end)[0])


def test_free_fall_follows_half_g_t_squared():
    """x = g t^2/2, v = g t (uniform acceleration); a polynomial the method integrates exactly."""
    gravity = np.array([0.0, 0.0, -9.80665])
    state, work = fly(one_body([1, 1, 1]), at_rest((0, 0, 2.0)), 0.6, gravity=gravity)
    assert state.pose.position[0, 2] == pytest.approx(2.0 - 0.5 * 9.80665 * 0.36, abs=1e-13)
    assert state.velocity[0, 2] == pytest.approx(-9.80665 * 0.6, abs=1e-13)
    assert work == 0.0


def asymmetric_top(inertia, first, third, time):
    """Body spin at `time` of a torque-free top that starts at (first, 0, third).

    Landau & Lifshitz, Mechanics, 3rd ed., section 37, eqs (37.8)-(37.12) (from memory), for
    I1 < I2 < I3 and M^2 > 2 E I2 or the other case with 1 and 3 exchanged.
    """
    i1, i2, i3 = inertia
    energy2 = i1 * first**2 + i3 * third**2
    momentum2 = (i1 * first) ** 2 + (i3 * third) ** 2
    swap = momentum2 < energy2 * i2
    if swap:
        i1, i3 = i3, i1
    rate = np.sqrt((i3 - i2) * (momentum2 - energy2 * i1) / (i1 * i2 * i3))
    k2 = (i2 - i1) * (energy2 * i3 - momentum2) / ((i3 - i2) * (momentum2 - energy2 * i1))
    sn, cn, dn, _ = ellipj(rate * time, k2)
    w1 = np.sqrt((energy2 * i3 - momentum2) / (i1 * (i3 - i1))) * cn
    w2 = np.sqrt((energy2 * i3 - momentum2) / (i2 * (i3 - i2))) * sn
    w3 = np.sqrt((momentum2 - energy2 * i1) / (i3 * (i3 - i1))) * dn
    if swap:
        return np.array([w3, -w2, w1])
    return np.array([w1, w2, w3])


# Values by Jacobi elliptic functions, agreeing with an ODE solution to 1e-13 (computed for this
# project; the sense of the middle axis is fixed by Euler's equations at t = 0).
TOPS = [
    ((1.0, 2.0, 3.0), (1.0, 2.0), 0.5, (0.5498172123, 0.8352850011, 1.9409876324)),
    ((1.0, 2.0, 3.0), (2.0, 1.0), 1.0, (1.3612816693, 1.4652345262, 0.5332565934)),
    ((0.002, 0.003, 0.004), (10.0, 5.0), 2.0, (8.8530432944, 5.3694971121, 3.7667210922)),
    ((0.002, 0.003, 0.004), (5.0, 10.0), 5.0, (-4.6837814888, 2.0206239846, 9.9231499292)),
]


@pytest.mark.parametrize(("inertia", "spin", "time", "expected"), TOPS)
def test_torque_free_asymmetric_top_follows_jacobi_elliptic_functions(
    inertia, spin, time, expected
):
    """Tolerance: a hundred times the integrator's relative bound, for error growth over turns."""
    state, _ = fly(one_body(inertia), at_rest(spin=(spin[0], 0, spin[1])), time)
    body_spin = rotations.rotate_back(state.pose.quaternion, state.spin)[0]
    bound = 1e-8 * np.linalg.norm(expected) * max(1.0, time)
    np.testing.assert_allclose(body_spin, expected, rtol=0, atol=bound)
    closed = asymmetric_top(inertia, spin[0], spin[1], time)
    np.testing.assert_allclose(np.abs(body_spin), np.abs(closed), rtol=0, atol=bound)


def test_large_swing_has_the_period_of_the_complete_elliptic_integral():
    """T = 4 sqrt(l/g) K(sin^2(a/2)) (Landau & Lifshitz, Mechanics, section 11, problem 1).

    A needle of inertia I turned back by the torque -k sin(angle) is the same equation with
    l/g = I/k; swung from 120 degrees, at half a period the angle is -120 degrees.
    """
    inertia, stiffness, angle = 2e-3, 0.05, np.radians(120)

    def loads(pose):
        needle = rotations.rotate(pose.quaternion, np.array([[1.0, 0, 0]]))
        return np.zeros((1, 3)), stiffness * np.cross(needle, [1.0, 0, 0])

    start = at_rest()
    turned = rotations.from_axis_angle([0, 0, 1], angle)[None]
    start = State(Pose(start.pose.position, turned), start.velocity, start.spin)
    half = 2 * np.sqrt(inertia / stiffness) * ellipk(np.sin(angle / 2) ** 2)
    state, work = fly(one_body([inertia] * 3), start, half, loads)
    needle = rotations.rotate(state.pose.quaternion, np.array([[1.0, 0, 0]]))[0]
    np.testing.assert_allclose(needle, [np.cos(angle), -np.sin(angle), 0], atol=1e-7)
    assert work == pytest.approx(0.0, abs=1e-10)


def test_work_of_the_load_is_the_kinetic_energy_gained():
    """Work-energy theorem, on a load that twists and pulls at once."""
    bodies = one_body([2e-3, 3e-3, 4e-3], mass=0.5)

    def loads(pose):
        axis = rotations.rotate(pose.quaternion, np.array([[1.0, 0, 0]]))
        return -3.0 * pose.position, np.cross(axis, [0.0, 0.02, 0.05])

    start = at_rest((0.1, 0.0, -0.05), spin=(3.0, -1.0, 2.0))
    state, work = fly(bodies, start, 2.0, loads)
    gained = bodies.kinetic_energies(state).sum() - bodies.kinetic_energies(start).sum()
    assert work == pytest.approx(gained, rel=1e-8)


def test_angular_momentum_of_a_free_body_is_kept():
    """dL/dt = 0 without torque; to the integrator's bound over fifty turns."""
    bodies = one_body([2e-3, 3e-3, 4e-3])
    start = at_rest(spin=(30.0, 1.0, -10.0))
    state, _ = fly(bodies, start, 10.0)
    np.testing.assert_allclose(
        bodies.angular_momentum(state), bodies.angular_momentum(start), rtol=1e-9, atol=1e-11
    )
