"""What two parts do to each other: as large as two dipoles do, opposite, and said so."""

import dataclasses

import numpy as np
import pytest
import pyvista as pv

from snapsim.constants import MU_0
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box
from snapsim.parts.states import Pose, State
from snapsim.render.interpolation import sample
from snapsim.render.layers.between import Between
from snapsim.render.pair_force import PairForce, pair_of, parts_them

SIDE, REMANENCE = 0.01, 1.2


class Plotter:
    """Stands for the window: keeps what it is given."""

    def add_mesh(self, mesh, **_):
        return pv.Actor()


def two_magnets(trajectory, way, apart=(0.2, 0.3)):
    """Two small cubes on a line, magnetised along it, moving apart, and a run's series of them."""
    steel = Material("invented magnet", 7500.0, remanence=REMANENCE, family="NdFeB")
    ways = np.array([0, 0, 1.0]), np.array([0, 0, float(way)])
    bodies = tuple(
        Body(f"{name} one", Box((SIDE,) * 3), steel, axis, False)
        for name, axis in zip(("first", "second"), ways, strict=True)
    )
    k = 11
    position = np.zeros((k, 2, 3))
    position[:, 1, 2] = np.linspace(*apart, k)
    quaternion = np.broadcast_to(rotations.IDENTITY, (k, 2, 4)).copy()
    none = np.zeros((k, 2, 3))
    start = State(Pose(position[0], quaternion[0]), none[0], none[0])
    system = dataclasses.replace(trajectory.system, bodies=bodies, start=start)
    series = dict.fromkeys(("velocity", "spin", "force", "torque"), none)
    return dataclasses.replace(
        trajectory, system=system, time=np.linspace(0, 1, k), position=position,
        quaternion=quaternion, cells={}, magnetisation={}, impacts=(), gap=np.full(k, 0.1),
        energy={n: np.zeros(k) for n in trajectory.energy}, **series,
    )  # fmt: skip


@pytest.mark.parametrize("way", [1, -1])
def test_two_small_magnets_far_apart_act_as_dipoles(trajectory, way):
    """F = 3 mu_0 m^2 / (2 pi d^4) on a common axis (Jackson, Classical Electrodynamics, 3rd ed.,
    section 5.7, from its force on a dipole; from memory). Cubes have no next multipole that
    matters: 1 part in 1000 at twenty sides. Alike they attract, opposed they repel."""
    run = two_magnets(trajectory, way)
    force = PairForce(run, (0, 1), 0.3)
    m = REMANENCE / MU_0 * SIDE**3
    for time, d in ((0.0, 0.2), (1.0, 0.3)):
        assert force.at(time)[2] == pytest.approx(way * 3 * MU_0 * m**2 / (2 * np.pi * d**4), 2e-3)
        assert force.apart(time) == (way < 0)
    other = PairForce(run, (1, 0), 0.3)
    assert other.at(0.5) == pytest.approx(-force.at(0.5), abs=1e-9)


def test_the_pair_are_those_that_part_and_arrows_say_their_number(trajectory):
    run = two_magnets(trajectory, -1)
    assert pair_of(run) == (0, 1)
    force = PairForce(run, (0, 1), 0.3)
    layer = Between(Plotter(), run, force, 0.3)
    moment = sample(run, 0.0)
    (note,) = layer.notes(moment)
    size = float(np.linalg.norm(force.at(0.0)))
    assert note.text == f"each pushes: {size:.3g}\u00a0N"
    attracted = two_magnets(trajectory, 1)
    drawn = Between(Plotter(), attracted, PairForce(attracted, (0, 1), 0.3), 0.3)
    assert drawn.notes(sample(attracted, 0.0))[0].text.startswith("each pulls: ")


def test_arrows_stand_only_in_their_span(trajectory):
    run = two_magnets(trajectory, -1)
    layer = Between(Plotter(), run, PairForce(run, (0, 1), 0.3), 0.3, (0.2, 0.6))
    seen = [bool(layer.notes(sample(run, t))) for t in (0.1, 0.3, 0.7)]
    assert seen == [False, True, False]


def test_they_part_by_their_own_force_only_where_it_matters(trajectory):
    run = two_magnets(trajectory, -1)
    force = PairForce(run, (0, 1), 0.3)
    push = float(np.linalg.norm(force.at(0.0)))
    for much, told in ((1.0, True), (20.0, False)):
        acting = np.full((len(run.time), 2, 3), [much * push, 0.0, 0.0])
        shown = dataclasses.replace(run, force=acting)
        assert (parts_them(shown, PairForce(shown, (0, 1), 0.3)) is not None) == told
    drawn_together = two_magnets(trajectory, 1)
    assert parts_them(drawn_together, PairForce(drawn_together, (0, 1), 0.3)) is None


def test_one_free_body_has_no_pair(trajectory):
    assert pair_of(trajectory) is None
