"""The inverse that follows saturation is that of the parts as they answer, and spares products."""

import numpy as np
import pytest

from snapsim.magnetics import joint_fluxes
from snapsim.magnetics.adapted_inverse import adapted
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.flux_part import flux_blocks, flux_part
from snapsim.magnetics.flux_product import CrossSet, FluxPoint, _curved, flux_set, precondition
from snapsim.magnetics.model import MagneticModel
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, HexNut, Ring, Shape
from snapsim.parts.states import Pose

CHI = 400.0
APART = CrossSet(
    *(np.empty((0, 2), np.int64), np.empty(0), np.empty(0, np.float32)),
    *(np.empty((0, 3), np.int64), np.empty(0), np.empty((0, 3), np.int64)),
)


@pytest.mark.parametrize("shape", [Box((0.04, 0.03, 0.01)), HexNut(0.019, 0.01, 0.008)])
def test_it_undoes_the_second_derivative_of_cells_that_answer_as_their_images_do(
    shape: Shape,
) -> None:
    # exact there: to what float32 leaves of it times the condition, some hundreds
    cells = mesh(shape, 60)
    part = flux_part(cells, 1 / CHI, flux_blocks(cells, CHI, 1 / CHI))
    packed, rng = flux_set([part]), np.random.default_rng(5)
    g, base = len(part.signs), len(part.volume) // len(part.signs)
    beta = (part.signs[:, None] * rng.normal(size=(base, 3))).reshape(-1, 3)
    along, across = (np.tile(rng.uniform(0.01, 0.9, base), g) for _ in range(2))
    none = np.zeros_like(beta)
    at = FluxPoint(np.empty(0), none, none, np.empty(0), np.empty(0), beta, along, across)
    p = rng.normal(size=packed.unknown[-1])
    curved = _curved(packed, APART, beta, along, across, p)
    found = precondition(adapted([part], packed, at).instead(packed), curved)
    assert np.abs(found - p).max() < 1e-3 * np.abs(p).max()
    assert np.abs(precondition(packed, curved) - p).max() > np.abs(p).max()


def test_saturated_parts_take_fewer_products_and_come_to_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # a nut and a ring at a strong pole, 0.1 mm a step; tolerance as in flight
    iron = Material("test iron", 7800.0, MagnetisationCurve(3000.0, 1.5))
    grade = Material("test magnet", 7500.0, remanence=1.34)
    bodies = [
        Body("magnet", Box((0.1, 0.1, 0.05)), grade, np.array([0.0, 0.0, -1.0]), True),
        Body("nut", HexNut(0.019, 0.01, 0.02), iron, None, False),
        Body("ring", Ring(0.03, 0.01, 0.006), iron, None, False),
    ]

    height = -0.0111 + 1e-4 * np.arange(3)
    places = [[[0, 0, 0.025], [-0.045, 0, z], [0.03, 0, -0.004]] for z in height]
    poses = [Pose(np.array(one), np.tile(rotations.IDENTITY, (3, 1))) for one in places]

    def series() -> tuple[np.ndarray, int]:
        found = MagneticModel(bodies, 150, 1e-8).evaluate_many(poses)
        assert found.converged.all()
        return found.force, int(found.products.sum())

    force, products = series()
    monkeypatch.setattr(joint_fluxes, "PATIENCE", joint_fluxes.INNER)
    plain, more = series()
    assert np.abs(force - plain).max() < 1e-5 * np.abs(plain).max()
    assert products < 0.6 * more
