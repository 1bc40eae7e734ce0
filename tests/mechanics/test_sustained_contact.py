"""Resting, sliding, rolling, tipping: against textbook motion, and the contact laws themselves."""

import itertools

import numpy as np
import pytest
from plain_arrays import contacts_of, each, free_bodies

from snapsim.mechanics.sustained_contact import (
    SEPARATED,
    SLIDING,
    STICKING,
    StepTerms,
    contact_step,
    project_out,
    turn_all,
)
from snapsim.numerics import rotations
from snapsim.parts.states import Pose

G = 9.80665
UP = np.array([0.0, 0.0, 1.0])


def block_inertia(mass, x, y, z):
    return mass / 12 * np.diag([y * y + z * z, x * x + z * z, x * x + y * y])


def corners(x, y, z):
    return np.array(list(itertools.product((-x / 2, x / 2), (-y / 2, y / 2), (-z / 2, z / 2))))


def step_of(
    inverse_mass, inverse_inertia, position, velocity, spin, force, torque, dt, pair, point, normal,
    gap, friction,
):  # fmt: skip
    """One step; what has sunk in stays where it is."""
    body, state = free_bodies(inverse_mass, inverse_inertia, position, velocity, spin)
    contacts, load = contacts_of(pair, point, normal), (np.array(force, float), np.array(torque))
    room, none = np.maximum(each(gap, contacts), 0.0), np.zeros(len(contacts))
    terms = StepTerms(room, each(friction, contacts), none)
    return contact_step(body, state, load, dt, contacts, terms)


def pushed(inverse_mass, inverse_inertia, position, quaternion, *contacts):
    """Position and quaternion once bodies are out of each other."""
    still = np.zeros(np.shape(position))
    body, state = free_bodies(inverse_mass, inverse_inertia, position, still, still)
    pose = project_out(
        body, Pose(state.pose.position, np.array(quaternion, float)), contacts_of(*contacts)
    )
    return pose.position, pose.quaternion


class Floor:
    """One body (number 1) on the fixed plane z = 0, moved by half steps round `contact_step`."""

    def __init__(
        self, mass, inertia, points, height, mu, gravity, velocity=(0, 0, 0), spin=(0,) * 3
    ):
        self.mass, self.inertia, self.points, self.mu = mass, np.asarray(inertia), points, mu
        self.weight = mass * np.asarray(gravity, float)
        self.x, self.q = np.array([0.0, 0, height]), np.array([1.0, 0, 0, 0])
        self.v, self.w = np.array(velocity, float), np.array(spin, float)
        self.step_result, self.time = None, 0.0

    def contacts(self):
        """Contact points in world axes: the given points of the body, or below a ball's centre."""
        if np.isscalar(self.points):
            return np.array([self.x - self.points * UP])
        return self.x + rotations.rotate(self.q, self.points)

    def drift(self, dt):
        self.x = self.x + dt * self.v
        turn = rotations.from_rotation_vector(dt * self.w)
        self.q = rotations.normalise(rotations.multiply(turn, self.q))

    def step(self, dt):
        self.drift(dt / 2)
        points = self.contacts()
        turn = rotations.matrix(self.q)
        inverse = turn @ np.linalg.inv(self.inertia) @ turn.T
        zero = np.zeros(3)
        near = points[:, 2] < 2e-3 if len(points) > 1 else np.array([True])
        points = points[near]
        self.step_result = step_of(
            [0.0, 1 / self.mass], [np.zeros((3, 3)), inverse], [zero, self.x], [zero, self.v],
            [zero, self.w], [zero, self.weight], np.zeros((2, 3)), dt, [[1, 0]] * len(points),
            points, [UP] * len(points), points[:, 2], self.mu,
        )  # fmt: skip
        self.v, self.w = self.step_result.velocity[1], self.step_result.spin[1]
        self.drift(dt / 2)
        self.time += dt
        return self.step_result

    def kinetic(self):
        body_spin = rotations.rotate_back(self.q, self.w)
        return 0.5 * self.mass * self.v @ self.v + 0.5 * body_spin @ self.inertia @ body_spin


def tilted(degrees):
    a = np.radians(degrees)
    return G * np.array([np.sin(a), 0, -np.cos(a)])


def slider(degrees, mu, **motion):
    """A 100 x 60 x 20 mm block of 1.5 kg lying on its four lower corners."""
    points = corners(0.1, 0.06, 0.02)
    return Floor(
        1.5, block_inertia(1.5, 0.1, 0.06, 0.02), points[points[:, 2] < 0], 0.01, mu,
        tilted(degrees), **motion,
    )  # fmt: skip


