"""Descent to rests and slow falls with friction, where the answer is known."""

import numpy as np
import pytest

from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import CreepSettings, creep
from snapsim.landscape.descent import DescentSettings, settle
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import Place
from snapsim.landscape.symmetry import idle_directions
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Ring, Sphere
from snapsim.parts.surfaces import SurfacePair

G = 9.80665


@pytest.fixture
def on_table(make_system, make_body):
    """A part above a table, no magnet: landscape and constraints."""

    def make(shape, height=0.1, turn=None, pair=None, slope=0.0):
        table = make_body("table", Box((0.6, 0.6, 0.1)), fixed=True)
        tilt = rotations.from_axis_angle([0, 1, 0], slope)
        centre = rotations.rotate(tilt, np.array([0, 0, -0.05]))
        system = make_system(
            [(make_body("part", shape), (0, 0, height), turn), (table, centre, tilt)], pair=pair
        )
        return EnergyLandscape(system, 0, 30), Constraints(system, 0)

    return make


def settings(landscape, **more):
    idle = idle_directions(landscape.body)
    return DescentSettings(longest=0.005, far=2.0, idle=idle, **more)


def test_a_ring_dropped_askew_comes_to_lie_flat_and_the_table_bears_its_weight(on_table):
    turn = rotations.from_axis_angle([1, 1, 0], 0.6)
    landscape, constraints = on_table(Ring(0.11, 0.026, 0.018), turn=turn)
    found = settle(landscape, constraints, landscape.start, settings(landscape))
    assert found.outcome == "rest"
    assert found.place.position[2] == pytest.approx(0.009, abs=1e-8)
    assert found.multiplier.sum() == pytest.approx(landscape.mass * G, rel=1e-6)


def test_a_box_balanced_on_its_edge_stays_there_by_symmetry(on_table):
    """The centre of mass is exactly above the edge: a rest, though no stable one."""
    turn = rotations.from_axis_angle([0, 1, 0], np.pi / 4)
    landscape, constraints = on_table(Box((0.04, 0.1, 0.04)), 0.03, turn)
    found = settle(landscape, constraints, landscape.start, settings(landscape))
    assert found.outcome == "rest"
    assert found.place.position[2] == pytest.approx(0.02 * np.sqrt(2), abs=1e-8)


@pytest.mark.parametrize(("angle", "fate"), [(18.0, "stays"), (20.0, "goes away")])
def test_a_block_on_a_slope_slides_where_its_tangent_passes_the_friction(on_table, angle, fate):
    """Friction 0.35 holds up to atan 0.35 = 19.29 deg."""
    slope = np.radians(angle)
    tilt = rotations.from_axis_angle([0, 1, 0], slope)
    landscape, constraints = on_table(
        Box((0.05, 0.05, 0.02)), turn=tilt, pair=SurfacePair(friction=0.35), slope=slope
    )
    place = Place(rotations.rotate(tilt, np.array([0, 0, 0.01 + 1e-9])), tilt)
    found = creep(landscape, constraints, place, CreepSettings(0.005, 0.5))
    assert found.fate == fate


def test_a_ball_creeps_to_the_magnet_or_lies_by_the_pull_at_the_start(
    make_system, make_body, materials
):
    """Near enough it leaps, farther off it lies: where pull and weight change order."""
    magnet = make_body("magnet", Cylinder(0.06, 0.03), materials["magnet"], (0, 0, 1), fixed=True)
    table = make_body("table", Box((0.3, 0.3, 0.02)), fixed=True)
    ball = make_body("ball", Sphere(0.02), materials["iron"](100.0))
    for height in np.linspace(0.05, 0.12, 8):
        rows = [(magnet, (0, 0, height + 0.015)), (table, (0, 0, -0.01)), (ball, (0, 0, 0.01))]
        system = make_system(rows)
        landscape, constraints = EnergyLandscape(system, 2, 100), Constraints(system, 2)
        found = creep(landscape, constraints, landscape.start, CreepSettings(0.003, 1.0))
        rises = landscape.at(landscape.start).slope[2] < 0
        assert found.fate == ("snaps" if rises else "stays")
        assert found.struck == (0 if rises else None)
