"""Hinge: pendulums, a double pendulum in three dimensions, bearing friction, stops, a blow."""

import numpy as np
import pytest
import sympy
import sympy.physics.mechanics as me
from scipy.integrate import solve_ivp

from snapsim.mechanics.joints import WORLD, hinge
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box
from snapsim.parts.surfaces import SurfacePair

G = 9.80665
Y = np.array([0.0, 1.0, 0.0])


def pendulum(body, place, sides, angle, length=1.0, width=0.02, **keys):
    """A rod hinged at its upper end in the origin, `angle` [rad] from hanging straight down."""
    rod = body(Box((width, width, length)))
    turn = rotations.from_axis_angle(-Y, angle)
    state = place((rotations.rotate(turn, [0, 0, -length / 2]), turn))
    points = np.array([[0, 0, length / 2], [0, 0, 0]])
    return rod, state, hinge("pin", (0, WORLD), points, Y, *sides(state, 0, WORLD), **keys)


@pytest.mark.parametrize(
    ("degrees", "ratio"),
    # T/T0 = (2/pi) K(sin^2(theta0/2)): Abramowitz & Stegun 17.3.1 for K; computed to 12 digits.
    [(30, 1.017408797596), (90, 1.180340599016), (170, 2.439362719674)],
)
def test_compound_pendulum_is_back_after_its_period(body, place, sides, move, degrees, ratio):
    """T0 = 2 pi sqrt(2L/3g) of a thin rod: 1.63822632734 s at 1 m; a width w makes the inertia
    1 + (w/2L)^2 times that. Tolerance: from 170 degrees an error grows by about e^5 in a period.
    """
    rod, state, pin = pendulum(body, place, sides, np.radians(degrees))
    run = move([rod], [pin], state, 1.63822632734 * np.sqrt(1 + 0.01**2) * ratio)
    start, end = state.pose.quaternion[0], run.last.state.pose.quaternion[0]
    assert abs(abs(start @ end) - 1) < 1e-11
    assert np.abs(run.last.state.pose.position - state.pose.position).max() < 2e-6
    energies = [run.energy(f) for f in run.frames]
    assert np.ptp(energies) < 3e-7 * rod.mass * G
    for frame in run.frames:
        pose = frame.state.pose
        top = pose.position[0] + rotations.rotate(pose.quaternion[0], [0, 0, 0.5])
        assert np.abs(top).max() < 1e-9


def test_rod_let_go_level_is_at_the_bottom_in_time_with_its_speed_and_load(
    body, place, sides, move
):
    """Uniform rod, 0.3 m: sqrt(3g/L) = 9.90285312423 rad/s after 0.264777990888 s; there the pin
    bears m g + m (L/2) w^2 = 5/2 m g (Meriam & Kraige, Dynamics, ch. 6, from memory)."""
    rod, state, pin = pendulum(body, place, sides, np.pi / 2, 0.3, 1e-4)
    run = move([rod], [pin], state, 0.264777990888)
    assert abs(run.last.state.spin[0, 1]) == pytest.approx(9.90285312423, rel=2e-7)
    assert run.last.state.pose.position[0] == pytest.approx([0, 0, -0.15], abs=1e-7)
    assert run.end.joints[0].last_force == pytest.approx(2.5 * rod.mass * G, rel=1e-6)
    assert run.end.joints[0].last_torque < 1e-9


def reference_chain(mass, inertia, length, q0, times):
    """Two rods: the first turns about y, the second about the first one's x; Lagrange, sympy."""
    q, u = me.dynamicsymbols("q1 q2"), me.dynamicsymbols("q1 q2", 1)
    n = me.ReferenceFrame("N")
    a, b = n.orientnew("A", "Axis", [q[0], n.y]), None
    b = a.orientnew("B", "Axis", [q[1], a.x])
    o = me.Point("O")
    o.set_vel(n, 0)
    ca, end = o.locatenew("CA", -length / 2 * a.z), o.locatenew("P", -length * a.z)
    cb = end.locatenew("CB", -length / 2 * b.z)
    for point in (ca, end, cb):
        point.set_vel(n, point.pos_from(o).dt(n))
    parts = [
        me.RigidBody(f"R{i}", c, f, mass, (me.inertia(f, *inertia), c))
        for i, (c, f) in enumerate([(ca, a), (cb, b)])
    ]
    for part, c in zip(parts, (ca, cb), strict=True):
        part.potential_energy = mass * G * c.pos_from(o).dot(n.z)
    method = me.LagrangesMethod(me.Lagrangian(n, *parts), q)
    method.form_lagranges_equations()
    matrix, right = (sympy.lambdify([*q, *u], m) for m in (method.mass_matrix, method.forcing))

    def rate(_t, y):
        return [*y[2:], *np.linalg.solve(matrix(*y), right(*y)).ravel()]

    return solve_ivp(rate, (0, times[-1]), [*q0, 0, 0], "DOP853", times, rtol=1e-12, atol=1e-12).y


