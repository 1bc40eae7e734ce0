"""Curves of force, energy and torque: each the derivative of the other, gaps where bodies would
overlap."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.landscape.constraints import Constraints
from snapsim.landscape.curves import (
    angle_curve,
    distance_curve,
    force_map,
    turned,
)
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.section import section, stances
from snapsim.landscape.unsaturated import unsaturated
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box
from snapsim.render.plots.angle import extremes

Y, Z = np.array([0.0, 1, 0]), np.array([0.0, 0, 1])


@pytest.fixture
def made(make_body, make_system, materials):
    magnet = make_body("magnet", Box((0.1, 0.08, 0.04)), materials["magnet"], (0, 0, -1), True)
    plate = make_body("plate", Box((0.04, 0.03, 0.01)), materials["iron"](300.0, 1.6))
    system = make_system([(magnet, (0, 0, 0.02)), (plate, (0.01, 0, -0.06))], detail=120)
    return EnergyLandscape(system, 1), Constraints(system, 1)


def test_torque_parts_add_up_to_the_slope_of_the_energy(made):
    """dU/dangle = -T about the axis: central differences over 0.5 degrees, fourth order, 1e-5."""
    landscape, constraints = made
    angles, pivot = np.radians(np.arange(-40, 41, 0.5)), np.array([0.03, 0, -0.07])
    places = [turned(landscape.start, Y, pivot, a) for a in angles]
    pivots = np.tile(pivot, (len(angles), 1))
    curve = angle_curve(landscape, constraints, Y, angles, places, pivots)
    step = angles[1] - angles[0]
    slope = (
        curve.energy[:-4] - 8 * curve.energy[1:-3] + 8 * curve.energy[3:-1] - curve.energy[4:]
    ) / (12 * step)
    total = curve.parts.total
    assert np.ptp(total) > 0.1
    assert -slope == pytest.approx(total[2:-2], abs=1e-5 * np.abs(total).max())
    assert np.abs(curve.parts.couple).max() > 0.02 * np.abs(total).max()


def test_force_along_a_line_is_the_fall_of_its_energy_and_stops_at_the_magnet(made):
    landscape, constraints = made
    distance = np.linspace(0, 0.06, 241)
    curve = distance_curve(landscape, constraints, Z, distance)
    free = np.isfinite(curve.energy)
    # The plate's upper face is 55 mm below the pole: from 55 mm on it would overlap.
    assert distance[free].max() == pytest.approx(0.055, abs=1.3e-4)
    assert curve.gap[free] == pytest.approx(0.055 - distance[free], abs=1e-9)
    work = np.trapezoid(curve.force[free, 2], distance[free])
    fall = curve.energy[free][0] - curve.energy[free][-1]
    assert work == pytest.approx(fall, rel=2e-3)  # trapezium rule on 220 strips


def test_map_holds_the_force_of_each_place_whatever_the_order(made):
    landscape, constraints = made
    u, v = np.array([-0.02, 0.0, 0.015]), np.array([-0.01, 0.0, 0.052, 0.09])
    found = force_map(landscape, constraints, (0, 2), u, v)
    start = landscape.start.position
    for j, i in ((0, 2), (1, 1), (2, 0)):
        place = turned(landscape.start, Y, start, 0.0)
        place = type(place)(start + np.array([u[i], 0, v[j]]), place.quaternion)
        assert found.force[j, i] == pytest.approx(landscape.at(place).force, rel=1e-4, abs=1e-4)
    assert np.isnan(found.force[3]).all()


def test_an_upright_plate_is_magnetised_most_and_a_flat_one_least(made):
    """Common practice, no source; also the order of the demagnetising factors of a flat prism
    (Aharoni, J. Appl. Phys. 83, 3432 (1998)). Iron that does not saturate: at the pole, where each
    stance is set, the plate's own would, upright and tilted."""
    landscape, _ = made
    system = landscape.system
    quaternion = system.start.pose.quaternion.copy()
    quaternion[1] = rotations.from_axis_angle(Y, 0.4)
    pose = replace(system.start.pose, quaternion=quaternion)
    system = replace(system, start=replace(system.start, pose=pose))
    landscape = EnergyLandscape(unsaturated(system, 1), 1)
    places = stances(landscape, Constraints(system, 1), (0, 2))
    cuts = {name: section(landscape, p, (0, 2)) for name, p in places.items()}
    means = [np.linalg.norm(cuts[name].mean) for name in ("upright", "tilted", "flat")]
    assert means[0] > 1.3 * means[1] > 1.3 * 1.3 * means[2]
    for cut in cuts.values():
        inside = np.isfinite(cut.polarisation[:, :, 0])
        # A plane through the centre cuts 40 x 10 mm of the plate, whatever its stance.
        area = inside.sum() * np.prod(np.diff(cut.points[:2, :2], axis=0)[0, 0, [2]]) ** 2
        assert area == pytest.approx(0.04 * 0.01, rel=0.06)
        assert np.isnan(cut.saturated)
    saturating = section(EnergyLandscape(system, 1), places["upright"], (0, 2))
    assert 0 < saturating.saturated < 1


def test_a_part_at_the_pole_is_shown_set_against_it_and_named_by_its_angle(made):
    """Turned about its centre it would stand 15 mm deep in the magnet."""
    system = made[0].system
    pose = system.start.pose
    position, quaternion = pose.position.copy(), pose.quaternion.copy()
    position[1] = (0.01, 0, -0.0051)
    system = replace(system, start=replace(system.start, pose=replace(pose, position=position)))
    landscape, constraints = EnergyLandscape(system, 1), Constraints(system, 1)
    places = stances(landscape, constraints, (0, 2))
    assert set(places) == {"upright", "tilted", "flat"}
    for place in places.values():
        assert constraints.gaps(place).min() == pytest.approx(0, abs=1e-6)
    quaternion[1] = rotations.from_axis_angle([1.0, 0, 0], np.radians(13))
    position[1] = (0.01, 0, -0.06)
    pose = replace(pose, position=position, quaternion=quaternion)
    aside = replace(system, start=replace(system.start, pose=pose))
    named = stances(EnergyLandscape(aside, 1), Constraints(aside, 1), (0, 2))
    assert "flat" not in named  # 13 deg off in the other plane
    assert any("13° off the field" in name for name in named)


def test_crests_and_hollows_of_a_cosine():
    x = np.linspace(-4, 4, 81)
    found = extremes(x, np.cos(x))
    assert [crest for *_, crest in found] == [False, True, False]
    assert [at for at, *_ in found] == pytest.approx([-np.pi, 0, np.pi], abs=1e-3)
