"""Releases that slide without friction along a curve, against the pendulum in closed form."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.special import ellipk

from snapsim.numerics import rotations
from snapsim.parts.shapes import Cylinder, Ring
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release
from snapsim.run.steps import STEPS

G = 9.80665
LAID = rotations.from_axis_angle((1, 0, 0), np.pi / 2)


def swing(make_body, make_system, bore, peg, angle, duration):
    """A ring that hangs on a peg, let go at `angle` [rad] from below; radii of `bore`, `peg`."""
    hang = bore - peg
    ring = make_body("ring", Ring(2.4 * bore, 2 * bore, 0.4 * bore))
    at = (hang * np.sin(angle), 0.0, -hang * np.cos(angle))
    rows = [
        (ring, at, LAID),
        (make_body("peg", Cylinder(2 * peg, 8 * bore), fixed=True), (0, 0, 0), LAID),
    ]
    system = make_system(rows, duration=duration, pair=SurfacePair(0.0, 0.0))
    return release(system, settings=replace(STEPS, frame_spacing=1e-3))


def half_periods(run):
    """Times between passes through the lowest place [s]."""
    time, first = np.unique(run.time, return_index=True)
    place = run.position[first, 0]
    return np.diff(
        CubicSpline(time, np.arctan2(place[:, 0], -place[:, 2])).roots(extrapolate=False)
    )


def drawn(seed):
    """A bore of 4-60 mm in diameter, a peg of 30-85 % of it, let go at 10-50 degrees."""
    draw = np.random.default_rng(seed)
    bore = 0.002 * (15 ** draw.random())
    return bore, bore * draw.uniform(0.3, 0.85), np.radians(draw.uniform(10, 50))


@pytest.mark.parametrize(
    ("bore", "peg", "angle"),
    [(0.013, 0.009, np.radians(30)), (0.013, 0.012, np.radians(30)), *map(drawn, range(4))],
)
def test_a_ring_on_a_smooth_peg_swings_as_a_pendulum_of_the_radii_s_difference(
    make_body, make_system, bore, peg, angle
):
    """Nothing turns the ring where nothing rubs, and its centre keeps R - r from the peg's: a
    simple pendulum, T = 4 sqrt(l/g) K(sin(a/2)), l = R - r (Landau & Lifshitz, Mechanics, 3rd ed.,
    section 11, problem 1; from memory). A step of the midpoint rule errs by (step w)^2/24 in
    phase; twice that is allowed, as surfaces may stand one touching gap apart too."""
    hang = bore - peg
    slow = np.sqrt(hang / G)
    run = swing(make_body, make_system, bore, peg, angle, 75 * slow)
    period = 4 * slow * ellipk(np.sin(angle / 2) ** 2)
    bound = (STEPS.contact_step / slow) ** 2 / 12 + 2 * STEPS.touch / hang
    assert half_periods(run).mean() == pytest.approx(period / 2, rel=bound)
    assert run.audit.unaccounted_fraction < 1e-5
    away = np.linalg.norm(run.position[:, 0, [0, 2]], axis=1)
    assert away == pytest.approx(hang, abs=3e-6)
    assert run.audit.impact_loss < 1e-6 * np.ptp(run.energy["gravity"])
    assert np.abs(run.spin[:, 0]).max() < 1e-3 / slow
