"""Cameras: places of world points, by hand and by geometry."""

import numpy as np
import pytest

from snapsim.footage.building import view_of
from snapsim.footage.course import Course
from snapsim.footage.projection import seen
from snapsim.footage.tracks import Track
from snapsim.footage.views import Pinhole, PlaneView
from snapsim.footage.views.pinhole import axes_toward

SIZE = (1000.0, 800.0)
X, Z = np.array([1.0, 0, 0]), np.array([0.0, 0, 1])


def plane(down=True, line_time=0.0, exposure=0.0, scale=2000.0):
    return PlaneView(SIZE, line_time, exposure, down, X, Z, scale, (100.0, 400.0))


def test_a_plane_counts_down_or_up():
    point = np.array([[0.05, 3.0, 0.02]])
    np.testing.assert_allclose(plane().project(point), [[200, 360]])
    np.testing.assert_allclose(plane(down=False).project(point), [[200, 440]])


def test_a_pinhole_sees_by_similar_triangles():
    # 900 px of focal length, 3 m away: 300 px a metre there, half of it at twice the distance.
    axes = axes_toward(np.array([0.0, 1, 0]), Z)
    camera = Pinhole(SIZE, 0, 0, True, np.array([0.0, -3, 0]), axes, 900.0, (500.0, 400.0))
    points = np.array([[0.1, 0, 0.2], [0.1, 3, 0.2], [0.1, -4, 0]])
    found = camera.project(points)
    np.testing.assert_allclose(found[:2], [[530, 340], [515, 370]])
    assert np.isnan(found[2]).all()


def test_a_camera_described_in_a_match_file_sees_what_it_looks_at_in_its_middle(filmed):
    view = {
        "kind": "pinhole", "position": "0.4, -2, 0.3 m", "look_at": "0, 0, -50 mm",
        "focal_length": "1500 px", "size": "1920 x 1080 px", "line_time": "10 us",
    }  # fmt: skip
    camera = view_of(filmed(view=view), "match.toml")
    np.testing.assert_allclose(camera.project(np.array([0, 0, -0.05])), [960, 540], atol=1e-9)
    above = camera.project(np.array([0, 0, 0.0]))
    assert above[0] == pytest.approx(960)  # up is up
    assert above[1] < 540
    assert camera.line_time == pytest.approx(1e-5)


def test_a_far_pinhole_is_a_plane():
    turned = np.array([0.3, 0.9, -0.2])
    axes = axes_toward(turned, Z)
    ahead = axes[2]
    far = Pinhole(SIZE, 0, 0, True, -1e6 * ahead, axes, 2e9, (100.0, 400.0))
    flat = PlaneView(SIZE, 0, 0, True, axes[0], axes[1], 2000.0, (100.0, 400.0))
    points = np.random.default_rng(3).normal(size=(20, 3))
    np.testing.assert_allclose(far.project(points), flat.project(points), atol=0.02)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-15)


def falling(line_time, exposure, falls, place=None):
    time = np.arange(0.05, 0.3, 0.02)
    empty = np.full((len(time), 2), np.nan)
    track = Track("p", "ball", np.zeros(3), time, empty if place is None else place)
    return time, seen(falls, plane(True, line_time, exposure, 200.0), track, release=0.01)


def test_a_rolling_shutter_sees_each_row_at_its_own_time(falls):
    line = 2e-5
    time, place = falling(line, 0.0, falls)
    # z = 1 - g t^2 / 2 and t = time - release + line * row, row = 400 - 200 z: a quadratic of row.
    g, s = 9.80665, time - 0.01
    a, b, c = 100 * g * line**2, 200 * g * s * line - 1, 200 + 100 * g * s**2
    row = (-b - np.sqrt(b**2 - 4 * a * c)) / (2 * a)
    np.testing.assert_allclose(place[:, 1], row, atol=1e-6)
    again = falling(line, 0.0, falls, place)[1]  # rows as tracked
    np.testing.assert_allclose(again, place, atol=1e-6)


