"""Drawn scenes of small, flat, bent and piled parts: books and overlaps."""

import pytest
from contact_family import judged

from snapsim.run.steps import STEPS


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6, 8, 14, 19, 43, 83, 401, 402])
def test_drawn_contact_scenes_end_with_their_books_right_and_nothing_sunk_in(seed):
    """More seeds by `python tests/run/contact_family.py FIRST LAST`."""
    _, run, _ = judged(seed)
    assert run.outcome in ("settled", "moving")
    assert run.audit.unaccounted_fraction < STEPS.unaccounted
    assert run.audit.deepest_overlap < STEPS.overlap
    assert run.accuracy["contact_misfit_m_s"] < STEPS.landing
    assert run.audit.event_gain <= 1e-9 * (run.audit.impact_loss + run.energy["kinetic"].max())
