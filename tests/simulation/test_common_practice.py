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


RADIUS, HALF = 0.055, 0.009  # of the blank


def on_its_rim(x, angle, gap):
    """Centre (3,) of a blank whose rim is `gap` under the pole at `x`, at `angle` from flat."""
    rise = RADIUS * np.sin(angle) + HALF * np.cos(angle)
    return np.array([x + RADIUS * np.cos(angle) - HALF * np.sin(angle), 0.0, -gap - rise])


def turning(scene, model, place, x, angle):
    """Torque about the rim's contact [N m], weight included: positive sets the blank on edge."""
    gap = 1e-3
    centre = on_its_rim(x, angle, gap)
    found = place(centre, angle)
    force = found.force[1] + np.array([0, 0, -9.80665 * scene.bodies[1].mass])
    return float(found.torque[1, 1] + np.cross(centre - [x, 0, -gap], force)[1])


@pytest.fixture(scope="module")
def pole():
    """The same under a magnet 300 mm wide: turning(x, degrees from flat)."""
    scene = snapsim.load_scene(
        SCENE,
        [
            "run.detail=draft",
            "body.magnet.shape.size=300 x 300 x 60 mm",
            "body.magnet.position=0, 0, 30 mm",
        ],
    )
    model = MagneticModel(scene.bodies, scene.detail, tolerance=1e-9)
    start = scene.start.pose

    def place(centre, tilt):
        position, quaternion = start.position.copy(), start.quaternion.copy()
        position[1] = centre
        quaternion[1] = rotations.from_axis_angle([0, 1, 0], tilt)
        return model.evaluate(Pose(position, quaternion))

    return lambda x, degrees: turning(scene, model, place, x, np.radians(degrees))


@pytest.mark.parametrize("degrees", [2, 10, 30, 60, 85])
def test_under_the_middle_of_a_very_wide_pole_a_part_does_not_stay_flat(pole, degrees):
    """Common practice, no source: a struck part may end flat near the rim, not under the middle.

    Turned about the rim that touches, from nearly flat to nearly on edge, it is set on edge.
    """
    assert pole(0.0, degrees) > 1.0


@pytest.mark.parametrize("degrees", [2, 10, 30, 60, 80])
def test_at_the_rim_of_the_pole_it_is_laid_flat(pole, degrees):
    """Reaching inward from the pole's rim, the same part is laid flat from every angle."""
    assert pole(-0.15, degrees) < -0.1


def test_a_part_on_edge_has_to_be_leaned_over_far_before_it_snaps_flat(wide):
    """Common practice, no source: the way back from on edge leads past a surprisingly large angle.

    Under the middle of a pole 200 mm wide it still returns when leaned over by 45 degrees.
    """
    model, place = wide
    scene = snapsim.load_scene(SCENE)
    lean = {a: turning(scene, model, place, 0.0, np.radians(90 - a)) for a in (5, 20, 45, 70)}
    assert min(lean[5], lean[20], lean[45]) > 0
    assert lean[70] < 0


@pytest.mark.parametrize(("x", "degrees", "ends"), [(0.0, 80.0, "on edge"), (-0.1, 45.0, "flat")])
def test_let_go_it_goes_where_the_torque_leads(x, degrees, ends):
    """Pulled 10 degrees aside under the middle it comes back on edge; at the rim it ends flat.

    Common practice, no source.
    """
    centre = on_its_rim(x, np.radians(degrees), 5e-5)
    scene = snapsim.load_scene(
        SCENE,
        [
            *WIDE,
            "body.magnet.position=0, 0, 25 mm",
            f"body.blank.position={', '.join(f'{1e3 * c:.6f}' for c in centre)} mm",
            f"body.blank.rotation.angle={degrees} deg",
            "body.table.position=0, 0, -400 mm",
            "contact.restitution=0",
            "run.duration=0.4 s",
        ],
    )
    run = snapsim.release(scene)
    assert {i.against for i in run.impacts} <= {"magnet"}
    q = run.quaternion[-1, 1]
    upright = abs(rotations.rotate(q, np.array([0.0, 0.0, 1.0]))[2])
    if ends == "flat":
        assert run.outcome == "settled"
        assert upright == pytest.approx(1.0, abs=1e-6)
    else:
        axis = rotations.rotate(run.quaternion[:, 1], np.array([0.0, 0.0, 1.0]))
        lean = np.degrees(np.arcsin(np.abs(axis[:, 2])))
        assert lean.max() < 20  # it rocks past the middle, and less and less
        assert lean[run.time > 0.25].max() < 12
        assert lean.min() < 1
