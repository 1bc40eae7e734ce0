"""Blows against textbook results, against independent integration, and against themselves."""

import numpy as np
import pytest
from plain_arrays import contacts_of, each, free_bodies
from scipy.integrate import solve_ivp

from snapsim.mechanics.contact_springs import Springs
from snapsim.mechanics.impact import blow_on_operator, resolve_impact
from snapsim.mechanics.simultaneous_blows import MOST_STEPS, STEP, simultaneous_blows
from snapsim.mechanics.stronge import single_blow

UP = np.array([0.0, 0.0, 1.0])


def strike(mass, inertia, position, velocity, spin, pair, point, normal, e, mu, **options):
    """Resolve a blow from masses and inertia tensors; mass inf is a fixed body."""
    inverse_inertia = [
        np.zeros((3, 3)) if np.isinf(m) else np.linalg.inv(i)
        for m, i in zip(mass, inertia, strict=True)
    ]
    given = free_bodies(1 / np.asarray(mass), inverse_inertia, position, velocity, spin)
    contacts = contacts_of(pair, point, normal)
    return resolve_impact(*given, contacts, each(e, contacts), each(mu, contacts), **options)


def on_floor(mass, inertia, arms, velocity, spin, e, mu, **options):
    """One body over a fixed floor, contacts at `arms` from its centre."""
    arms = np.atleast_2d(arms)
    pair = [[1, 0]] * len(arms)
    return strike(
        [np.inf, mass], [np.eye(3), inertia], np.zeros((2, 3)), [np.zeros(3), velocity],
        [np.zeros(3), spin], pair, arms, [UP] * len(arms), e, mu, **options,
    )  # fmt: skip


def ball(mass, radius):
    return 0.4 * mass * radius**2 * np.eye(3)


def block(mass, x, y, z):
    return mass / 12 * np.diag([y * y + z * z, x * x + z * z, x * x + y * y])


def random_blow(seed, bodies, contacts):
    """Bodies over a fixed one (number 0), struck from random places; a feasible way out exists."""
    r = np.random.default_rng(seed)
    mass = r.uniform(0.3, 10, bodies)
    mass[0] = np.inf
    inertia = [np.eye(3)]
    for k in range(1, bodies):
        axes = np.linalg.qr(r.normal(size=(3, 3)))[0]
        inertia.append(axes @ np.diag(r.uniform(0.6, 1.0, 3)) @ axes.T * mass[k] * 0.01)
    velocity, spin = r.normal(size=(2, bodies, 3))
    velocity[0], spin[0] = 0, 0
    pair = np.sort([r.choice(bodies, 2, replace=False) for _ in range(contacts)], axis=1)[:, ::-1]
    normal = r.normal(size=(contacts, 3)) * 0.6 + UP
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    position, point = 0.1 * r.normal(size=(bodies, 3)), 0.1 * r.normal(size=(contacts, 3))
    return mass, inertia, position, velocity, 5 * spin, pair, point, normal


def kinetic(mass, inertia, velocity, spin):
    return sum(
        0.5 * m * v @ v + 0.5 * w @ i @ w
        for m, i, v, w in zip(mass, inertia, velocity, spin, strict=True)
        if np.isfinite(m)
    )


def planar_reference(w_nn, w_tt, w_nt, u_n, u_t, e, mu):
    """Impulse (p_n, p_t) by integrating Stronge's planar equations phase by phase (scipy)."""
    y, stored, p = np.array([u_n, u_t, 0.0, 0.0]), None, 0.0  # u_n, u_t, work, p_t
    for _ in range(6):
        if y[1] != 0:
            f = -mu * np.sign(y[1])
        else:
            f = -w_nt / w_tt
            if abs(f) > mu:
                f = -mu * np.sign(w_nt)
        rate = np.array([w_nn + w_nt * f, w_nt + w_tt * f])
        if y[1] == 0 and abs(f) < mu:
            rate[1] = 0
        events = [lambda p, y: y[1]] if y[1] * rate[1] < 0 else [lambda p, y: 1.0]
        if stored is None:
            events.append(lambda p, y: y[0])
        else:
            events.append(lambda p, y, s=stored: y[2] - s * (1 - e * e))
        for event in events:
            event.terminal = True
        start = y
        run = solve_ivp(
            lambda p, y, rate=rate, f=f: [*rate, y[0], f], (p, p + 1e3), y,
            events=events, rtol=1e-12, atol=1e-15, max_step=1e2,
        )  # fmt: skip
        y, p = run.y[:, -1].copy(), run.t[-1]
        if len(run.t_events[0]):
            y[1] = 0.0
        elif stored is None:
            stored, y[0] = y[2], 0.0
            if e == 0:
                break
        else:
            break
        assert start is not y
    return p, y[3]


