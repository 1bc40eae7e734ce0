"""What is told at once of a pull's error is never less than what two meshes tell of it."""

from __future__ import annotations

import numpy as np
import pytest

from snapsim.page.figures import probe
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.system import System

SCENE = """
title = "Two steel parts beside each other under a block magnet (invented)"
[[body]]
name = "magnet"
shape = {{ kind = "box", size = "80 x 60 x 30 mm" }}
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 15 mm"
fixed = true
[[body]]
name = "one"
shape = {shape}
material = "low-carbon steel"
position = "{x} mm, 0, {z} mm"
[[body]]
name = "other"
shape = {shape}
material = "low-carbon steel"
position = "{right} mm, 0, {z} mm"
[run]
duration = "1 ms"
detail = "draft"
"""
SHAPES = (
    '{ kind = "cylinder", diameter = "40 mm", length = "12 mm" }',
    '{ kind = "sphere", diameter = "40 mm" }',
)


def beside(shape: str, gap: float, x: float = 0.0, z: float = -70.0) -> System:
    text = SCENE.format(shape=shape, x=x, z=z, right=x + 40 + gap)
    return scene_from_text(text, "beside.toml", [])


@pytest.mark.parametrize(
    "seed", [*range(3), *(pytest.param(k, marks=pytest.mark.longer) for k in range(3, 24))]
)
def test_beside_other_iron_a_share_is_told_only_where_it_covers_that_of_two_meshes(
    seed: int,
) -> None:
    draw = np.random.default_rng(seed)
    shape = SHAPES[seed % 2]
    gap = float(10 ** draw.uniform(-1.5, 1.5)) * (seed % 3 > 0)
    scene = beside(shape, gap, draw.uniform(-60, 20), draw.uniform(-120, -45))
    made = probe(scene, 1, "draft")
    assert made.landscape is not None
    told = made.figures(made.landscape.start)
    if told["close_to"] is None:
        assert told["force_low_by_up_to"] >= PoseAccuracy(scene).at(scene.start.pose).low_by(1)
    else:
        assert (told["close_to"], told["force_low_by_up_to"]) == ("other", None)
        assert gap < 20


def test_touching_parts_are_never_given_a_share_nor_parts_far_apart_denied_one() -> None:
    for gap, near in ((0.0, "other"), (3.0, "other"), (40.0, None)):
        made = probe(beside(SHAPES[0], gap), 1, "draft")
        assert made.landscape is not None
        told = made.figures(made.landscape.start)
        assert told["close_to"] == near
        assert (told["force_low_by_up_to"] is None) == (near is not None)


def test_a_magnet_that_is_moved_has_the_share_of_the_iron_that_draws_it() -> None:
    free = SCENE.replace("fixed = true\n", "").format(shape=SHAPES[0], x=0, z=-70, right=80)
    made = probe(scene_from_text(free, "free.toml", []), 0, "draft")
    assert made.landscape is not None
    assert made.figures(made.landscape.start)["force_low_by_up_to"] >= 0.05
