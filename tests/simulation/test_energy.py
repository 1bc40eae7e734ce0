"""Work done by the magnetic force against the magnetic energy lost (the work-energy theorem)."""

import itertools
from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.magnetics.model import MagneticModel
from snapsim.numerics import rotations
from snapsim.parts.states import Pose

SCENE = Path(__file__).parents[2] / "scenarios" / "gear-blank.toml"
BEFORE_THE_BLOW = 1e-6


def test_work_along_a_path_to_a_gap_of_1_mm_equals_the_energy_lost():
    """Gauss-Legendre quadrature of F.dx + T.dw over a tilting approach; 1e-5 relative.

    The path rises 68 mm while the blank turns from 50 to 88 degrees; 24 panels of 8 points leave
    the solve (1e-10 of the energy) as the largest error.
    """
    scene = snapsim.load_scene(SCENE, ["run.detail=draft"])
    model = MagneticModel(scene.bodies, scene.detail, tolerance=1e-10)
    start = scene.start.pose
    tilt = np.radians([50.0, 88.0])
    half_height = 0.055 * np.sin(tilt[1]) + 0.009 * np.cos(tilt[1])
    rise = np.array([-0.127, -half_height - 1e-3])

    def at(s):
        position, quaternion = start.position.copy(), start.quaternion.copy()
        position[1, 2] = rise[0] + s * (rise[1] - rise[0])
        angle = tilt[0] + s * (tilt[1] - tilt[0])
        quaternion[1] = rotations.from_axis_angle([0, 1, 0], angle)
        return model.evaluate(Pose(position, quaternion))

    nodes, weights = np.polynomial.legendre.leggauss(8)
    panels = 1 - np.geomspace(1, 1e-2, 25)
    panels[-1] = 1.0
    work = 0.0
    for a, b in itertools.pairwise(panels):
        for node, weight in zip(nodes, weights, strict=True):
            found = at(0.5 * (a + b) + 0.5 * (b - a) * node)
            power = found.force[1, 2] * (rise[1] - rise[0])
            power += found.torque[1, 1] * (tilt[1] - tilt[0])
            work += 0.5 * (b - a) * weight * power
    assert work == pytest.approx(at(0.0).energy - at(1.0).energy, rel=1e-5)


def test_gear_blank_energy_is_kept_in_flight_to_the_integrator_tolerance():
    """Until the first blow nothing is lost but to friction of the pivot on the table."""
    run = snapsim.release(snapsim.load_scene(SCENE, ["run.detail=draft"]))
    before = run.time < run.impacts[0].time - BEFORE_THE_BLOW
    total = sum(run.energy.values())[before]
    gained = run.energy["kinetic"][before].max()
    assert np.abs(total - total[0]).max() < 1e-4 * gained


def test_impact_energy_does_not_hang_on_the_integrator():
    """Tolerances ten times tighter move the first impact's energy by less than 0.1 %."""
    from snapsim.mechanics.flight import Tolerances
    from snapsim.mechanics.motion import MotionSettings
    from snapsim.simulation.release import release

    scene = snapsim.load_scene(SCENE, ["run.detail=draft", "run.duration=0.19 s"])
    usual = release(scene).impacts[0].kinetic_energy
    tight = release(
        scene,
        settings=MotionSettings(
            tolerances=Tolerances(1e-9, 1e-10, 1e-9), contact_step=3e-4, load_change=0.006
        ),
    )
    assert tight.impacts[0].kinetic_energy == pytest.approx(usual, rel=1e-3)