# -- one contact ------------------------------------------------------------------------------


def test_central_impact_of_two_bodies():
    # momentum and Newton's restitution, hand calculation: v1 = -0.12, v2 = 0.78 m/s, loss 1.638 J
    blow = strike(
        [0.5, 2.0], [ball(0.5, 0.1)] * 2, [[0, 0, 0], [1, 0, 0]], [[3, 0, 0], [0, 0, 0]],
        np.zeros((2, 3)), [[0, 1]], [[0.5, 0, 0]], [[-1, 0, 0]], 0.3, 0.0,
    )  # fmt: skip
    np.testing.assert_allclose(blow.velocity[:, 0], [-0.12, 0.78], atol=1e-14)
    assert blow.lost == pytest.approx(1.638, abs=1e-13)
    assert blow.effective_mass[0] == pytest.approx(0.4, rel=1e-14)
    assert blow.closing_speed[0] == pytest.approx(3.0, rel=1e-14)


def test_rod_falling_flat_struck_at_one_end():
    # hand calculation: J = (1 + e) v m/4 = 0.75 N s, v -> -1.25 m/s, spin 4.5 rad/s
    blow = on_floor(1, np.diag([1e-9, 1 / 12, 1 / 12]), [0.5, 0, 0], [0, 0, -2], [0, 0, 0], 0.5, 0)
    assert blow.impulse[0, 2] == pytest.approx(0.75, rel=1e-12)
    assert blow.velocity[1, 2] == pytest.approx(-1.25, rel=1e-12)
    assert abs(blow.spin[1, 1]) == pytest.approx(4.5, rel=1e-12)


@pytest.mark.parametrize(
    ("mu", "speed"),
    # impulse and momentum: slides while mu < (2/7) v_x/J_n = 0.0793651, else rolls at 5/7
    [(0.05, 0.82), (0.0793, 1 - 3.6 * 0.0793), (0.0794, 5 / 7), (0.3, 5 / 7), (2.0, 5 / 7)],
)
def test_ball_on_a_rough_floor_slides_or_rolls_away(mu, speed):
    blow = on_floor(1, ball(1, 0.05), [0, 0, -0.05], [1, 0, -2], [0, 0, 0], 0.8, mu)
    assert blow.velocity[1, 0] == pytest.approx(speed, rel=1e-12)
    assert blow.velocity[1, 2] == pytest.approx(1.6, rel=1e-12)
    assert 0.05 * blow.spin[1, 1] == pytest.approx(2.5 * (1 - speed), rel=1e-12)


def test_effective_mass_at_a_corner():
    # 1/(1/m + d^2/I), block 0.1 x 0.2 tilted 20 deg: d = 0.0127826 m, m_eff = 0.962264907
    a = np.radians(20)
    corner = [0.05 * np.cos(a) - 0.1 * np.sin(a), 0, -0.05 * np.sin(a) - 0.1 * np.cos(a)]
    blow = on_floor(1, block(1, 0.1, 0.05, 0.2), corner, [0, 0, -1], [0, 0, 0], 0, 0)
    assert blow.effective_mass[0] == pytest.approx(0.962264907, rel=1e-9)