# -- blocks --------------------------------------------------------------------------------------


@pytest.mark.parametrize("steps", [500, pytest.param(10_000, marks=pytest.mark.slow)])
def test_block_below_the_friction_angle_does_not_creep(steps):
    # tan 20 deg = 0.364 < 0.4: it rests; half a second, and ten seconds, of 1 ms steps
    body = slider(20, 0.4)
    start = body.x
    for _ in range(steps):
        result = body.step(1e-3)
    assert np.linalg.norm(body.x - start) < 1e-13 * steps
    assert np.all(result.status == STICKING)
    assert result.impulse[:, 2].sum() == pytest.approx(1.5 * G * np.cos(np.radians(20)) * 1e-3)


@pytest.mark.parametrize(
    # a = g (sin - mu cos)
    ("degrees", "mu", "acceleration"),
    [(30, 0.2, 3.20476339480), (45, 0.5, 3.46717435786)],
)
def test_block_slides_down_an_incline(degrees, mu, acceleration):
    body = slider(degrees, mu)
    for _ in range(200):
        result = body.step(1e-3)
    np.testing.assert_allclose(body.v, [0.2 * acceleration, 0, 0], atol=1e-11)
    assert body.x[0] == pytest.approx(0.5 * acceleration * 0.2**2, rel=1e-10)
    assert np.all(result.status == SLIDING)


@pytest.mark.parametrize(("excess", "slides"), [(-1e-6, True), (1e-6, False)])
def test_the_friction_angle_is_sharp(excess, slides):
    slope = np.tan(np.radians(25))
    body = slider(25, slope * (1 + excess))
    for _ in range(100):
        body.step(1e-3)
    expected = 0.1 * G * np.sin(np.radians(25)) * 1e-6 if slides else 0.0
    assert body.v[0] == pytest.approx(expected, rel=1e-6, abs=1e-14)


def test_sliding_block_stops_and_stays():
    # v^2/(2 mu g); the step in which it stops is the only one that is not exact
    body = slider(0, 0.3, velocity=(1.0, 0.5, 0.0))
    while body.time < 0.6:
        result = body.step(1e-3)
    distance = np.hypot(*body.x[:2])
    assert distance == pytest.approx(1.25 / (2 * 0.3 * G), abs=0.3 * G * 1e-3**2)
    np.testing.assert_allclose(body.v, 0, atol=1e-14)
    assert np.all(result.status == STICKING)


@pytest.mark.parametrize("degrees", [20, 35])
def test_tall_block_tips_over_its_edge_only_beyond_its_angle(degrees):
    """Tips where tan(theta) > B/H; then it starts as a compound pendulum about the edge with
    (4/3) m R^2 angular acceleration = g R sin(theta - atan(B/H)) (Housner 1963, from memory)."""
    width, height, dt = 0.1, 0.2, 1e-4
    points = corners(width, 0.1, height)
    body = Floor(
        2, block_inertia(2, width, 0.1, height), points[points[:, 2] < 0], height / 2, 1.0,
        tilted(degrees),
    )  # fmt: skip
    result = body.step(dt)
    half_diagonal, alpha = np.hypot(width, height) / 2, np.arctan(width / height)
    excess = np.sin(np.radians(degrees) - alpha)
    expected = max(0.0, 3 * G / (4 * half_diagonal) * excess) * dt
    assert body.w[1] == pytest.approx(expected, rel=1e-9, abs=1e-14)
    assert np.sum(result.status == SEPARATED) == (2 if expected > 0 else 0)


def test_body_pulled_up_leaves_at_once():
    body = slider(0, 0.4)
    body.weight = np.array([0, 0, 3.0])
    result = body.step(1e-3)
    assert np.all(result.status == SEPARATED)
    assert body.v[2] == pytest.approx(3.0 / 1.5 * 1e-3, rel=1e-14)


def test_falling_block_closes_its_gap_within_the_step():
    body = slider(0, 0.4, velocity=(0, 0, -0.5))
    body.x[2] += 4e-4
    body.step(1e-3)  # the gap at the middle of the step is 1.5e-4, the speed left 1.5e-4/1e-3
    assert body.v[2] == pytest.approx(-0.15, rel=1e-9)
    body.step(1e-3)
    assert body.v[2] == pytest.approx(0, abs=1e-12)


