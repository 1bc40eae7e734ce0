"""Field lines that follow a motion: persistent seeds, no jumps between frames."""

import dataclasses

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.magnetics.cells import mesh
from snapsim.numerics import rotations
from snapsim.render.interpolation import sample
from snapsim.render.layers.field_lines import (
    LINES,
    POINTS,
    ROWS,
    SIDES,
    MovingLines,
    key_times,
    tubes,
)
from snapsim.simulation.trajectory import Cells

AXES = np.array([[0.9, 0.4, 0], [0, 0, 1.0], [0.4, -0.9, 0]])


@pytest.fixture(scope="module")
def run(trajectory):
    """The made-up run with cells as a mesh has them, magnetised up in the world."""
    system = dataclasses.replace(trajectory.system, detail=40)
    cells = mesh(system.bodies[1].shape, 40)
    q = trajectory.quaternion[:, 1]
    up = rotations.rotate_back(q, np.broadcast_to([0.0, 0, -0.8 / MU_0], (len(q), 3)))
    m = np.repeat(up[:, None], len(cells.volume), axis=1)
    return dataclasses.replace(
        trajectory,
        system=system,
        cells={"blank": Cells(cells.centre, cells.volume)},
        magnetisation={"blank": m},
    )


@pytest.fixture(scope="module")
def lines(run):
    return MovingLines(run, np.array([0, 0, -0.06]), 0.25, AXES)


def test_every_line_begins_at_a_seed_fixed_in_the_magnet(lines, run):
    (seeds,) = lines.scene.seeds
    assert (seeds.body, len(seeds.place)) == (0, LINES)
    x, q = run.position[0, 0], run.quaternion[0, 0]
    for time in (0.0, 0.07, 0.1):
        shown = lines.at(time)
        assert shown.shape == (LINES, 2, POINTS, 3)
        want = x + rotations.rotate(q, seeds.place)
        assert shown[:, 0, 0] == pytest.approx(want, abs=1e-12)


def test_the_same_flux_passes_between_neighbouring_seeds(lines, run):
    """Per length across the plane, at release; 2 %: 400 strips for 14 seeds."""
    (seeds,) = lines.scene.seeds
    b = lines.scene.field_at(sample(run, 0.0))
    x, q = run.position[0, 0], run.quaternion[0, 0]
    flux = []
    for a, c in zip(seeds.place, seeds.place[1:], strict=False):
        u = (np.arange(60) + 0.5)[:, None] / 60
        points = x + rotations.rotate(q, a + u * (c - a))
        flux.append(np.abs(b(points)[:, 2]).mean() * np.linalg.norm(c - a))
    assert flux == pytest.approx(np.full(LINES - 1, np.mean(flux)), rel=0.02)


def test_nothing_jumps_at_a_key_time_nor_between_frames(lines):
    """Lines are continuous in time, and over a hundredth of the interval move a hundredth."""
    key = float(lines.keys[3])
    span = float(lines.keys[4] - key)
    before, at, after = lines.at(key - 1e-9), lines.at(key), lines.at(key + 1e-9)
    assert before == pytest.approx(at, abs=1e-6)
    assert after == pytest.approx(at, abs=1e-6)
    whole = np.abs(lines.at(key + span) - at).max()
    assert np.abs(lines.at(key + 0.01 * span) - at).max() <= 0.0101 * whole + 1e-12


def test_the_part_moves_little_between_key_times(run):
    keys = key_times(run, 0.003, 600)
    path = np.array([sample(run, t).position[1] for t in keys])
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).max() < 0.0031
    assert (keys[0], keys[-1]) == (run.time[0], run.time[-1])


def test_lines_in_space_each_stand_for_a_share_of_the_magnet_s_flux(run):
    """25 seeds within the magnet, as many on either side of both its axes."""
    spread = MovingLines(run, np.array([0, 0, -0.06]), 0.25, AXES, spread=True)
    (seeds,) = spread.scene.seeds
    half = run.system.bodies[0].shape.extents
    assert len(seeds.place) == ROWS**2
    assert (np.abs(seeds.place) < half + 1e-9).all()
    for axis in (0, 1):
        assert np.sum(seeds.place[:, axis] > 1e-3) == np.sum(seeds.place[:, axis] < -1e-3)


def test_lines_of_the_magnets_alone_do_not_heed_the_iron(run):
    bare = MovingLines(run, np.array([0, 0, -0.06]), 0.25, AXES, spread=True, bare=True)
    whole = MovingLines(run, np.array([0, 0, -0.06]), 0.25, AXES, spread=True)
    assert bare.at(0.0) == pytest.approx(bare.at(0.15), abs=1e-9)
    assert np.abs(whole.at(0.0) - whole.at(0.15)).max() > 0.005


def test_tubes_have_their_thickness_all_along():
    way = np.linspace(0, 1, POINTS)
    path = np.column_stack([way, way**2, 0 * way])[None]
    rings = tubes(path, 0.01, np.array([0.1, 0.2, 1.0])).reshape(POINTS, SIDES, 3)
    assert np.linalg.norm(rings - path[0][:, None], axis=2) == pytest.approx(0.01)
