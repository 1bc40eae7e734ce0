"""Places and turns between stored frames: exact where cubics are, of fourth order elsewhere."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from snapsim.numerics import rotations
from snapsim.numerics.between_frames import hermite, stretches, turned


def test_hermite_positions_are_exact_for_cubic_motion():
    """A cubic Hermite segment reproduces any cubic (Press et al., 3.3; from memory)."""
    p = np.polynomial.Polynomial([0.3, -1.2, 2.5, 4.0])
    v, a, b = p.deriv(), 0.2, 0.7
    for s in (0.0, 0.25, 0.6, 1.0):
        t = a + s * (b - a)
        assert hermite(p(a), p(b), v(a), v(b), b - a, s) == pytest.approx(p(t), abs=1e-14)


def test_a_steady_spin_turns_evenly_the_short_way_whatever_the_sign():
    axis = np.array([1.0, 2.0, -0.5]) / np.linalg.norm([1.0, 2.0, -0.5])
    start = rotations.from_axis_angle(axis, 0.3)[None]
    for angle, sign in ((2.1, 1), (2.1, -1), (0.3, 1)):
        end = sign * rotations.from_axis_angle(axis, angle)[None]
        spin = ((angle - 0.3) / 0.1 * axis)[None]
        for s in (0.0, 0.37, 1.0):
            found = rotations.matrix(turned(start, end, spin, spin, 0.1, s)[0])
            expected = rotations.from_axis_angle(axis, 0.3 + s * (angle - 0.3))
            assert np.allclose(found, rotations.matrix(expected), atol=1e-12)


def tumbling():
    """Attitude and spin, world axes, of a free body of three unequal moments, at any time."""
    inertia = np.array([1.0, 2.0, 3.0])

    def rate(t, state):
        w = state[4:]
        dq = rotations.derivative(state[:4], rotations.rotate(state[:4], w))
        return np.concatenate([dq, np.cross(inertia * w, w) / inertia])

    start = [1.0, 0, 0, 0, 9.0, 1.0, 12.0]
    whole = solve_ivp(rate, (0, 0.4), start, rtol=1e-12, atol=1e-12, dense_output=True).sol

    def at(t):
        q = rotations.normalise(whole(t)[:4])
        return q, rotations.rotate(q, whole(t)[4:])

    return at


def test_tumbling_is_of_fourth_order_where_even_turns_are_of_second():
    """The reason why pictures go by spins as tracks do: at 10 ms a point 5 cm off the centre of a
    part that tumbles at 15 rad/s is out by 0.04 micrometres, not by 73."""
    at, mark = tumbling(), np.array([0.05, 0.0, 0.02])

    def errors(spacing):
        cubic, even = [], []
        for k in range(round(0.4 / spacing)):
            (q0, w0), (q1, w1) = at(k * spacing), at((k + 1) * spacing)
            exact = rotations.rotate(at((k + 0.5) * spacing)[0], mark)
            middle = turned(q0, q1, w0, w1, spacing, 0.5)
            cubic.append(np.linalg.norm(rotations.rotate(middle, mark) - exact))
            mean = rotations.normalise(q0 + q1 * np.sign(q0 @ q1))
            even.append(np.linalg.norm(rotations.rotate(mean, mark) - exact))
        return max(cubic), max(even)

    coarse, fine = errors(0.02), errors(0.01)
    assert 12 < coarse[0] / fine[0] < 20  # 2^4
    assert 3 < coarse[1] / fine[1] < 5  # 2^2
    assert fine[0] < 1e-7
    assert fine[1] > 500 * fine[0]


def test_frames_too_far_apart_for_their_spins_are_joined_evenly():
    """A thinned run: two and a half turns between two frames, of which only the half can be told;
    a cubic by the spins would swing to and fro."""
    axis, angle = np.array([0.0, 0.0, 1.0]), 5 * np.pi - 0.1
    start, end = (rotations.from_axis_angle(axis, a)[None] for a in (0.0, angle))
    spin = angle / 0.05 * axis[None]
    whole = rotations.vector_between(start[0], end[0])
    for s in (0.0, 0.2, 0.8, 1.0):
        found = turned(start, end, spin, spin, 0.05, s)[0]
        expected = rotations.from_rotation_vector(s * whole)
        assert np.allclose(rotations.matrix(found), rotations.matrix(expected), atol=1e-12)


def test_a_time_that_two_frames_share_shows_the_later_one_and_ends_are_held():
    time = np.array([0.0, 0.1, 0.1, 0.3])
    found = stretches(time, np.array([-1.0, 0.05, 0.1, 0.2, 0.3, 9.0]))
    assert found.before.tolist() == [0, 0, 2, 2, 2, 2]
    assert found.after.tolist() == [1, 1, 3, 3, 3, 3]
    assert found.share == pytest.approx([0, 0.5, 0, 0.5, 1, 1])


def test_a_run_of_one_frame_stands_there():
    found = stretches(np.array([0.2]), np.array([0.0, 0.2, 1.0]))
    assert found.before.tolist() == found.after.tolist() == [0, 0, 0]
