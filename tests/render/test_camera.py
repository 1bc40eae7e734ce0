"""The automatic camera."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapsim.render import camera
from snapsim.render.framing import corners, find_action, leading_part
from snapsim.render.layout import lay_out
from snapsim.render.picture import choose_view

MARGINS = camera.Margins(0.05, 0.08, 0.17, 0.26)
SIZES = [(1280, 720), (720, 1280), (720, 720), (480, 270)]


@given(st.integers(0, 10_000), st.sampled_from(SIZES), st.floats(-170, 170), st.floats(-60, 60))
def test_every_point_lies_inside_the_margins_and_two_sides_are_touched(seed, size, around, above):
    points = np.random.default_rng(seed).normal(size=(40, 3)) * [0.1, 0.3, 0.05]
    view = camera.fit(points, camera.axes_of(around, above), size, MARGINS)
    share = view.project(points) / size
    low, high = share.min(axis=0), share.max(axis=0)
    slack = [
        low[0] - MARGINS.left,
        1 - MARGINS.right - high[0],
        low[1] - MARGINS.top,
        1 - MARGINS.bottom - high[1],
    ]
    assert min(slack) > -1e-9
    assert sum(s < 1e-9 for s in slack) >= 2  # no nearer eye in this direction would do


@pytest.mark.parametrize("size", SIZES)
def test_the_moving_part_stays_in_the_picture_over_the_whole_run(trajectory, size):
    t = trajectory
    part = leading_part(t.system, t.velocity)
    action = find_action(t.system, t.position, t.quaternion, part)
    layout = lay_out(*size)
    view = choose_view(t.system, t.system.start.pose, action, layout, None)
    seen = view.project(corners(t.system.bodies[part], t.position[:, part], t.quaternion[:, part]))
    margins = layout.margins
    low = [margins.left * size[0], margins.top * size[1]]
    high = [(1 - margins.right) * size[0], (1 - margins.bottom) * size[1]]
    assert np.all(seen >= np.array(low) - 1e-6)
    assert np.all(seen <= np.array(high) + 1e-6)


def test_a_large_table_does_not_shrink_the_action(trajectory):
    """The table is 1.2 m wide, the motion 0.2 m high: the part must stay large in the picture."""
    t = trajectory
    action = find_action(t.system, t.position, t.quaternion, 1)
    view = choose_view(t.system, t.system.start.pose, action, lay_out(1280, 720), None)
    seen = view.project(corners(t.system.bodies[1], t.position[:1, 1], t.quaternion[:1, 1]))
    assert np.ptp(seen[:, 0]) > 0.1 * 1280


def test_a_wall_before_the_action_turns_the_camera():
    path = np.column_stack([np.zeros(9), np.zeros(9), np.linspace(0, 0.1, 9)])
    open_view = camera.choose_direction(path, [])
    wall = (0.5 * open_view[2], open_view.T, np.array([0.6, 0.6, 0.02]))
    turned = camera.choose_direction(path, [wall])
    assert not np.allclose(turned, open_view)
    assert sum(camera.hidden(p, open_view[2], [wall]) for p in path) == 9
    assert sum(camera.hidden(p, turned[2], [wall]) for p in path) == 0


def test_a_cropped_projection_shows_the_same_pixels():
    """Clip coordinates of a crop, spread over its window, land where the whole picture has them."""
    points = np.random.default_rng(3).normal(size=(30, 3)) * 0.1
    view = camera.fit(points, camera.axes_of(-60, 20), (1280, 720), MARGINS)
    crop = (300, 100, 900, 500)
    eye = np.column_stack([view.coordinates(points), np.ones(30)])
    clip = eye @ camera.projection(view, 0.01, 10, crop).T
    device = clip[:, :3] / clip[:, 3:]
    x = crop[0] + (device[:, 0] + 1) / 2 * 600
    y = crop[1] + (1 - device[:, 1]) / 2 * 400
    assert np.allclose(np.column_stack([x, y]), view.project(points), atol=1e-9)
    assert np.all(np.abs(device[:, 2]) < 1)


def test_scale_bar_pixels_match_the_projection():
    points = np.random.default_rng(4).normal(size=(30, 3)) * 0.1
    view = camera.fit(points, camera.axes_of(-60, 20), (1280, 720), MARGINS)
    ends = view.project(np.stack([0.05 * view.axes[0], 0 * view.axes[0]]))
    assert ends[0, 0] - ends[1, 0] == pytest.approx(0.05 * view.pixels_per_metre(np.zeros(3)))
