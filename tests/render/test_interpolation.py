"""States between stored frames."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.render.interpolation import hermite, sample, slerp

IMPACT = 0.18


def test_stored_frames_come_back_unchanged(trajectory):
    for k in (0, 17, 60, 100, len(trajectory.time) - 1):
        if k == 60:
            continue  # shares its time with 61; the next test is about it
        moment = sample(trajectory, trajectory.time[k])
        assert np.array_equal(moment.position, trajectory.position[k])
        assert np.array_equal(moment.velocity, trajectory.velocity[k])
        assert moment.kinetic == trajectory.energy["kinetic"][k]
        assert moment.gap == trajectory.gap[k]


def test_no_picture_mixes_the_states_before_and_after_an_impact(trajectory):
    before, after = 60, 61
    assert trajectory.time[before] == trajectory.time[after] == IMPACT
    up, down = (trajectory.velocity[k, 1, 2] for k in (before, after))
    assert up > 0.5
    assert down < -0.1
    for back in (1e-3, 1e-6, 1e-9):
        early = sample(trajectory, IMPACT - back)
        assert early.velocity[1, 2] == pytest.approx(up, abs=3e2 * back + 1e-9)
        late = sample(trajectory, IMPACT + back)
        assert late.velocity[1, 2] == pytest.approx(down, abs=3e2 * back + 1e-9)
    assert np.array_equal(sample(trajectory, IMPACT).velocity, trajectory.velocity[after])


def test_outside_the_run_its_first_and_last_states_are_held(trajectory):
    assert np.array_equal(sample(trajectory, -1.0).position, trajectory.position[0])
    assert np.array_equal(sample(trajectory, 99.0).position, trajectory.position[-1])
    assert sample(trajectory, 99.0).time == trajectory.time[-1]


def test_hermite_positions_are_exact_for_cubic_motion():
    """A cubic Hermite segment reproduces any cubic (Press et al., 3.3; from memory)."""
    p = np.polynomial.Polynomial([0.3, -1.2, 2.5, 4.0])
    v, a, b = p.deriv(), 0.2, 0.7
    for s in (0.0, 0.25, 0.6, 1.0):
        t = a + s * (b - a)
        assert hermite(p(a), p(b), v(a), v(b), b - a, s) == pytest.approx(p(t), abs=1e-14)


def test_slerp_turns_at_a_steady_rate_along_the_shorter_arc():
    axis = np.array([1.0, 2.0, -0.5])
    start = rotations.from_axis_angle(axis, 0.3)[None]
    for end_angle, sign in ((2.1, 1), (2.1, -1), (0.3, 1)):
        end = sign * rotations.from_axis_angle(axis, end_angle)[None]
        for s in (0.0, 0.37, 1.0):
            expected = rotations.from_axis_angle(axis, 0.3 + s * (end_angle - 0.3))
            assert np.allclose(
                rotations.matrix(slerp(start, end, s)[0]), rotations.matrix(expected), atol=1e-12
            )
