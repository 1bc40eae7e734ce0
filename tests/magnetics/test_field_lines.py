"""Field lines: closed circles of a wire, straight lines, equal flux between seeds."""

import numpy as np
import pytest

from snapsim.magnetics.field_lines import equal_flux_grid, equal_flux_seeds, trace

FAR = np.full(3, 10.0)


def round_a_wire(points):
    """B of a straight current along z, up to a factor (Biot and Savart)."""
    x, y = points[:, 0], points[:, 1]
    return np.stack([-y, x, 0 * x], axis=1) / (x**2 + y**2)[:, None]


def test_lines_round_a_wire_are_closed_circles():
    """Circles about the wire (Jackson, 3rd ed., section 5.2; from memory). Runge-Kutta of order 4
    at 63 and 125 steps a turn leaves the radius right to 1e-6."""
    seeds = np.array([[1.0, 0, 0], [0, 2.0, 0.3]])
    for line, seed in zip(trace(round_a_wire, seeds, 0.1, -FAR, FAR), seeds, strict=True):
        assert line.closed
        radius = np.hypot(line.points[:, 0], line.points[:, 1])
        assert radius == pytest.approx(np.full(len(radius), np.hypot(*seed[:2])), rel=1e-6)
        assert line.size == pytest.approx(1 / radius)
        turn = line.points[1] - line.points[0]
        assert np.cross(line.points[0], turn)[2] > 0


def test_a_line_that_leaves_the_box_is_followed_both_ways():
    def along_x(points):
        return np.broadcast_to([2.0, 0, 0], points.shape)

    (line,) = trace(along_x, np.array([[0.05, 0, 0]]), 0.1, -np.ones(3), np.ones(3))
    assert not line.closed
    assert (np.diff(line.points[:, 0]) > 0).all()
    assert line.points[0, 0] < -1
    assert line.points[-1, 0] > 1


def test_seeds_part_the_flux_evenly():
    """Through a field that grows as x from 0 to 1 the k-th of n seeds lies at sqrt((k + 1/2)/n)."""

    def ramp(points):
        return np.stack([0 * points[:, 0], 0 * points[:, 0], points[:, 0]], axis=1)

    seeds = equal_flux_seeds(ramp, np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), 8)
    expected = np.sqrt((np.arange(8) + 0.5) / 8)
    assert seeds[:, 0] == pytest.approx(expected, abs=2e-3)  # 400 strips


@pytest.mark.parametrize("rows", [3, 5])
def test_points_of_a_grid_stand_for_equal_flux(rows):
    """B_z = x y on the unit square, and nothing past x = 0.8: its flux up to (x, y) is known to be
    x^2 y^2 / 4, so that strips end where x^2 = 0.64 k / rows and points lie in their middles."""

    def field(points):
        return np.column_stack([0 * points[:, 0], 0 * points[:, 0], points[:, 0] * points[:, 1]])

    found = equal_flux_grid(
        field, np.zeros(3), np.eye(3)[:2], np.array([0, 0, 1.0]), lambda p: p[:, 0] < 0.8, rows
    )
    share = (np.arange(rows) + 0.5) / rows
    across, along = np.meshgrid(0.8 * np.sqrt(share), np.sqrt(share), indexing="ij")
    assert found[:, 0] == pytest.approx(across.ravel(), abs=0.01)  # a step of the grid is 1/60
    assert found[:, 1] == pytest.approx(along.ravel(), abs=0.01)