def test_blur_is_the_mean_over_the_exposure(falls):
    exposure = 4e-3
    time, place = falling(0.0, exposure, falls)
    s = time - 0.01
    mean = (s**2 + s * exposure + exposure**2 / 3) / 2 * 9.80665
    np.testing.assert_allclose(place[:, 1], 400 - 200 * (1 - mean), atol=1e-9)


def spinning(spacing):
    """A body that spins about a slanting axis at a growing rate, and flies along a cubic."""
    from scipy.spatial.transform import Rotation

    axis = np.array([0.6, 0.0, 0.8])
    t = np.arange(0, 0.2 + spacing / 2, spacing)
    angle, rate = 8 * t + 150 * t**2, 8 + 300 * t
    turn = Rotation.from_rotvec(angle[:, None] * axis)
    q = turn.as_quat(scalar_first=True)[:, None]
    w = (rate[:, None] * axis)[:, None]
    p = np.stack([t**3, 0 * t, t], axis=1)[:, None]
    v = np.stack([3 * t**2, 0 * t, 0 * t + 1], axis=1)[:, None]
    return Course(("b",), t, p, q, v, w, np.empty(0))


@pytest.mark.parametrize("spacing", [0.005, 0.01])
def test_turns_and_places_between_frames_are_those_of_the_motion(spacing):
    from scipy.spatial.transform import Rotation

    times, mark = np.linspace(0, 0.2, 77), np.array([0.05, 0.02, -0.01])
    angle = 8 * times + 150 * times**2
    turn = Rotation.from_rotvec(angle[:, None] * np.array([0.6, 0.0, 0.8]))
    exact = turn.apply(mark) + np.stack([times**3, 0 * times, times], axis=1)
    # about a fixed axis the rotation vector is a quadratic of time, which cubics give exactly
    np.testing.assert_allclose(spinning(spacing).places("b", mark, times), exact, atol=1e-12)


def test_tumbling_between_frames_is_of_fourth_order():
    from scipy.integrate import solve_ivp
    from scipy.spatial.transform import Rotation

    inertia = np.array([1.0, 2.0, 3.0])

    def rate(t, state):
        w = state[4:]
        q = state[:4]
        dq = 0.5 * np.array([
            -q[1:] @ w, *(q[0] * w + np.cross(q[1:], w)),
        ])  # fmt: skip
        return np.concatenate([dq, np.cross(inertia * w, w) / inertia])

    start = np.array([1.0, 0, 0, 0, 9.0, 1.0, 12.0])
    whole = solve_ivp(rate, (0, 0.4), start, rtol=1e-12, atol=1e-12, dense_output=True).sol

    def error(spacing):
        t = np.arange(0, 0.4 + spacing / 2, spacing)
        t[-1] = min(t[-1], 0.4)
        state = whole(t)
        q = (state[:4] / np.linalg.norm(state[:4], axis=0)).T
        turn = Rotation.from_quat(q, scalar_first=True)
        spin = turn.apply(state[4:].T)
        none = np.zeros((len(t), 1, 3))
        course = Course(("b",), t, none, q[:, None], none, spin[:, None], np.empty(0))
        times = np.linspace(0, 0.4, 201)
        exact = Rotation.from_quat(whole(times)[:4].T, scalar_first=True).apply([0.05, 0, 0.02])
        return np.abs(course.places("b", np.array([0.05, 0, 0.02]), times) - exact).max()

    coarse, fine = error(0.02), error(0.01)
    assert 12 < coarse / fine < 20  # 2^4
    assert fine < 2e-6


def test_nothing_is_interpolated_across_a_blow():
    t = np.array([0, 0.01, 0.01, 0.02])
    p = np.array([0.1, 0.05, 0.05, 0.075])[:, None, None] * np.array([0, 0, 1.0])
    v = np.array([-5, -5, 2.5, 2.5])[:, None, None] * np.array([0, 0, 1.0])
    q = np.tile([1.0, 0, 0, 0], (4, 1, 1))
    course = Course(("b",), t, p, q, v, np.zeros_like(p), np.array([0.01]))
    times = np.array([-1, 0.005, 0.01, 0.016, 1])
    found = course.places("b", np.zeros(3), times)[:, 2]
    np.testing.assert_allclose(found, [0.1, 0.075, 0.05, 0.065, 0.075], atol=1e-15)
