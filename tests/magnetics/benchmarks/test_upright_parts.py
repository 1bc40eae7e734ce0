"""Which parts prefer to stand on edge under a pole (common practice, no source)."""

import numpy as np
import pytest

from snapsim.magnetics.model import MagneticModel
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.materials.table import MATERIALS
from snapsim.parts.shapes import Box, Cylinder, HexNut, Shape
from snapsim.parts.states import Pose

STEEL = MATERIALS["low-carbon steel"]
GRADE = Material("grade", 7500.0, remanence=1.3)


def gain_upright(shape: Shape, detail: str = "draft") -> float:
    """Magnetic energy gained by turning from flat to upright at one place, over that when flat."""
    magnet = Body("magnet", Box((0.1, 0.1, 0.05)), GRADE, np.array([0.0, 0.0, 1.0]), True)
    model = MagneticModel([magnet, Body("part", shape, STEEL, None, False)], detail, 1e-7)
    place = np.array([[0, 0, 0.025], [0, 0, -0.08]])

    def energy(angle: float) -> float:
        turn = rotations.from_axis_angle([0, 1, 0], angle)
        return model.evaluate(Pose(place, np.stack([rotations.IDENTITY, turn]))).energy

    return energy(np.pi / 2) / energy(0.0) - 1


def test_a_short_nut_prefers_upright_less_strongly_than_a_thin_disc_of_equal_diameter() -> None:
    # common practice, no source
    nut, disc = HexNut(0.03, 0.016, 0.012), Cylinder(0.03, 0.003)
    assert 0 < gain_upright(nut) < 0.5 * gain_upright(disc)


@pytest.mark.parametrize(("length", "upright"), [(0.01, True), (0.06, False)])
def test_a_flat_disc_stands_up_and_a_long_bar_stands_along_the_field(
    length: float, upright: bool
) -> None:
    # common practice, no source: the long side turns into the field
    assert (gain_upright(Cylinder(0.03, length)) > 0) is upright