@pytest.mark.parametrize("angle", [15, 35, 55, 75, 105, 140])
@pytest.mark.parametrize("mu", [0.1, 0.3, 0.8])
@pytest.mark.parametrize("slip", [-0.5, 0.0, 0.7])
def test_rod_end_on_a_table_with_friction(angle, mu, slip):
    """Slip, stick and reversal of slip, against an integration of Stronge's planar equations
    (Impact Mechanics, ch. 5; equations from memory), phase by phase with scipy."""
    a, e, inertia = np.radians(angle), 0.6, 1 / 12
    arm = -0.5 * np.array([np.cos(a), 0, np.sin(a)])
    blow = on_floor(1, np.diag([inertia, inertia, inertia]), arm, [slip, 0, -1], [0] * 3, e, mu)
    w_nn, w_tt = 1 + arm[0] ** 2 / inertia, 1 + arm[2] ** 2 / inertia
    w_nt = -arm[0] * arm[2] / inertia
    p_n, p_t = planar_reference(w_nn, w_tt, w_nt, -1.0, slip, e, mu)
    np.testing.assert_allclose(blow.impulse[0], [p_t, 0, p_n], atol=1e-9)


def test_slip_reverses_where_stick_cannot_hold():
    # stick needs |W_nt| <= mu W_tt (Stronge); here 1.30/1.75 > 0.3: slip turns round
    a = np.radians(30)
    arm = -0.5 * np.array([np.cos(a), 0, np.sin(a)])
    spin_inertia = np.eye(3) / 12
    first = on_floor(1, spin_inertia, arm, [0.2, 0, -1], [0] * 3, 0.6, 0.3)
    after = first.velocity[1] + np.cross(first.spin[1], arm)
    assert after[0] < -0.1


@pytest.mark.parametrize("seed", range(12))
def test_turning_slip_follows_kellers_equations(seed):
    """Keller, J. Appl. Mech. 53, 1 (1986) (equations from memory), integrated by DOP853."""
    r = np.random.default_rng(seed)
    a = r.normal(size=(3, 3))
    w, mu, e = a @ a.T + np.eye(3), 0.15, 0.7
    u = np.array([-1.0, *r.normal(size=2) * 3])

    def rate(p, y):
        f = np.array([1, *(-mu * y[1:3] / np.hypot(*y[1:3]))])
        return [*(w @ f), y[0], *f[1:]]

    def until(event, y, p):
        event.terminal = True
        run = solve_ivp(rate, (p, p + 50), y, method="DOP853", events=event, rtol=1e-12, atol=1e-14)
        assert np.min(np.hypot(run.y[1], run.y[2])) > 1e-3  # slip never stops in these cases
        return run.y[:, -1], run.t[-1]

    y, p = until(lambda p, y: y[0], [*u, 0, 0, 0], 0.0)
    stored = y[3]
    y, p = until(lambda p, y: y[3] - (1 - e * e) * stored, [1e-16, *y[1:]], p)
    np.testing.assert_allclose(single_blow(w, u, e, mu)[:3], [p, *y[4:]], atol=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_work_given_back_is_e_squared_of_the_work_stored(seed):
    """The definition of energetic restitution (Stronge 1990), with W_c from a blow with e = 0."""
    r = np.random.default_rng(seed)
    a = r.normal(size=(3, 3))
    w, u = a @ a.T + 0.2 * np.eye(3), r.normal(size=3)
    u[0] = -1 - abs(u[0])
    mu, e = r.uniform(0, 1.2), r.uniform(0, 1)
    stored = -single_blow(w, u, 0.0, mu)[3]
    given = single_blow(w, u, e, mu)[3] + stored
    assert given == pytest.approx(e * e * stored, abs=1e-10 * stored)


# -- several contacts ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "height", "ratio"), [(0.1, 0.4, 0.831314879), (0.1, 0.1, 0.0625)]
)
def test_rocking_block_landing_on_its_other_edge(width, height, ratio):
    """Housner, Bull. Seismol. Soc. Am. 53, 403 (1963), eq. 6 (from memory): energy ratio
    [1 - (3/2) sin^2 alpha]^2; all four corners given at once, no rebound, no slip."""
    x, z = width / 2, height / 2
    arms = np.array([[sx * x, sy * 0.1, -z] for sx in (-1, 1) for sy in (-1, 1)])
    spin = np.array([0, 3.0, 0])
    velocity = -np.cross(spin, [-x, 0, -z])  # turning about the edge at -x, other edge coming down
    inertia = block(1, width, 0.2, height)
    blow = on_floor(1, inertia, arms, velocity, spin, 0.0, 5.0)
    if blow.closing_speed.max() < 0:
        pytest.fail("the other edge must be closing")
    before = 0.5 * velocity @ velocity + 0.5 * spin @ inertia @ spin
    assert 1 - blow.lost / before == pytest.approx(ratio, rel=1e-8)
    assert blow.spin[1, 1] == pytest.approx(3.0 * np.sqrt(ratio), rel=1e-8)