# -- round bodies --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    # v_f = v0/(1 + beta), t = v0/(mu g (1 + 1/beta)), beta = I/(m R^2)
    ("beta", "v0", "mu", "v_f", "time", "distance"),
    [
        (0.4, 1, 0.2, 0.7142857143, 0.1456737447, 0.1248632098),
        (0.4, 5, 0.3, 3.571428571, 0.485579149, 2.081053496),
        (0.5, 1, 0.2, 0.6666666667, 0.1699527022, 0.1416272518),
        (1.0, 1, 0.2, 0.5, 0.2549290532, 0.1911967899),
    ],
)
def test_sliding_ball_ends_rolling(beta, v0, mu, v_f, time, distance):
    radius, mass, dt = 0.05, 0.7, 1e-3
    body = Floor(
        mass, beta * mass * radius**2 * np.eye(3), radius, radius, mu, [0, 0, -G],
        velocity=(v0, 0, 0),
    )  # fmt: skip
    rolled, result = None, None
    while body.time < 1.2 * time:
        result = body.step(dt)
        if rolled is None and abs(body.v[0] - radius * body.w[1]) < 1e-12:
            rolled = body.time, body.x[0]
    assert body.v[0] == pytest.approx(v_f, rel=1e-9)
    assert radius * body.w[1] == pytest.approx(v_f, rel=1e-9)
    assert rolled is not None
    assert rolled[0] == pytest.approx(time, abs=dt)  # found to within the step it happened in
    assert rolled[1] == pytest.approx(distance, abs=v_f * dt)
    assert body.x[2] == radius  # sliding lifts nothing off
    assert result.status[0] == STICKING


@pytest.mark.parametrize(
    # (5/7) g sin if mu >= (2/7) tan, else it slides with g (sin - mu cos)
    ("mu", "acceleration"),
    [(0.17, 3.502375), (0.2, 3.502375), (0.1, G * (0.5 - 0.1 * np.cos(np.radians(30))))],
)
def test_ball_rolls_down_an_incline(mu, acceleration):
    body = Floor(0.7, 0.4 * 0.7 * 0.05**2 * np.eye(3), 0.05, 0.05, mu, tilted(30))
    for _ in range(100):
        body.step(1e-3)
    assert body.v[0] == pytest.approx(0.1 * acceleration, rel=1e-9)


def test_spinning_disc_is_stopped_by_its_rim():
    # ring contact at radius R carries torque mu m g R; I = m R^2/2, so 2 mu g/R (collar friction,
    # uniform load; machine-design textbooks, from memory)
    radius, mass, mu, dt = 0.06, 0.8, 0.25, 1e-3
    angle = 2 * np.pi * np.arange(12) / 12
    rim = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle - 0.01])
    inertia = mass * radius**2 * np.diag([0.25, 0.25, 0.5])
    body = Floor(mass, inertia, rim, 0.01, mu, [0, 0, -G], spin=(0, 0, 20))
    for _ in range(100):
        body.step(dt)
    assert body.w[2] == pytest.approx(20 - 0.1 * 2 * mu * G / radius, rel=1e-9)
    np.testing.assert_allclose(body.v, 0, atol=1e-12)
    for _ in range(200):
        body.step(dt)
    np.testing.assert_allclose(body.w, 0, atol=1e-12)


# -- free motion and energy ----------------------------------------------------------------------


def test_torque_free_spin_keeps_energy_and_follows_eulers_top():
    # omega at t = 1 for I = (1, 2, 3), omega(0) = (1, 0, 2): Jacobi elliptic functions
    # (Landau & Lifshitz, Mechanics, section 37, from memory; values computed twice)
    errors = []
    for count in (200, 400):
        body = Floor(1, np.diag([1.0, 2, 3]), corners(1, 1, 1), 5, 0, [0, 0, 0], spin=(1, 0, 2))
        before = body.kinetic()
        for _ in range(count):
            body.step(1 / count)
        assert body.kinetic() == pytest.approx(before, rel=1e-13)
        body_spin = rotations.rotate_back(body.q, body.w)
        exact = [-0.3698392415, 0.9290957623, 1.9267226980]
        errors.append(np.abs(body_spin - exact).max())
    assert errors[1] < 1e-4
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.1)  # second order


def test_tumbling_block_loses_just_what_the_contacts_take():
    body = Floor(
        1.2, block_inertia(1.2, 0.1, 0.06, 0.04), corners(0.1, 0.06, 0.04), 0.06, 0.4, [0, 0, -G],
        velocity=(0.3, 0.1, -0.2), spin=(4, 7, -3),
    )  # fmt: skip
    taken = 0.0
    for _ in range(600):
        before = body.kinetic()
        result = body.step(1e-3)
        booked = result.applied_work + result.normal_work + result.friction_work
        assert body.kinetic() - before == pytest.approx(booked, abs=1e-14)
        assert result.residual < 1e-9
        taken += result.normal_work + result.friction_work
    assert taken < 0
    assert body.kinetic() < 1e-20  # it has come to rest


