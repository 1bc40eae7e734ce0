"""The energy landscape: slope and second derivatives belong to the energy."""

from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place, difference, metric, moved, turned_about

SCENE = Path(__file__).parents[2] / "scenarios" / "gear-blank.toml"


@pytest.fixture(scope="module")
def landscape():
    return EnergyLandscape(snapsim.load_scene(SCENE), 1, detail=60, tolerance=1e-12)


def test_slope_is_the_derivative_of_the_energy(landscape):
    """Central differences over 0.1 mm and 0.1 deg err by about the square of these."""
    place = landscape.start
    level = landscape.at(place)
    for k in range(6):
        d = np.zeros(6)
        d[k] = 1e-4 if k < 3 else 1.7e-3
        rise = landscape.at(moved(place, d)).energy - landscape.at(moved(place, -d)).energy
        assert rise / (2 * d[k]) == pytest.approx(level.slope[k], rel=1e-3, abs=1e-5)


def test_hessian_is_the_second_derivative_of_the_energy(landscape):
    """Along a mixed direction, from energies alone."""
    place, h = landscape.start, 2e-3
    d = np.array([0.02, -0.01, 0.015, 0.5, 0.7, -0.4])
    energies = [landscape.at(moved(place, s * h * d)).energy for s in (-1, 0, 1)]
    second = (energies[0] - 2 * energies[1] + energies[2]) / h**2
    assert d @ landscape.hessian(place) @ d == pytest.approx(second, rel=2e-3)


def test_weight_is_the_slope_far_from_the_magnet(landscape):
    place = Place(np.array([0.0, 0.0, -5.0]), landscape.start.quaternion)
    weight = landscape.mass * 9.80665
    assert landscape.at(place).slope[2] == pytest.approx(weight, rel=1e-4)


def test_difference_undoes_moved(landscape):
    d = np.array([0.01, 0.02, -0.03, 0.4, -1.1, 2.0])
    place = landscape.start
    assert difference(moved(place, d), place) == pytest.approx(d, abs=1e-12)


def test_turning_about_a_point_keeps_its_distance(landscape):
    place, point = landscape.start, np.array([0.05, 0.0, -0.17])
    there = turned_about(place, point, np.array([0.0, 0.3, 0.1]))
    before, after = (np.linalg.norm(p.position - point) for p in (place, there))
    assert after == pytest.approx(before, rel=1e-12)


def test_metric_is_twice_the_kinetic_energy_over_the_mass(landscape):
    """For a spin about the axis of a ring, (r_1^2 + r_2^2)/2 per mass (textbook moment)."""
    place = landscape.start
    axis = np.array([np.sin(np.radians(50)), 0, np.cos(np.radians(50))])
    d = np.concatenate([np.zeros(3), axis])
    assert d @ metric(landscape.body, place) @ d == pytest.approx(
        (0.055**2 + 0.013**2) / 2, rel=1e-12
    )
