"""How finely a motion is stepped follows from its detail, its tolerance and its parts' size."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import snapsim
from snapsim.errors import InputError
from snapsim.numerics import rotations
from snapsim.run.release import release
from snapsim.run.steps import steps_of

SCENE = """
title = "A block that tumbles about its middle axis"
gravity = "0, 0, 0 m/s^2"

[[body]]
name = "block"
shape = { kind = "box", size = "100 x 60 x 20 mm" }
material = "oak"
position = "0, 0, 0 m"
spin = "0.1, 20, 0.05 rad/s"

[run]
duration = "1.5 s"
"""


@pytest.fixture
def tumble(tmp_path):
    def load(*changes):
        path = tmp_path / "tumble.toml"
        path.write_text(SCENE)
        return snapsim.load_scene(path, list(changes))

    return load


def turned(system):
    """The block's quaternion at the end: Euler's equations (Goldstein, Poole & Safko, Classical
    Mechanics, 3rd ed., eqs. 5.39') in body axes, by scipy to 1e-13."""
    inertia = np.diag(system.bodies[0].inertia)

    def rate(_time, y):
        spin = y[4:]
        half = rotations.multiply(y[:4], np.array([0.0, *spin])) / 2
        return np.concatenate([half, -np.cross(spin, inertia * spin) / inertia])

    begin = [1.0, 0, 0, 0, 0.1, 20.0, 0.05]
    found = solve_ivp(rate, (0, 1.5), begin, "DOP853", rtol=1e-13, atol=1e-14)
    return rotations.normalise(found.y[:4, -1])


def off(system):
    """Angle [rad] by which the release ends turned otherwise."""
    end = release(system).quaternion[-1, 0]
    return 2 * np.arccos(min(1.0, abs(end @ turned(system))))


def test_each_detail_turns_the_block_far_closer_to_where_it_belongs(tumble):
    """The turn about the middle axis is unstable: errors grow a thousandfold in a half turn, so the
    bounds are what was measured with 3 to spare."""
    draft, normal, fine = (off(tumble(f'run.detail="{d}"')) for d in ("draft", "normal", "fine"))
    assert draft > 0.1
    assert normal < 6e-3
    assert fine < 1e-4


def test_a_tolerance_goes_before_the_detail(tumble):
    given = ('run.detail="draft"', "run.tolerance=1e-11")
    assert off(tumble(*given)) < 1e-5
    loose = steps_of(tumble('run.detail="fine"', "run.tolerance=1e-5")).tolerances
    assert (loose.relative, loose.of_loads) == (1e-5, 1e-5)


@pytest.mark.parametrize("value", ["0", "1e-13", "0.01", "-1e-6"])
def test_a_tolerance_that_cannot_be_kept_is_refused(tumble, value):
    with pytest.raises(InputError, match="1e-12 to 0.001"):
        tumble(f"run.tolerance={value}")


def test_a_small_part_flies_as_closely_for_its_size(tumble):
    small = tumble('body.block.shape.size="2 x 1.2 x 0.4 mm"')
    bound = steps_of(small).tolerances
    assert bound.length < 0.2 * steps_of(tumble()).tolerances.length


def test_with_a_field_the_detail_leaves_its_loads_as_they_are():
    scene = snapsim.load_scene("scenarios/gear-blank.toml")
    bounds = steps_of(scene).tolerances
    assert (bounds.relative, bounds.of_loads) == (1e-8, 1e-6)
    asked = steps_of(replace(scene, tolerance=1e-8)).tolerances
    assert asked.of_loads == 1e-8
