"""Refinement of a label map against boundaries known in closed form (plane geometry)."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import pytest

from snapsim.numerics.quartering import boundaries, refine


def _round_patch(points):
    """A disc of radius 20.3 about (31.7, 32.2), in steps of the finest lattice."""
    return {p: "in" if math.dist(p, (31.7, 32.2)) < 20.3 else "out" for p in points}


def test_the_boundary_of_a_disc_lies_on_its_circle_and_is_one_closed_line():
    found = refine(_round_patch, 8, 8, 3, 10_000)
    assert found.whole
    ((pair, lines),) = boundaries(found).items()
    assert pair == ("in", "out")
    (line,) = lines
    assert line[0] == line[-1]
    far = [abs(math.dist(p, (31.7, 32.2)) - 20.3) for p in line]
    assert max(far) <= 0.5 + 1e-12  # a middle between two points one step apart
    length = sum(math.dist(a, b) for a, b in pairwise(line))
    # pieces at 45 and 90 degrees only: longer than the circle by up to 8 (sqrt 2 - 1)/pi = 1.055
    assert 2 * math.pi * 20.3 * 0.98 < length < 2 * math.pi * 20.3 * 1.07


def test_the_cells_fill_the_rectangle_and_most_of_the_lattice_is_never_asked_for():
    found = refine(_round_patch, 8, 8, 3, 10_000)
    assert sum(c[2] ** 2 for c in found.cells) == 64 * 64
    assert len(found.labels) < 0.25 * 65 * 65


def test_the_map_does_not_depend_on_the_order_of_answers():
    def shuffled(points):
        some = list(points)
        random.Random(3).shuffle(some)
        return _round_patch(some)

    assert refine(shuffled, 8, 8, 3, 10_000).labels == refine(_round_patch, 8, 8, 3, 10_000).labels


def test_a_finger_that_enters_between_the_corners_of_a_cell_is_followed_from_its_neighbour():
    """The strip is 3 steps wide, less than half a first cell, and 8 columns see it on one side."""

    def strip(points):
        return {
            (i, j): "in" if j < 20 or (abs(i - 36) < 2 and j < 45) else "out" for i, j in points
        }

    found = refine(strip, 8, 8, 3, 10_000)
    lines = boundaries(found)[("in", "out")]
    assert max(y for line in lines for _, y in line) == pytest.approx(44.5)


def test_three_labels_meet_in_one_point():
    def thirds(points):
        return {
            p: "abc"[int((math.atan2(p[1] - 32.4, p[0] - 31.6) + math.pi) / (2 * math.pi / 3)) % 3]
            for p in points
        }

    found = boundaries(refine(thirds, 8, 8, 3, 10_000))
    assert set(found) == {("a", "b"), ("a", "c"), ("b", "c")}
    ends = [{line[0], line[-1]} for lines in found.values() for line in lines]
    (middle,) = set.intersection(*ends)
    assert math.dist(middle, (31.6, 32.4)) < 1.0


def test_the_limit_on_points_is_kept_and_said():
    found = refine(_round_patch, 8, 8, 3, 150)
    assert not found.whole
    assert len(found.labels) <= 150
