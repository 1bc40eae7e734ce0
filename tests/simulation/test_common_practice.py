"""What people who handle such parts know: common practice, no source."""

from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.magnetics.model import MagneticModel
from snapsim.numerics import rotations
from snapsim.parts.states import Pose

SCENE = Path(__file__).parents[2] / "scenarios" / "gear-blank.toml"
WIDE = ["run.detail=draft", "body.magnet.shape.size=200 x 200 x 50 mm"]


@pytest.fixture(scope="module")
def wide():
    """Model and a function that places the blank: centre (3,) [m] below the pole, tilt [rad]."""
    scene = snapsim.load_scene(SCENE, [*WIDE, "body.magnet.position=0, 0, 25 mm"])
    model = MagneticModel(scene.bodies, scene.detail, tolerance=1e-9)
    start = scene.start.pose

    def place(centre, tilt):
        position, quaternion = start.position.copy(), start.quaternion.copy()
        position[1] = centre
        quaternion[1] = rotations.from_axis_angle([0, 1, 0], tilt)
        return model.evaluate(Pose(position, quaternion))

    return model, place


def mean_polarisation(model, found):
    volume = model.cells[1].volume
    return np.linalg.norm(volume @ found.magnetisation[0]) / volume.sum()


def test_blank_upright_is_magnetised_more_strongly_than_flat_at_the_same_height(wide):
    """Upright its demagnetising factor is about a quarter of the one across its thickness."""
    model, place = wide
    flat, upright = place((0, 0, -0.08), 0.0), place((0, 0, -0.08), np.pi / 2)
    assert mean_polarisation(model, upright) > 2 * mean_polarisation(model, flat)


def test_blank_flat_under_the_centre_is_drawn_to_the_rim_once_off_centre(wide):
    """Flat, 10 mm under the pole: no side force on the axis, outward and growing off it."""
    _, place = wide
    pull = [place((x, 0, -0.02), 0.0).force[1, 0] for x in (0.0, 0.01, 0.02, 0.03)]
    assert pull[0] == pytest.approx(0.0, abs=1e-6)
    assert 0.1 < pull[1] < pull[2] < pull[3]