def test_double_pendulum_with_crossed_hinges_follows_lagranges_equations(body, place, sides, move):
    """Derived and integrated with sympy.physics.mechanics and scipy; 1 s of a motion with both
    angles large and coupled. Error grows like that of the motion; tolerance 1e-6 rad. The pins
    stand 30 mm beyond the rods' ends, so that the rods never touch."""
    length, q0 = 0.4, (1.2, 0.9)
    rods = [body(Box((0.02, 0.03, length - 0.06)), name=name) for name in "ab"]
    turn_a = rotations.from_axis_angle(Y, q0[0])
    turn_b = rotations.multiply(turn_a, rotations.from_axis_angle([1, 0, 0], q0[1]))
    down = np.array([0, 0, -length])
    joint = rotations.rotate(turn_a, down)
    state = place((joint / 2, turn_a), (joint + rotations.rotate(turn_b, down / 2), turn_b))
    pins = [
        hinge("top", (0, WORLD), np.array([-down / 2, 0 * down]), Y, *sides(state, 0, WORLD)),
        hinge(
            "mid",
            (0, 1),
            np.array([down / 2, -down / 2]),
            np.array([1.0, 0, 0]),
            *sides(state, 0, 1),
        ),
    ]
    run = move(rods, pins, state, 1.0)
    inertia = np.diag(rods[0].inertia)
    q1, q2 = reference_chain(rods[0].mass, inertia, length, q0, [1.0])[:2, -1]
    want_a = rotations.from_axis_angle(Y, q1)
    want_b = rotations.multiply(want_a, rotations.from_axis_angle([1, 0, 0], q2))
    found = run.last.state.pose.quaternion
    for q, want in zip(found, (want_a, want_b), strict=True):
        assert min(np.abs(q - want).max(), np.abs(q + want).max()) < 1e-6
    assert abs(run.energy(run.last) - run.energy(run.frames[0])) < 1e-8


def test_bearing_friction_stops_a_wheel_in_the_time_of_constant_torque(body, place, sides, move):
    """t = I w/T; then it stands, and friction has taken all its energy (constant torque)."""
    wheel = body(Box((0.2, 0.2, 0.05)))
    state = place(((0, 0, 0), None, None, (0, 0, 6.0)))
    inertia, torque = wheel.inertia[2, 2], 0.02
    pin = hinge(
        "axle",
        (0, WORLD),
        np.zeros((2, 3)),
        np.array([0, 0, 1.0]),
        *sides(state, 0, WORLD),
        friction_torque=torque,
    )
    stop = inertia * 6.0 / torque
    run = move([wheel], [pin], state, 1.5 * stop)
    turning = [f.time for f in run.frames if f.state.spin[0, 2] > 1e-6]
    assert max(turning) == pytest.approx(stop, abs=0.006)  # frames are 5 ms apart
    assert run.last.state.spin[0, 2] == pytest.approx(0, abs=1e-9)
    angle = 2 * np.arctan2(
        run.last.state.pose.quaternion[0, 3], run.last.state.pose.quaternion[0, 0]
    )
    assert angle % (2 * np.pi) == pytest.approx(0.5 * 6.0 * stop % (2 * np.pi), abs=1e-7)
    assert run.last.tally.friction_loss == pytest.approx(0.5 * inertia * 36, rel=1e-8)


@pytest.mark.parametrize(("share", "holds"), [(0.999, False), (1.001, True)])
def test_stiff_bearing_holds_a_level_rod_only_above_its_weights_moment(
    body, place, sides, move, share, holds
):
    rod, state, pin = pendulum(body, place, sides, np.pi / 2)
    torque = share * rod.mass * G * 0.5
    rod, state, pin = pendulum(body, place, sides, np.pi / 2, friction_torque=torque)
    run = move([rod], [pin], state, 0.5)
    moved = float(np.abs(run.last.state.pose.position - state.pose.position).max())
    assert (moved < 1e-9) is holds
    assert (run.end.outcome == "settled") is holds
    if holds:
        assert run.end.joints[0].last_torque == pytest.approx(rod.mass * G * 0.5, rel=1e-9)


