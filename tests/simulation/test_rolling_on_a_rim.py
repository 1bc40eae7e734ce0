"""A leaning disc that rolls round on its rim: dry friction that only holds takes no energy."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release

LEAN, RADIUS, HALF = np.radians(50), 0.04, 0.005


@pytest.fixture
def rolling_disc(make_body, make_system):
    """Its lowest rim point at rest, turning about the vertical and about its own axis."""
    table, disc = (
        make_body("table", Box((2, 2, 0.1)), fixed=True),
        make_body("disc", Cylinder(2 * RADIUS, 2 * HALF)),
    )
    turn = rotations.from_axis_angle([0, 1, 0], LEAN)
    lowest = rotations.rotate(turn, [RADIUS, 0, -HALF])
    spin = np.array([0.0, 0, 6]) + rotations.rotate(turn, [0, 0, -14.0])
    rows = [
        (table, (0, 0, -0.05)),
        (disc, (0, 0, -lowest[2]), turn, -np.cross(spin, lowest), spin),
    ]
    return make_system(rows, duration=0.065, pair=SurfacePair(friction=2.0, restitution=0.0))


def test_a_disc_that_rolls_without_slipping_loses_nothing(rolling_disc):
    """The contact's velocity is zero, so friction does no work (Goldstein, Poole & Safko, Classical
    Mechanics, 3rd ed., section 1.3, rolling constraints; from memory). 1e-6 of the kinetic energy;
    with the law put on the velocity at the end of a step friction gained or lost thousandths."""
    run = release(rolling_disc)
    kinetic = run.energy["kinetic"][0]
    assert len(run.impacts) == 0
    assert np.ptp(run.position[:, 1, 2]) > 1e-3  # it nutates
    assert abs(run.audit.friction_loss) < 1e-6 * kinetic
    # Nor does the table's push: what is left in the books is rounding.
    assert run.audit.integrator_error < 1e-9 * kinetic
    # Nor what pushing it out of the table gave: 2e-3 if that is not taken from its motion.
    assert run.audit.unaccounted < 5e-5 * kinetic
