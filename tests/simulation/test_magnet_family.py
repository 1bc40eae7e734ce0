"""Drawn scenes of three free magnets, a mesh, a rail and a hand: books and overlaps."""

import pytest
from magnet_family import scene

from snapsim.run.release import release
from snapsim.run.steps import STEPS


@pytest.mark.parametrize(
    "seed", [1, 3, *(pytest.param(k, marks=pytest.mark.longer) for k in (0, 2, *range(4, 12)))]
)
def test_magnets_on_rails_and_in_hands_end_with_their_books_right_and_nothing_sunk_in(seed):
    """More seeds by `python magnet_family.py FIRST LAST` in this folder."""
    run = release(scene(seed), estimates=False, magnetisation=False)
    assert run.outcome in ("settled", "moving")
    assert run.audit.unaccounted_fraction < STEPS.unaccounted
    assert run.audit.deepest_overlap < STEPS.overlap
    assert run.accuracy["contact_misfit_m_s"] < STEPS.landing
