"""A cylinder magnet and a wide thick iron plate: toward the force of its mirror image.

On a half space of infinite permeability a magnet is pulled as by its mirror image at twice the gap:
Jackson, 3rd ed., section 5.9 ff., images (from memory). Force between equal coaxial cylinders at
that gap by Vokoun et al., J. Magn. Magn. Mater. 321, 3758 (2009), evaluated by two methods that
agree to the digits printed. A plate of finite size and mu pulls less.
"""

import numpy as np
import pytest

from snapsim.magnetics.cells import extrapolated, refinement_pair
from snapsim.magnetics.model import MagneticModel
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Cylinder
from snapsim.parts.states import Pose

DIAMETER, LENGTH = 0.02, 0.01
MAGNET = Body(
    "magnet",
    Cylinder(DIAMETER, LENGTH),
    Material("grade", 7500.0, remanence=1.3),
    np.array([0.0, 0.0, 1.0]),
    True,
)
IRON = Material("iron", 7800.0, MagnetisationCurve(1e5))
IMAGE = {0.01: 5.530419, 0.005: 19.68592}
"""Force [N] by gap [m] on the half space."""


def pull(width: float, gap: float, detail: int) -> float:
    """Force [N] toward a round plate `width` wide and a quarter as thick, from two meshes."""
    thickness = width / 4
    plate = Body("plate", Cylinder(width, thickness), IRON, None, True)
    place = np.array([[0, 0, gap + LENGTH / 2], [0, 0, -thickness / 2]])
    pose = Pose(place, np.tile([1.0, 0, 0, 0], (2, 1)))
    forces = []
    for cells in refinement_pair(plate.shape, detail):
        model = MagneticModel([MAGNET, plate], tolerance=1e-9, meshes={1: cells})
        forces.append(-model.evaluate(pose).force[0, 2])
    return float(extrapolated(*forces))


def test_the_pull_rises_toward_the_mirror_magnets_as_the_plate_grows() -> None:
    found = [pull(k * DIAMETER, 0.01, 1000) / IMAGE[0.01] for k in (1, 2, 4)]
    assert found[0] < found[1] < found[2] < 1.003


@pytest.mark.slow
@pytest.mark.parametrize("gap", sorted(IMAGE))
def test_a_plate_five_magnets_wide_pulls_as_the_mirror_magnet(gap: float) -> None:
    # what the plate misses beyond its rim, and cells of 4 to 5 mm in its middle
    assert pull(5 * DIAMETER, gap, 3000) == pytest.approx(IMAGE[gap], rel=0.02)
