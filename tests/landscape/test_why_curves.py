"""What plots tell why: pull against weight, torque without saturation, energy over two
coordinates, a run in a few pictures, and what lies on each side of a turn."""

from types import SimpleNamespace

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.errors import InputError
from snapsim.landscape.confirmation import LetGo, Safety, safety
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.film_strip import COUNT, chosen_frames
from snapsim.landscape.pull_curve import pull_curve
from snapsim.landscape.surface import energy_surface
from snapsim.landscape.tilt_curve import tilt_curve
from snapsim.landscape.unsaturated import unsaturated
from snapsim.render.plots.angle import bands
from snapsim.render.plots.distance import attraction, turning_points
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.fate import FateKind
from snapsim.study import sides as sides_module

BALL = """
title = "A small ball under a round magnet"
[[body]]
name = "magnet"
shape = { kind = "sphere", diameter = "40 mm" }
material = "strong"
magnetised = "z"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "6 mm" }
material = "linear iron"
position = "0, 0, -90 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "200 x 200 x 10 mm" }
material = "oak"
position = "0, 0, -98.1 mm"
fixed = true
[[material]]
name = "strong"
density = "7500 kg/m^3"
remanence = "1.2 T"
[[material]]
name = "linear iron"
density = "7800 kg/m^3"
susceptibility = 1000
[run]
detail = "draft"
"""

PLATE = """
title = "A plate on a table under a block"
[[body]]
name = "magnet"
shape = { kind = "box", size = "80 x 60 x 30 mm" }
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 45 mm"
fixed = true
[[body]]
name = "plate"
shape = { kind = "box", size = "30 x 20 x 6 mm" }
material = "grey cast iron"
position = "0, 0, 3 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "200 x 200 x 10 mm" }
material = "oak"
position = "0, 0, -5 mm"
fixed = true
[run]
detail = "draft"
"""


def scene(text, *changes):
    return scene_from_text(text, "scene.toml", changes)


def test_a_small_ball_lifts_off_where_a_dipoles_pull_is_its_weight():
    """Closed form of a small linear ball on a dipole's axis (Jackson, Classical Electrodynamics,
    3rd ed., section 5.11 for the ball, 5.6 for the dipole; from memory): with the field B = 2 m
    mu_0 / (4 pi z^3), F = V k / (2 mu_0) |dB^2/dz| = 3 V k B^2 / (mu_0 z), k = 3 chi / (chi + 3).

    F falls as z^-7, so z is known to a seventh of what F is: the ball's own size (a/z)^2, 0.4 %
    here times a few, and its cells' few per cent leave 1 % of z."""
    found = pull_curve(scene(BALL), 1)
    volume = 4 / 3 * np.pi * 0.003**3
    moment = 1.2 / MU_0 * 4 / 3 * np.pi * 0.02**3
    k = 3 * 1000 / 1003
    weight = 7800 * volume * 9.80665
    factor = 3 * volume * k / MU_0 * (2 * MU_0 * moment / (4 * np.pi)) ** 2
    z = (factor / weight) ** (1 / 7)
    assert found.weight == pytest.approx(weight)
    assert found.lift_off is not None
    assert found.lift_off.value + 0.023 == pytest.approx(z, rel=0.01)
    assert abs(found.lift_off.value + 0.023 - z) < found.lift_off.error + 0.003 * z
    assert found.now[0] == pytest.approx(0.067, abs=1e-6)
    assert found.magnet == "magnet"


def test_a_part_beside_the_magnet_has_no_lift_off_to_draw():
    with pytest.raises(InputError, match="does not meet the magnet"):
        pull_curve(scene(BALL, 'body.ball.position.x="60 mm"'), 1)


def test_without_saturation_iron_is_linear_with_the_curves_largest_ratio():
    system = scene(PLATE)
    curve = system.bodies[1].material.curve
    ratio = curve.flux_density[1:] / (MU_0 * curve.field_strength[1:])
    linear = unsaturated(system, 1).bodies[1].material.curve
    assert linear.susceptibility == pytest.approx(ratio.max() - 1)
    assert not linear.tabulated
    assert linear.saturation is None
    with pytest.raises(InputError, match="no saturation"):
        unsaturated(unsaturated(system, 1), 1)


def test_saturation_makes_the_pull_less():
    """At the pole, where the plate is well past the knee: energy is a minimum over M, and a curve
    that saturates costs more at every M, so |E| and the pull are less."""
    system = scene(PLATE, 'body.plate.position.z="26 mm"')
    pulls = [
        EnergyLandscape(s, 1).at(EnergyLandscape(s, 1).start).force[2]
        for s in (system, unsaturated(system, 1))
    ]
    assert 0 < pulls[0] < pulls[1]


