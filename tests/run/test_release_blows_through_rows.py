"""Blows that go through touching bodies, and flat slaps: what the record of each blow says."""

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Sphere
from snapsim.parts.surfaces import SurfacePair
from snapsim.run.release import release

G = 9.80665


def row(make_body, make_system, count, speed, e=1.0):
    """Touching balls of 20 mm, without weight; the first comes at `speed`."""
    rows = [(make_body("ball 0", Sphere(0.02)), (-0.001, 0, 0), None, (speed, 0, 0))]
    rows += [(make_body(f"ball {k}", Sphere(0.02)), (0.02 * k, 0, 0)) for k in range(1, count)]
    system = make_system(rows, duration=0.01, pair=SurfacePair(e, 0.2), gravity=(0, 0, 0))
    return release(system, magnetisation=False)


def test_every_contact_of_a_touching_row_is_listed_with_what_went_through_it(
    make_body, make_system
):
    """Five balls: each contact passes on nearly the whole momentum m v (a row of Hertz springs,
    last ball at 0.989 v; Falcon et al., Eur. Phys. J. B 5, 111 (1998), from memory), so none bears
    much less than the first, nor more energy than there is."""
    run = row(make_body, make_system, 5, 1.0)
    assert [i.struck_through for i in run.impacts] == [False, True, True, True]
    first = run.impacts[0]
    assert first.fastest == pytest.approx(1.0, rel=1e-6)
    momentum = 2 * first.effective_mass * 1.0
    for blow in run.impacts[1:]:
        assert blow.time == first.time
        assert {blow.body, blow.against} != {"ball 0", "ball 1"}
        assert 0.95 * momentum < blow.impulse < 1.2 * momentum
        assert 0.5 * first.effective_energy < blow.effective_energy < first.kinetic_energy
        assert blow.peak_force[1] > 0.6 * first.peak_force[1]


def test_the_support_of_a_struck_part_is_listed(make_body, make_system):
    rows = [
        (make_body("hammer", Sphere(0.04)), (0, 0, 0.0405), None, (0, 0, -2.0)),
        (make_body("part", Box((0.04, 0.04, 0.02))), (0, 0, 0.01)),
        (make_body("anvil", Box((0.2, 0.2, 0.05)), fixed=True), (0, 0, -0.025)),
    ]
    run = release(make_system(rows, duration=0.005), magnetisation=False)
    struck = run.impacts[0].time
    through = [i for i in run.impacts if i.time == struck and i.struck_through]
    assert [(i.body, i.against) for i in through] == [("part", "anvil")]
    assert 0 < through[0].effective_energy <= run.impacts[0].kinetic_energy
    assert through[0].peak_force[1] > 0


@pytest.mark.parametrize("seed", range(6))
def test_a_flat_slap_tells_the_speed_of_its_fastest_point(make_body, make_system, seed):
    """A plate that turns as it comes down nearly flat: the far edge closes at v + w d, from the
    velocities alone (rigid-body kinematics)."""
    draw = np.random.default_rng(seed)
    length, turn = draw.uniform(0.1, 0.3), draw.uniform(2, 8)
    speed, tilt = 0.5 * turn * length * draw.uniform(1.5, 3), draw.uniform(0.005, 0.02)
    low = 0.5 * length * np.sin(tilt) + 0.005 * np.cos(tilt) + 1e-4
    laid = rotations.from_axis_angle((0, 1, 0), tilt)  # lowers the end at +x
    plate = make_body("plate", Box((length, 0.05, 0.01)))
    rows = [
        (plate, (0, 0, low), laid, (0, 0, -speed), (0, -turn, 0)),
        (make_body("table", Box((1, 1, 0.05)), fixed=True), (0, 0, -0.025)),
    ]
    blow = release(make_system(rows, duration=0.02), magnetisation=False).impacts[0]
    # the end at -x comes down faster by the turn
    fell = G * blow.time
    assert blow.fastest == pytest.approx(speed + fell + turn * length / 2, rel=2e-3)
    assert blow.fastest > blow.closing_speed + 0.9 * turn * length