def test_rod_comes_to_rest_on_its_stop_where_the_stop_carries_the_moment(body, place, sides, move):
    """Inelastic stop at 60 degrees below level: statics give the torque m g L/2 cos 60."""
    rod, state, pin = pendulum(body, place, sides, np.pi / 2, stops=(0.0, np.radians(60.0)))
    run = move([rod], [pin], state, 2.0)
    assert run.end.outcome == "settled"
    angle = 2 * np.arccos(abs(run.last.state.pose.quaternion[0] @ state.pose.quaternion[0]))
    assert angle == pytest.approx(np.radians(60), abs=1e-8)
    assert run.end.joints[0].last_torque == pytest.approx(
        rod.mass * G * 0.5 * np.cos(np.radians(60)), rel=1e-8
    )
    fallen = rod.mass * G * 0.5 * np.sin(np.radians(60))
    assert run.last.tally.impact_loss == pytest.approx(fallen, rel=1e-7)


def test_hinged_bar_rebounds_from_a_block_by_the_blows_restitution(body, place, sides, move):
    """One point, no friction: w'/w = -e, whatever the bar's inertia and the pin's reaction
    (angular momentum about the pin; Beer & Johnston, Dynamics, section 17.12, from memory)."""
    length, width, e = 0.5, 0.02, 0.6
    rod, state, pin = pendulum(body, place, sides, np.pi / 2, length, width)
    post = body(Box((0.1, 0.1, 0.1)), fixed=True, name="post")
    both = place((state.pose.position[0], state.pose.quaternion[0]), ((-0.06, 0, -0.45), None))
    run = move([rod, post], [pin], both, 0.5, SurfacePair(e, 0.0))
    speed = [f.state.spin[0, 1] for f in run.frames]
    i = next(k for k in range(1, len(speed)) if run.frames[k].time == run.frames[k - 1].time)
    assert speed[i] == pytest.approx(-e * speed[i - 1], rel=1e-9)


def test_bar_on_a_pin_and_a_block_shares_its_weight_by_the_lever(body, place, sides, move):
    """Level bar of length L on a pin at one end and a post's rim at 3/4 L: N = 2/3 m g."""
    length, width = 0.4, 0.02
    bar = body(Box((length, width, width)))
    post = body(Box((0.1, 0.1, 0.1)), fixed=True, name="post")
    edge = -length / 2 + 0.75 * length
    state = place(((0, 0, 0), None), ((edge + 0.05, 0, -0.05 - width / 2), None))
    points = np.array([[-length / 2, 0, 0], [-length / 2, 0, 0]])
    pin = hinge("pin", (0, WORLD), points, Y, *sides(state, 0, WORLD))
    run = move([bar, post], [pin], state, 0.2, SurfacePair(0.0, 0.0))
    weight = bar.mass * G
    assert run.end.outcome == "settled"
    pressed = run.end.loads.peak_force[1]
    pinned = run.end.joints[0].last_force
    assert pinned + pressed == pytest.approx(weight, rel=1e-6)
    # the block's face reaches from 3/4 L to the bar's end: the load lies somewhere on it
    assert weight / 2 - 1e-6 <= pressed <= weight * 2 / 3 + 1e-6


def test_swinging_bar_that_pushes_a_block_along_keeps_their_energy(body, place, sides, move):
    """No friction, contact from the start: nothing takes energy. The contact step is of second
    order in time; found: 3e-7 of the kinetic energy."""
    angle, width, size, reach = np.radians(50.0), 0.02, 0.1, 0.3
    bar, block = body(Box((width, width, 0.36)), name="bar"), body(Box((size, size, size)))
    floor = body(Box((2, 2, 0.1)), fixed=True, name="floor")
    down = np.array([-np.sin(angle), 0, -np.cos(angle)])
    ahead = np.array([np.cos(angle), 0, -np.sin(angle)])
    top = np.array([0, 0, size + reach * np.cos(angle) + width / 2 * np.sin(angle)])
    edge = top + reach * down + width / 2 * ahead
    turn = rotations.from_axis_angle(Y, angle)
    state = place(
        (top + 0.2 * down, turn),
        ((edge[0] + size / 2 + 1e-7, 0, size / 2), None),
        ((0, 0, -0.05), None),
    )
    points = np.array([[0, 0, 0.2], top])
    pin = hinge("pin", (0, WORLD), points, Y, *sides(state, 0, WORLD))
    run = move([bar, block, floor], [pin], state, 0.3, SurfacePair(0.0, 0.0))
    start, end = (run.energy(f) for f in (run.frames[0], run.last))
    kinetic = float(run.bodies.kinetic_energies(run.last.state).sum())
    assert run.last.state.velocity[1, 0] > 0.13
    assert run.last.tally.impact_loss < 1e-6 * kinetic
    assert abs(end - start) < 1e-6 * kinetic