def test_the_surface_is_the_tilt_curve_where_nothing_is_lifted():
    system = scene(PLATE)
    landscape, constraints = EnergyLandscape(system, 1), Constraints(system, 1)
    found = energy_surface(landscape, constraints)
    curve = tilt_curve(landscape, constraints)
    now = int(np.argmin(np.abs(curve.angle)))
    due = np.interp(found.angle, curve.angle, curve.energy - curve.energy[now])
    known = np.isfinite(found.energy[0])
    assert known.sum() > 10
    assert found.energy[0, known] == pytest.approx(due[known], abs=1e-7)
    assert found.energy[0, int(np.argmin(np.abs(found.angle)))] == pytest.approx(0, abs=1e-9)
    upright = int(np.nanargmax(np.abs(found.angle) * known))
    assert not np.isfinite(found.energy[-1, upright])  # it would be in the magnet
    assert found.rise[-1] == pytest.approx(0.024, abs=1.1e-3)  # 30 mm less its own 6 mm


def flight(times, heights):
    count = len(times)
    position = np.zeros((count, 1, 3))
    position[:, 0, 2] = heights
    still = np.tile([1.0, 0, 0, 0], (count, 1, 1))
    part = SimpleNamespace(shape=SimpleNamespace(gyration=1e-4 * np.eye(3)))
    system = SimpleNamespace(bodies=(part,))
    return SimpleNamespace(time=np.array(times), position=position, quaternion=still, system=system)


def test_a_strip_has_the_start_equal_shares_of_the_way_the_blow_and_the_end():
    """Times squeeze toward the blow; frames are chosen by way, not by time."""
    heights = np.linspace(0, 1, 101)
    times = np.concatenate([1 - (1 - heights) ** 2, [1.0, 1.5, 2.0]])
    run = flight(times, np.concatenate([heights, [1.0, 0.9, 0.9]]))
    frames = chosen_frames(run, 0, 1.0)
    assert len(frames) == COUNT
    assert (frames[0], frames[-2], frames[-1]) == (0, 100, 103)
    assert heights[frames[1:-2]] == pytest.approx([0.25, 0.5, 0.75], abs=0.011)
    assert len(chosen_frames(run, 0, None)) == COUNT


def test_a_part_that_stays_is_one_or_two_pictures():
    assert chosen_frames(flight([0.0, 0.1, 0.2], [0, 0, 0]), 0, None) == [0, 2]


def test_bands_join_angles_that_end_alike_and_leave_a_gap_where_they_change():
    kinds = FateKind.STAYS, FateKind.FALLS_BACK, FateKind.TOUCHES, FateKind.UNDECIDED
    told = [(a, safety(k)) for a, k in zip((-1.0, -0.5, 0.0, 0.5), kinds, strict=True)]
    assert bands(told) == [
        (-1.0, -0.5, Safety.DOES_NOT_SNAP),
        (0.0, 0.0, Safety.SNAPS),
        (0.5, 0.5, Safety.UNKNOWN),
    ]


def test_sides_are_looked_at_again_between_two_that_end_otherwise(monkeypatch):
    """A release that snaps beyond 0.5 rad one way: the two steps about it get a place between."""

    class Scripted:
        def __init__(self, ways, places):
            self.ways = ways

        def on(self, way, s):
            snaps = s > 0.5 and way.axis[1] > 0.5
            return LetGo(s, FateKind.SNAPS if snaps else FateKind.STAYS)

    monkeypatch.setattr(sides_module, "LettingGo", Scripted)
    found = sides_module.sides(scene(PLATE), 1, 1)
    snaps = [a for a, k in zip(found.angle, found.kind, strict=True) if k is FateKind.SNAPS]
    assert list(found.angle) == sorted(found.angle)
    assert len(found.angle) == 2 * sides_module.STEPS + 2
    assert snaps == [a for a in found.angle if a > 0.5]


def test_attraction_is_toward_the_other_body_and_turns_at_its_zeros():
    distance = np.array([0.0, 0.01, 0.02, 0.03])
    felt = np.zeros((4, 2, 6))
    felt[:, 1, 0] = [2.0, 1.0, -1.0, np.nan]
    curve = SimpleNamespace(distance=distance, direction=np.array([1.0, 0, 0]), felt=felt)
    ahead = attraction(curve, np.zeros(3), 1, np.array([0.5, 0, 0]))
    assert ahead[:3] == pytest.approx([2, 1, -1])
    behind = attraction(curve, np.zeros(3), 1, np.array([-0.5, 0, 0]))
    assert behind[:3] == pytest.approx([-2, -1, 1])
    assert turning_points(distance, ahead) == pytest.approx([0.015])
