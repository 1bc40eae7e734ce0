"""States between stored frames."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.render.interpolation import sample

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


def test_clips_tracks_and_page_go_one_course(trajectory):
    """What a clip shows is what footage is laid over, at frames and between."""
    from snapsim.footage.course import course_of

    course, mark = course_of(trajectory), np.array([0.01, -0.02, 0.03])
    name = course.bodies[1]
    for time in (-1.0, 0.0, 0.0513, 0.1, IMPACT, 0.2007, 99.0):
        moment = sample(trajectory, time)
        shown = moment.position[1] + rotations.rotate(moment.quaternion[1], mark)
        np.testing.assert_allclose(course.places(name, mark, np.array(time)), shown, atol=1e-15)
