"""Arrows of magnetisation; numbers only, nothing is drawn."""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.render.layers import magnetisation as arrows


def test_an_arrow_points_along_its_vector_and_is_as_long():
    template, _ = arrows.arrow_template()
    rng = np.random.default_rng(5)
    position, vector = rng.normal(size=(7, 3)), rng.normal(size=(7, 3))
    points = arrows.arrow_points(template, position, vector).reshape(7, -1, 3)
    tip, tail = points[:, -2], points[:, -1]
    assert tip - tail == pytest.approx(vector)
    assert (tip + tail) / 2 == pytest.approx(position)


def test_no_magnetisation_draws_a_point_and_no_nan():
    template, _ = arrows.arrow_template()
    points = arrows.arrow_points(template, np.ones((2, 3)), np.zeros((2, 3)))
    assert points == pytest.approx(np.ones_like(points))


def test_chosen_cells_are_spread_over_the_whole_part():
    grid = np.stack(np.meshgrid(*[np.linspace(-1, 1, 9)] * 3), axis=-1).reshape(-1, 3)
    chosen = arrows.spread(grid, np.ones(len(grid)), 24)
    assert len(set(chosen.tolist())) == 24
    reach = np.linalg.norm(grid[:, None] - grid[chosen][None], axis=-1).min(axis=1)
    assert reach.max() < 1.1  # a 24th of the cube is a cell 0.69 wide


@pytest.mark.parametrize(
    ("top", "shown"), [(1.37, 1.4), (1.51, 1.6), (0.6, 0.8), (2.0, 2.0), (0.0, 0.0)]
)
def test_the_scale_ends_at_a_tidy_polarisation(top, shown):
    field = np.zeros((3, 4, 3))
    field[1, 2] = [0, 0, -top / MU_0 * (1 - 1e-12)]
    assert arrows.top_polarisation({"part": field}) == pytest.approx(shown)
