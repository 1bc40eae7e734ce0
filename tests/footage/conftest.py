"""A scene, a match file and footage whose every number is known."""

import numpy as np
import pytest

from snapsim.footage.match_file import match_from

FILMED = {
    "time": {"frame_rate": "100 Hz"},
    "view": {"scale": "2 px/mm", "origin": "100, 400 px"},
    "track": [{"body": "ball"}],
}


@pytest.fixture
def filmed():
    """Return a match file with some tables replaced."""

    def make(**tables):
        return match_from({**FILMED, **tables}, "match.toml")

    return make


@pytest.fixture
def falls():
    """Return a course of one ball that falls from rest 1 m above the origin, frames 10 ms apart."""
    from snapsim.footage.course import Course

    t = np.arange(0, 0.4001, 0.01)
    position = np.zeros((len(t), 1, 3))
    position[:, 0, 2] = 1 - 0.5 * 9.80665 * t**2
    velocity = np.zeros((len(t), 1, 3))
    velocity[:, 0, 2] = -9.80665 * t
    turn = np.tile([1.0, 0, 0, 0], (len(t), 1, 1))
    return Course(("ball",), t, position, turn, velocity, np.zeros_like(position), np.empty(0))
