"""The line of a string: as long as the string, straight when taut, hanging when slack."""

import numpy as np
import pytest

from snapsim.render.strings import string_line

DEEP = -10.0


def length(line):
    return np.linalg.norm(np.diff(line, axis=0), axis=1).sum()


@pytest.mark.parametrize(
    ("second", "total"),
    [((0.3, 0, 0), 0.5), ((0.2, 0.1, 0.25), 0.4), ((-0.1, 0.3, -0.2), 0.38), ((0.3, 0, 0.0), 2.0)],
)
def test_a_slack_string_keeps_its_length_and_its_ends(second, total):
    """32 chords of a curve are shorter than it by a few parts in a thousand at most."""
    first, second = np.array([0.1, 0.2, 0.3]), np.array([0.1, 0.2, 0.3]) + second
    line = string_line(first, second, total, DEEP)
    np.testing.assert_allclose(line[[0, -1]], [first, second], atol=1e-12)
    assert length(line) == pytest.approx(total, rel=5e-3)


def test_its_sag_is_that_of_a_catenary():
    """Span h = 2 a u, length 2 a sinh u, sag a (cosh u - 1) (Beer & Johnston, Vector Mechanics:
    Statics, section 7.10, from memory); u = 1 here."""
    a = 0.2
    line = string_line(np.zeros(3), np.array([2 * a, 0, 0]), 2 * a * np.sinh(1.0), DEEP)
    assert -line[:, 2].min() == pytest.approx(a * (np.cosh(1.0) - 1), rel=1e-6)


def test_a_taut_string_is_straight():
    second = np.array([0.0, 0.3, 0.4])
    line = string_line(np.zeros(3), second, 0.5, DEEP)
    np.testing.assert_allclose(np.cross(line, second), 0.0, atol=1e-15)


def test_a_string_between_points_above_each_other_hangs_in_a_narrow_loop():
    first, second = np.array([0.0, 0, 0.2]), np.array([0.0, 0, 0.1])
    line = string_line(first, second, 0.4, DEEP)
    np.testing.assert_allclose(line[[0, -1]], [first, second], atol=1e-12)
    assert line[:, 2].min() == pytest.approx(0.15 - 0.2, abs=0.01)  # folded: half of 0.4 below 0.15
    assert length(line) == pytest.approx(0.4, rel=0.03)


def test_a_slack_string_lies_on_the_ground_it_would_hang_through():
    line = string_line(np.array([0, 0, 0.1]), np.array([0.1, 0, 0.0]), 0.4, 0.0)
    assert line[:, 2].min() == 0.0
