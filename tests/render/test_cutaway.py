"""A pipe is drawn cut open for what flies through it; a plate beside the way is not."""

import numpy as np
import pytest
import pyvista as pv

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Cylinder, Ring
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfaceRules
from snapsim.render import cutaway
from snapsim.simulation.system import System

COPPER = Material("copper", 8940.0)


def stand(*bodies):
    where = np.zeros((len(bodies), 3))
    pose = Pose(where, np.tile(rotations.IDENTITY, (len(bodies), 1)))
    start = State(pose, 0 * where, 0 * where)
    return System("A magnet in a pipe", "", bodies, start, SurfaceRules(), np.zeros(3), 1.0), pose


@pytest.mark.parametrize("azimuth", [0.0, 35.0, 200.0])
def test_half_of_a_pipe_is_left_and_closed(azimuth):
    way = np.array([np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth)), 0.0])
    shape = Ring(0.030, 0.024, 0.2)
    points, faces = cutaway.halved(*shape.surface(96), way)
    assert (points @ way).max() < 1e-6
    mesh = pv.PolyData(points, np.column_stack([np.full(len(faces), 3), faces]).ravel())
    assert mesh.n_open_edges == 0
    assert mesh.volume == pytest.approx(shape.volume / 2, rel=0.01)  # 96 sides for a circle


def test_only_what_the_part_flies_through_is_cut():
    path = np.linspace([0, 0, 0.3], [0, 0, -0.3], 60)
    aside = path + np.array([0.05, 0, 0])
    magnet = Body("magnet", Cylinder(0.02, 0.02), COPPER, None, False)
    pipe = Body("pipe", Ring(0.030, 0.024, 0.2), COPPER, None, True)
    block = Body("block", Box((0.02, 0.2, 0.2)), COPPER, None, True)
    system, pose = stand(magnet, pipe, block)
    pose.position[2] = 0.06, 0, 0
    assert cutaway.enclosing(system, pose, path) == (1,)
    assert cutaway.enclosing(system, pose, aside) == (2,)
    assert cutaway.enclosing(system, pose, aside + 0.5) == ()


def test_nothing_is_left_away_for_a_viewer_along_the_pipe():
    assert cutaway.toward(rotations.IDENTITY, np.array([0.0, 0.1, 0.995])) is None
    way = cutaway.toward(rotations.IDENTITY, np.array([0.0, 0.6, 0.8]))
    assert way == pytest.approx([0.0, 1.0, 0.0])
