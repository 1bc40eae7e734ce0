"""The trail of the moving part's centre."""

import numpy as np
import pytest

from snapsim.render.layers.trail import trail_points


def test_the_trail_ends_where_the_part_is_now():
    time = np.array([0.0, 0.1, 0.2, 0.2, 0.3])
    path = np.column_stack([time, 2 * time, 0 * time])
    now = np.array([0.15, 0.3, 0.0])
    shown = trail_points(time, path, 0.15, now)
    assert shown[:2] == pytest.approx(path[:2])
    assert np.all(shown[2:] == now)


def test_at_the_end_the_whole_path_is_shown():
    time = np.linspace(0, 1, 5)
    path = np.random.default_rng(1).normal(size=(5, 3))
    assert np.array_equal(trail_points(time, path, 1.0, path[-1]), path)