def random_problem(seed, bodies, contacts):
    r = np.random.default_rng(seed)
    inverse_mass = 1 / r.uniform(0.3, 5, bodies)
    inverse_mass[0] = 0
    inertia = [np.zeros((3, 3))]
    for k in range(1, bodies):
        axes = np.linalg.qr(r.normal(size=(3, 3)))[0]
        inertia.append(axes @ np.diag(100 / r.uniform(0.6, 1, 3)) @ axes.T * inverse_mass[k])
    position, velocity, spin = r.normal(size=(3, bodies, 3)) * [[[0.1]], [[1]], [[3]]]
    velocity[0], spin[0] = 0, 0
    pair = np.sort([r.choice(bodies, 2, replace=False) for _ in range(contacts)], axis=1)[:, ::-1]
    normal = 0.6 * r.normal(size=(contacts, 3)) + UP
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    force, torque = 20 * r.normal(size=(bodies, 3)), r.normal(size=(bodies, 3))
    gap = np.where(r.uniform(size=contacts) < 0.3, r.uniform(0, 1e-3, contacts), 0.0)
    point = 0.1 * r.normal(size=(contacts, 3))
    arguments = [inverse_mass, np.array(inertia), position, velocity, spin, force, torque, 1e-3]
    return arguments, [pair, point, normal, gap], r.uniform(0, 0.9, contacts)


def slip_velocity(arguments, contacts, result):
    """Slip just after the push: the spins of the end of the step turned back by half of it."""
    position, (pair, point, _, _) = arguments[2], contacts
    spin = result.spin.copy()
    turn_all(arguments[1], spin, -0.5 * arguments[7])
    a, b = pair.T
    at_a = result.velocity[a] + np.cross(spin[a], point - position[a])
    return at_a - result.velocity[b] - np.cross(spin[b], point - position[b])


@pytest.mark.parametrize("seed", range(3))
def test_a_step_without_contacts_is_undone_by_the_same_step_backwards(seed):
    """Symmetric in time, hence of even order (Hairer, Lubich & Wanner, Geometric Numerical
    Integration, 2nd ed. 2006, theorem II.3.2; from memory), gyroscopic terms too. To rounding."""
    arguments, _, _ = random_problem(seed, 3, 1)
    none = (np.zeros((0, 2), dtype=int), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), 0.0)
    arguments[7] = 0.05
    there = step_of(*arguments, *none)
    back = list(arguments)
    back[3], back[4] = -there.velocity, -there.spin
    again = step_of(*back, *none)
    assert np.abs(there.spin - arguments[4]).max() > 0.01
    np.testing.assert_allclose(-again.velocity, arguments[3], atol=1e-12)
    np.testing.assert_allclose(-again.spin, arguments[4], atol=1e-12)


@pytest.mark.parametrize(("bodies", "contacts"), [(2, 1), (2, 3), (3, 5), (2, 8), (5, 16)])
def test_signorini_and_coulomb_hold_at_every_contact(bodies, contacts):
    for seed in range(25):
        arguments, geometry, mu = random_problem(1000 * contacts + seed, bodies, contacts)
        result = step_of(*arguments, *geometry, mu)
        normal, gap = geometry[2], geometry[3]
        u = slip_velocity(arguments, geometry, result)
        u_n, p_n = np.sum(u * normal, axis=1), np.sum(result.impulse * normal, axis=1)
        u_t, p_t = u - u_n[:, None] * normal, result.impulse - p_n[:, None] * normal
        slip = np.linalg.norm(u_t, axis=1)
        assert np.all(u_n + gap / 1e-3 >= -1e-9)
        assert np.all(p_n >= -1e-12)
        assert np.all(np.abs(p_n * (u_n + gap / 1e-3)) <= 1e-9)
        assert np.all(np.linalg.norm(p_t, axis=1) <= mu * p_n + 1e-9)
        # where it slips, friction is full and straight against the slip
        np.testing.assert_allclose(
            p_t * slip[:, None], -(mu * p_n)[:, None] * u_t, atol=1e-8 * (1 + p_n.max())
        )