@pytest.mark.parametrize("e", [0.0, 0.4, 1.0])
def test_flat_landing_on_many_corners_is_one_central_blow(e):
    arms = np.array([[x, y, -0.02] for x in (-1, 0, 1) for y in (-1, 0, 1)]) * [0.1, 0.1, 1]
    blow = on_floor(2, block(2, 0.2, 0.2, 0.04), arms, [0, 0, -1.5], [0, 0, 0], e, 0.4)
    np.testing.assert_allclose(blow.velocity[1], [0, 0, 1.5 * e], atol=1e-9)
    np.testing.assert_allclose(blow.spin[1], 0, atol=1e-9)
    np.testing.assert_allclose(blow.impulse[:, 2], 3 * (1 + e) / 9, rtol=1e-8)


@pytest.mark.parametrize("e", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("beside", [0.0, 1e-5, 5e-5])
def test_a_corner_found_twice_draws_no_blow_to_it(e, beside):
    # closed form: a flat landing is central, however often and how closely its corners are found
    arms = np.array([[x, y, -0.02] for x in (-1, 1) for y in (-1, 1)]) * [0.1, 0.1, 1]
    twice = np.concatenate([arms, arms[2:] - [beside, 0, 0]])
    blow = on_floor(2, block(2, 0.2, 0.2, 0.04), twice, [0, 0, -1.5], [0, 0, 0], e, 0.4)
    np.testing.assert_allclose(blow.velocity[1], [0, 0, 1.5 * e], atol=1e-9)
    np.testing.assert_allclose(blow.spin[1], 0, atol=1e-9)
    assert blow.impulse[:, 2].sum() == pytest.approx(3 * (1 + e), rel=1e-8)


def test_ball_meets_two_touching_balls():
    # momentum, energy and symmetry: back at 1/5 of its speed, the others leave at 2 sqrt(3)/5
    s, c = 0.5, np.sqrt(0.75)
    blow = strike(
        [1.0] * 3, [ball(1, 0.5)] * 3, [[0, 0, 0], [c, s, 0], [c, -s, 0]],
        [[1, 0, 0], [0, 0, 0], [0, 0, 0]], np.zeros((3, 3)), [[0, 1], [0, 2], [1, 2]],
        [[c / 2, s / 2, 0], [c / 2, -s / 2, 0], [c, 0, 0]],
        [[-c, -s, 0], [-c, s, 0], [0, 1, 0]], 1.0, 0.0,
    )  # fmt: skip
    np.testing.assert_allclose(blow.velocity[0], [-0.2, 0, 0], atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(blow.velocity[1:], axis=1), 0.4 * np.sqrt(3))


def hertz_chain(mass, velocity, e=1.0):
    """Speeds after a blow through a touching row, integrated on its own (DOP853).

    F = k x^(3/2) between neighbours (Johnson, Contact Mechanics, 1985, eq. 4.23; from memory), the
    same k; with e < 1 the compression goes back 1/e^2 times as fast as the contact opens.
    """
    count = len(mass)

    def rate(t, y):
        x, v = y[: count - 1], y[count - 1 :]
        closing = v[:-1] - v[1:]
        push = np.maximum(x, 0) ** 1.5
        force = np.zeros(count)
        force[:-1] -= push
        force[1:] += push
        return [*np.where((closing < 0) & (x > 0), closing / e**2, closing), *(force / mass)]

    run = solve_ivp(
        rate, (0, 60 + 10 * count), [*np.zeros(count - 1), *velocity], method="DOP853",
        rtol=1e-10, atol=1e-12, max_step=0.05,
    )  # fmt: skip
    return run.y[count - 1 :, -1]


def row_of_balls(mass, velocity, e, fineness, **options):
    count = len(mass)
    return strike(
        mass, [ball(m, 0.5) for m in mass], [[i, 0, 0] for i in range(count)],
        [[v, 0, 0] for v in velocity], np.zeros((count, 3)), [[i, i + 1] for i in range(count - 1)],
        [[i + 0.5, 0, 0] for i in range(count - 1)], [[-1, 0, 0]] * (count - 1), e, 0.3,
        fineness=fineness, **options,
    )  # fmt: skip


@pytest.mark.parametrize("count", range(2, 9))
@pytest.mark.parametrize("incoming", [1, 2])
def test_balls_into_a_row_of_touching_balls(count, incoming):
    """Newton's cradle: an independent Hertz chain; energy and momentum kept."""
    mass, velocity = np.ones(count), np.where(np.arange(count) < incoming, 1.0, 0.0)
    if incoming >= count:
        return
    blow = row_of_balls(mass, velocity, 1.0, 0.01)
    # second order in a step of 0.01 of the contact's frequency, some units in turn
    np.testing.assert_allclose(blow.velocity[:, 0], hertz_chain(mass, velocity), atol=1e-4)
    assert blow.velocity[:, 0].sum() == pytest.approx(incoming, rel=1e-12)


def test_the_last_of_five_balls_leaves_at_0_989_of_the_speed():
    """As a row of Hertz springs has it (0.989; Falcon et al., Eur. Phys. J. B 5, 111 (1998), report
    a first ball that comes back and balls that follow the last; from memory)."""
    blow = row_of_balls(np.ones(5), [1.0, 0, 0, 0, 0], 1.0, 0.01)
    assert blow.velocity[4, 0] == pytest.approx(0.989, abs=5e-4)
    assert blow.velocity[0, 0] < -0.05


@pytest.mark.parametrize("mass", [np.array([1.0, 0.6, 0.36, 0.216]), np.array([1.0, 3.0, 0.5])])
def test_unequal_balls_in_a_touching_row(mass):
    velocity = np.where(np.arange(len(mass)) < 1, 1.0, 0.0)
    blow = row_of_balls(mass, velocity, 1.0, 0.01)
    np.testing.assert_allclose(blow.velocity[:, 0], hertz_chain(mass, velocity), atol=2e-4)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_a_touching_row_with_restitution_0_9(count):
    mass, velocity = np.ones(count), np.where(np.arange(count) < 1, 1.0, 0.0)
    blow = row_of_balls(mass, velocity, 0.9, 0.01)
    np.testing.assert_allclose(blow.velocity[:, 0], hertz_chain(mass, velocity, 0.9), atol=5e-4)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("e", [0.0, 0.05, 0.5, 1.0])
@pytest.mark.parametrize(("k", "linear"), [(1.0, False), (1.0, True), (3e9, False), (2e9, True)])
def test_units_reduce_to_one_contacts_law(seed, e, k, linear):
    r = np.random.default_rng(seed)
    a = r.normal(size=(3, 3))
    w, u, mu = a @ a.T + 0.3 * np.eye(3), r.normal(size=3), r.choice([0.0, 0.2, 0.8])
    u[0] = -abs(u[0]) - 0.1
    exact = single_blow(w, u, e, mu)[:3]
    one = np.array([e]), np.array([mu]), np.array([k]), np.array([linear])
    stepped = simultaneous_blows(w, u, *one, 0.01, 0.0, 0.0)[0]
    # second order: halving the step quarters this
    np.testing.assert_allclose(w @ stepped, w @ exact, atol=2e-5 * np.abs(u).max())


@pytest.mark.parametrize("seed", range(4))
def test_halving_the_step_hardly_changes_a_blow(seed):
    case = random_blow(seed, 3, 4)
    coarse = strike(*case, 0.5, 0.3)
    fine = strike(*case, 0.5, 0.3, fineness=0.0025)
    np.testing.assert_allclose(coarse.velocity, fine.velocity, atol=5e-4)


@pytest.mark.parametrize(("bodies", "contacts"), [(2, 2), (2, 5), (4, 5)])
@pytest.mark.parametrize(("e", "mu"), [(0.0, 0.5), (0.5, 0.3), (1.0, 0.8), (0.02, 1.0)])
def test_energy_is_never_gained(bodies, contacts, e, mu):
    for seed in range(6):
        case = random_blow(100 * seed + contacts, bodies, contacts)
        before = kinetic(*case[:2], *case[3:5])
        blow = strike(*case, e, mu)
        after = kinetic(*case[:2], blow.velocity, blow.spin)
        assert after <= before * (1 + 1e-12)
        assert before - after == pytest.approx(blow.lost, abs=1e-11 * before)
        assert np.all(closing(case, blow) <= 1e-9)
        tangential = blow.impulse - np.sum(blow.impulse * case[7], axis=1)[:, None] * case[7]
        normal = np.sum(blow.impulse * case[7], axis=1)
        assert np.all(np.linalg.norm(tangential, axis=1) <= mu * normal * (1 + 1e-9) + 1e-12)


def closing(case, blow):
    """Closing speeds after the blow, straight from the rigid-body velocities."""
    _, _, position, _, _, pair, point, normal = case
    a, b = pair.T
    at_a = blow.velocity[a] + np.cross(blow.spin[a], point - position[a])
    at_b = blow.velocity[b] + np.cross(blow.spin[b], point - position[b])
    return -np.sum(normal * (at_a - at_b), axis=1)


@pytest.mark.parametrize(("bodies", "contacts"), [(2, 1), (2, 3), (3, 4), (5, 6)])
def test_energy_is_kept_without_friction_and_loss(bodies, contacts):
    for seed in range(6):
        case = random_blow(100 * seed + contacts, bodies, contacts)
        before = kinetic(*case[:2], *case[3:5])
        blow = strike(*case, 1.0, 0.0)
        after = kinetic(*case[:2], blow.velocity, blow.spin)
        assert after == pytest.approx(before, rel=1e-10)


@pytest.mark.parametrize("seed", range(5))
def test_order_of_bodies_contacts_and_axes_does_not_matter(seed):
    case = random_blow(seed, 4, 5)
    mass, inertia, position, velocity, spin, pair, point, normal = case
    blow = strike(*case, 0.4, 0.35)
    r = np.random.default_rng(seed)
    order, names = r.permutation(5), r.permutation(4)
    turn = np.linalg.qr(r.normal(size=(3, 3)))[0]
    turn *= np.linalg.det(turn)
    back = np.argsort(names)
    swapped = strike(
        mass[back], [turn @ inertia[k] @ turn.T for k in back], position[back] @ turn.T,
        velocity[back] @ turn.T, spin[back] @ turn.T, names[pair][order][:, ::-1],
        point[order] @ turn.T, -normal[order] @ turn.T, 0.4, 0.35,
    )  # fmt: skip
    np.testing.assert_allclose(swapped.velocity[names], blow.velocity @ turn.T, atol=1e-9)
    np.testing.assert_allclose(swapped.spin[names], blow.spin @ turn.T, atol=1e-8)


def test_opening_contacts_and_fixed_bodies_take_no_blow():
    blow = on_floor(1, ball(1, 0.1), [0, 0, -0.1], [1, 0, 0.5], [0, 0, 3], 0.5, 0.5)
    np.testing.assert_array_equal(blow.velocity[1], [1, 0, 0.5])
    assert blow.lost == 0
    still = strike(
        [np.inf] * 2, [np.eye(3)] * 2, np.zeros((2, 3)), np.zeros((2, 3)), np.zeros((2, 3)),
        [[0, 1]], [[0, 0, 0]], [UP], 0.5, 0.5,
    )  # fmt: skip
    assert np.isinf(still.effective_mass[0])
    np.testing.assert_array_equal(still.impulse, 0)


def test_contacts_apart_are_resolved_apart():
    """Two balls on one floor: neither feels the other, both exactly as if alone."""
    blow = strike(
        [np.inf, 1, 3], [np.eye(3), ball(1, 0.1), ball(3, 0.1)], [[0, 0, 0], [0, 0, 0], [1, 0, 0]],
        [[0, 0, 0], [1, 0, -2], [0, 0, -1]], np.zeros((3, 3)), [[1, 0], [2, 0]],
        [[0, 0, -0.1], [1, 0, -0.1]], [UP, UP], [0.8, 0.5], [0.3, 0.3],
    )  # fmt: skip
    assert blow.steps == 0
    np.testing.assert_allclose(blow.velocity[1], [5 / 7, 0, 1.6], rtol=1e-12)
    np.testing.assert_allclose(blow.velocity[2], [0, 0, 0.5], atol=1e-15)


def test_body_jammed_in_a_steep_groove_comes_to_an_end():
    """Friction holds it with the contacts still loaded: the blow ends there, without a gain."""
    c, s = np.cos(np.radians(80)), np.sin(np.radians(80))
    normal = np.array([[s, 0, c], [-s, 0, c]])
    blow = strike(
        [np.inf, 1.0], [np.eye(3), ball(1, 0.1)], np.zeros((2, 3)), [[0, 0, 0], [0, 0, -1]],
        np.zeros((2, 3)), [[1, 0], [1, 0]], -0.1 * normal, normal, 0.3, 0.9,
    )  # fmt: skip
    np.testing.assert_allclose(blow.velocity[1], 0, atol=1e-4)
    assert blow.lost == pytest.approx(0.5, rel=1e-6)
    assert blow.steps < 20_000


def test_jammed_body_comes_to_an_end():
    """A body wedged between two opposed faces, no loss at the contacts: ends without a gain."""
    blow = strike(
        [np.inf, 1.0], [np.eye(3), ball(1, 0.1)], np.zeros((2, 3)), [[0, 0, 0], [0, 0, -1]],
        np.zeros((2, 3)), [[1, 0], [1, 0]], [[0, 0, -0.1], [0, 0, 0.1]], [UP, -UP], 0.9, 0.2,
    )  # fmt: skip
    assert np.all(np.isfinite(blow.velocity))
    assert abs(blow.velocity[1, 2]) < 1e-5
    assert 0 <= blow.lost <= 0.5 + 1e-12


def test_a_part_wedged_on_its_rail_is_left_with_a_finite_impulse():
    """One way to move, g, is left, and stick holds there (|g_n| < mu |g_t|): it stops, whatever the
    rounding of W = g g^T is; W and u as a random scene had them."""
    block = np.array([
        [10.160102541885545, -2.4671483010942428, -10.643004005905318],
        [-2.4671483010942428, 0.5990904830436466, 2.5844098662836874],
        [-10.643004005905318, 2.5844098662836874, 11.148857386304122],
    ])  # fmt: skip
    before = np.array([-0.07473235616407273, 0.01814704180266341, 0.07828432466561766])
    found = single_blow(block, before, 1.0, 1.0)
    assert np.all(np.isfinite(found))
    assert before + block @ found[:3] == pytest.approx(np.zeros(3), abs=1e-12)


@pytest.mark.parametrize(
    ("mu", "angle", "one", "other", "weak", "push", "e"),
    [
        (1.0, 3.9, (-1.0, -0.5, -0.5), (-1.9, 1.7, 0.9), 1e-7, (1.3, -0.9, -0.2), 1.0),
        (0.5, 0.2, (1.4, -1.7, -0.4), (1.3, 0.2, -0.2), 1e-3, (0.3, 1.6, -0.9), 0.3),
    ],
)
def test_a_lone_blow_that_is_not_followed_to_its_end_says_so(mu, angle, one, other, weak, push, e):
    """Two ways to move are left, one of them `weak`ly, and none along (1, mu s): slip turns towards
    s ever more slowly, and pushes ever less. It counts as a blow that used up all its steps."""
    held = np.array([1.0, mu * np.cos(angle), mu * np.sin(angle)])
    held /= np.linalg.norm(held)
    ways = np.array([one, other]).T
    ways -= np.outer(held, held @ ways)
    ways[:, 1] *= np.sqrt(weak)
    block = ways @ ways.T
    before = block @ np.array(push)
    before *= -np.sign(before[0])
    assert single_blow(block, before, e, mu)[4] == 1.0
    alone, unit = np.array([True]), (np.ones(1), np.array([False]))
    given = block, before, np.array([e]), np.array([mu]), unit, alone
    assert blow_on_operator(*given, (STEP, 0.0, 0.0))[2] >= MOST_STEPS


def unlike_chain(mass, velocity, stiffness, linear, e):
    """Speeds after a blow through a row of unlike contacts, integrated on its own (DOP853).

    F = k x^(3/2) or k x; with e < 1 the compression goes back 1/e^2 times as fast as it opens.
    Scaled so that the stiffest contact's blow lasts about one unit of time.
    """
    count = len(mass)
    scale = stiffness / stiffness.max()

    def rate(t, y):
        x, v = y[: count - 1], y[count - 1 :]
        closing = v[:-1] - v[1:]
        push = scale * np.where(linear, np.maximum(x, 0), np.maximum(x, 0) ** 1.5)
        force = np.zeros(count)
        force[:-1] -= push
        force[1:] += push
        return [*np.where((closing < 0) & (x > 0), closing / e**2, closing), *(force / mass)]

    run = solve_ivp(
        rate, (0, 400), [*np.zeros(count - 1), *velocity], method="DOP853", rtol=1e-9, atol=1e-11,
        max_step=0.1,
    )  # fmt: skip
    return run.y[count - 1 :, -1]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("e", [1.0, 0.9])
@pytest.mark.parametrize("linear", [False, True])
def test_unlike_contacts_and_masses_share_a_blow_as_a_chain_of_springs(seed, e, linear):
    """2-6 balls drawn by seed, one or two coming in, masses 1:6, two materials (E* 1:5)."""
    draw = np.random.default_rng(seed)
    count = int(draw.integers(2, 7))
    mass = draw.uniform(0.5, 3.0, count)
    coming = 1 if count == 2 else int(draw.integers(1, 3))
    velocity = np.where(np.arange(count) < coming, 1.0, 0.0)
    stiffness = np.where(draw.random(count - 1) < 0.5, 1.0, 0.2)
    springs = Springs(stiffness, np.full(count - 1, linear))
    blow = row_of_balls(mass, velocity, e, 0.01, springs=springs)
    expected = unlike_chain(mass, velocity, stiffness, linear, e)
    # second order in a step of 0.01 of the highest frequency; what still touches is left together
    np.testing.assert_allclose(blow.velocity[:, 0], expected, atol=3e-4)


def test_a_ball_rebounds_from_ten_boxes_by_how_much_stiffer_their_faces_are():
    """The ratio of compliances decides: a point gives way where faces do not."""
    count = 11
    mass = np.ones(count)
    velocity = np.zeros(count)
    velocity[0] = 1.0
    alike = row_of_balls(mass, velocity, 1.0, 0.01)
    stiff = Springs(np.array([1.0] + 9 * [1e4]), np.array([False] + 9 * [True]))
    unlike = row_of_balls(mass, velocity, 1.0, 0.01, springs=stiff)
    assert unlike.velocity[0, 0] < alike.velocity[0, 0] - 0.1
