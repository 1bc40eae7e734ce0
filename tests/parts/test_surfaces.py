"""Restitution that falls with speed."""

import pytest

from snapsim.parts.surfaces import SurfacePair


def test_restitution_falls_as_the_fourth_root_of_the_speed_above_yield():
    """e ~ V^(-1/4) for fully plastic impact (Johnson, Contact Mechanics, 1985, section 11.5; from
    memory): sixteen times the speed halves it."""
    pair = SurfacePair(restitution=0.7, yield_speed=0.2)
    assert pair.restitution_at(0.05) == pair.restitution_at(0.2) == 0.7
    assert pair.restitution_at(16 * 0.2) == pytest.approx(0.35, rel=1e-12)
    assert pair.restitution_at(81 * 0.2) == pytest.approx(0.7 / 3, rel=1e-12)


def test_restitution_is_constant_unless_told_otherwise():
    assert SurfacePair(restitution=0.7).restitution_at(100.0) == 0.7