@pytest.mark.parametrize("seed", range(6))
def test_order_of_contacts_and_bodies_does_not_matter(seed):
    """Eight points under one plate: redundant, yet every impulse is the same in any order."""
    r = np.random.default_rng(seed)
    points = np.array([[x, y, -0.01] for x in (-1, 0, 1) for y in (-1, 0, 1) if x or y])
    points = points * [0.1, 0.08, 1]
    inverse = np.linalg.inv(block_inertia(2, 0.2, 0.16, 0.02))

    def solve(order):
        zero = np.zeros(3)
        return step_of(
            [0, 0.5], [np.zeros((3, 3)), inverse], np.zeros((2, 3)), [zero, [0.4, 0.1, 0]],
            [zero, [0, 0, 5.0 * (seed % 2)]], [zero, [0, 0, -20]], np.zeros((2, 3)), 1e-3,
            [[1, 0]] * 8, points[order], [UP] * 8, np.zeros(8), 0.3,
        )  # fmt: skip

    base = solve(np.arange(8))
    order = r.permutation(8)
    other = solve(order)
    np.testing.assert_allclose(other.velocity, base.velocity, atol=1e-12)
    np.testing.assert_allclose(other.impulse, base.impulse[order], atol=1e-10)


def test_stack_of_two_blocks_carries_the_whole_weight():
    inverse = np.linalg.inv(block_inertia(1, 0.1, 0.1, 0.04))
    lower = np.array([[x, y, 0.0] for x in (-0.05, 0.05) for y in (-0.05, 0.05)])
    point = np.vstack([lower, lower + 0.04 * UP])
    weight = np.array([[0, 0, 0], [0, 0, -G], [0, 0, -G]])
    result = step_of(
        [0, 1, 1], [np.zeros((3, 3)), inverse, inverse], [[0, 0, 0], [0, 0, 0.02], [0, 0, 0.06]],
        np.zeros((3, 3)), np.zeros((3, 3)), weight, np.zeros((3, 3)), 1e-3,
        [[1, 0]] * 4 + [[2, 1]] * 4, point, [UP] * 8, np.zeros(8), 0.5,
    )  # fmt: skip
    np.testing.assert_allclose(result.velocity, 0, atol=1e-13)
    np.testing.assert_allclose(result.impulse[:4, 2], 2 * G * 1e-3 / 4, rtol=1e-9)
    np.testing.assert_allclose(result.impulse[4:, 2], G * 1e-3 / 4, rtol=1e-9)


# -- pushing out -----------------------------------------------------------------------------------


def test_overlapping_bodies_part_in_inverse_proportion_to_mass():
    # least m1 d1^2 + m2 d2^2 with d1 + d2 = 3e-4: d1 : d2 = m2 : m1
    start = np.array([[0, 0, 0], [0.1, 0, 0]])
    inverse = np.array([np.eye(3) * 1e3] * 2)
    whole = np.array([[1.0, 0, 0, 0]] * 2)
    position, quaternion = pushed(
        [1.0, 0.5], inverse, start, whole, [[0, 1]], [[0.05, 0, 0]], [[-1, 0, 0]], [-3e-4]
    )
    np.testing.assert_allclose(position[:, 0], [-2e-4, 0.1 + 1e-4], rtol=1e-9)
    np.testing.assert_allclose(quaternion, whole)


def test_sunken_block_is_lifted_to_the_surface():
    points = corners(0.1, 0.06, 0.02)
    points = points[points[:, 2] < 0]
    turn = rotations.from_axis_angle([0.3, 1, 0], 1e-3)
    centre = np.array([[0, 0, 0], [0, 0, 0.00997]])
    quaternion = np.array([[1.0, 0, 0, 0], turn])
    inverse = np.array([np.zeros((3, 3)), np.linalg.inv(block_inertia(1.5, 0.1, 0.06, 0.02))])
    for _ in range(2):
        world = centre[1] + rotations.rotate(quaternion[1], points)
        centre, quaternion = pushed(
            [0, 1 / 1.5], inverse, centre, quaternion, [[1, 0]] * 4, world, [UP] * 4, world[:, 2]
        )
    world = centre[1] + rotations.rotate(quaternion[1], points)
    assert world[:, 2].min() > -1e-9
    np.testing.assert_array_equal(centre[0], 0)


def test_nothing_moves_where_nothing_has_sunk():
    start, whole = np.zeros((2, 3)), np.array([[1.0, 0, 0, 0]] * 2)
    inverse = np.array([np.zeros((3, 3)), np.eye(3)])
    position, quaternion = pushed(
        [0, 1.0], inverse, start, whole, [[1, 0]], [[0, 0, 0]], [UP], [1e-6]
    )
    np.testing.assert_array_equal(position, start)
    np.testing.assert_array_equal(quaternion, whole)
