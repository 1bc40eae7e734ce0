"""Sectors round an axis: the split operator is the operator of the mirror classes."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.magnetics import operator_cache
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.demagnetization import demagnetizing_operator
from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.sectors import SAME, sectors_of, split
from snapsim.magnetics.symmetric_blocks import buffer, layout, multiply
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS
from snapsim.parts.shapes import Box, HexNut, Ring
from snapsim.parts.states import Pose

RNG = np.random.default_rng(5)
RING = Ring(0.11, 0.026, 0.018)


@pytest.mark.parametrize("cells", [60, 130, 260])
def test_a_ring_of_sectors_multiplies_as_its_mirror_classes_do(cells: int) -> None:
    rings = [mesh(RING, cells), mesh(Ring(0.05, 0.04, 0.06), cells // 2)]
    operators = [demagnetizing_operator(one) for one in rings]
    sectors = [sectors_of(one) for one in rings]
    assert all(s is not None and s.count > 1 for s in sectors)
    blocks = [split(o.blocks, s) for o, s in zip(operators, sectors, strict=True) if s]
    stored = buffer([b for b in blocks if b is not None])
    assert stored.size < 0.4 * buffer([o.blocks for o in operators]).size
    where = layout([len(o.volume) for o in operators], [o.flips for o in operators], sectors)
    x = RNG.normal(size=(int(where.cell[-1]), 3))
    y = np.full_like(x, np.nan)
    multiply(where, stored, x, y)
    for o, first, last in zip(operators, where.cell[:-1], where.cell[1:], strict=True):
        expected = o.apply(x[first:last]) * np.tile(o.volume, len(o.blocks))[:, None]
        # what is dropped of the sectors' unlikeness: the quadrature's, SAME at most an entry
        assert np.abs(y[first:last] - expected).max() < 10 * SAME * np.abs(expected).max()


def test_a_mesh_or_an_operator_without_equal_sectors_is_left_whole() -> None:
    assert sectors_of(mesh(Box((0.1, 0.08, 0.02)), 100)) is None
    assert sectors_of(mesh(HexNut(0.03, 0.017, 0.012), 100)) is None
    ring = mesh(RING, 100)
    moved = ring.centre.copy()
    moved[0] *= 1 + 1e-6
    assert sectors_of(replace(ring, centre=moved)) is None
    operator, sectors = demagnetizing_operator(ring), sectors_of(ring)
    assert sectors is not None
    blocks = operator.blocks.copy()
    assert split(blocks, sectors) is not None
    blocks[3, 0, 0] *= 1 + 1e-4
    assert split(blocks, sectors) is None


def test_force_and_energy_do_not_depend_on_whether_sectors_are_used(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    magnet = Body(
        "m", Box((0.12, 0.08, 0.04)), MATERIALS["NdFeB N45"], np.array([0, 0, -1.0]), True
    )
    bodies = (magnet, Body("blank", RING, MATERIALS["grey cast iron"], None, False))
    turn = rotations.from_axis_angle([0.1, 1.0, 0.05], 1.2)
    pose = Pose(
        np.array([[0.0, 0.0, 0.02], [0.004, 0.002, -0.075]]), np.array([rotations.IDENTITY, turn])
    )
    states = []
    for worth in (10**9, 0):
        monkeypatch.setattr(operator_cache, "WORTH_SPLITTING", worth)
        states.append(MagneticModel(bodies, 300, 1e-13).evaluate(pose))
    whole, split_up = states
    # the operators differ by some 1e-9 of their largest entries
    assert split_up.energy == pytest.approx(whole.energy, rel=1e-8)
    assert split_up.force == pytest.approx(whole.force, rel=1e-7)
    assert split_up.torque[1] == pytest.approx(whole.torque[1], rel=1e-6)
