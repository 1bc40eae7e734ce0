"""Linear and saturating spheroids in a uniform field against Osborn's demagnetising factors.

Osborn, Phys. Rev. 67, 351 (1945) (formulas from memory, values by two forms that agree to 1e-10).
The cells are those of a ball, drawn out by an affine map: volumes stay exact, the surface is a
polyhedron inscribed in part and drawn larger, as the ball's is.
"""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.cells import extrapolated, refinement_pair
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.model import MagneticModel
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Sphere
from snapsim.parts.states import Pose

PLACED = Pose(np.zeros((1, 3)), np.array([[1.0, 0.0, 0.0, 0.0]]))


def spheroid(ball: CellMesh, ratio: float) -> CellMesh:
    """The mesh of a ball drawn out along z."""
    stretch = np.array([1.0, 1.0, ratio])
    return replace(
        ball,
        corners=ball.corners * stretch,
        volume=ball.volume * ratio,
        centre=ball.centre * stretch,
        points=ball.points * stretch,
    )


def mean_magnetisation(mesh: CellMesh, curve: MagnetisationCurve, field: Array) -> Array:
    """<M> (3,) [A/m] in a uniform field (3,) [A/m]."""
    body = Body("part", Sphere(1.0), Material("iron", 7800.0, curve=curve), None, False)
    model = MagneticModel([body], tolerance=1e-10, background=field, meshes={0: mesh})
    (m,) = model.evaluate(PLACED).magnetisation
    return mesh.volume @ m / mesh.volume.sum()


@pytest.mark.parametrize("chi", [9.0, 999.0])
@pytest.mark.parametrize(
    ("ratio", "along", "across"),
    [
        pytest.param(2.0, 0.1735639975, 0.4132180012, marks=pytest.mark.slow),
        (3.0, 0.1087094651, 0.4456452675),
        pytest.param(1 / 2, 0.5272002826, 0.2363998587, marks=pytest.mark.slow),
        (1 / 3, 0.6353888899, 0.1823055551),
    ],
)
def test_linear_spheroids_are_magnetised_as_by_osborn(
    ratio: float, along: float, across: float, chi: float
) -> None:
    # 160 and 1 280 cells leave 0.01 %
    found = [
        mean_magnetisation(spheroid(ball, ratio), MagnetisationCurve(chi), np.ones(3))
        for ball in refinement_pair(Sphere(1.0), "normal")
    ]
    exact = [1 / (n + 1 / chi) for n in (across, across, along)]
    np.testing.assert_allclose(extrapolated(*found), exact, rtol=3e-4)


# H + N M(H) = H0 (Stoner, Phil. Mag. 36, 803 (1945)) of a prolate 3:1 spheroid, chi = 1000, M_s =
# 1.7e6 A/m, N = 0.1087094651; roots to 1e-12.
@pytest.mark.parametrize(
    ("applied", "magnetisation"), [(1e5, 902198.754), (3e5, 1675820.44), (3e6, 1698974.09)]
)
def test_a_saturating_spheroid_is_magnetised_alike_everywhere(
    applied: float, magnetisation: float
) -> None:
    curve = MagnetisationCurve(1000.0, 1.7e6 * MU_0)
    field = np.array([0.0, 0.0, applied])
    found = [
        mean_magnetisation(spheroid(ball, 3.0), curve, field)
        for ball in refinement_pair(Sphere(1.0), "normal")
    ]
    assert extrapolated(*found)[2] == pytest.approx(magnetisation, rel=3e-4)
