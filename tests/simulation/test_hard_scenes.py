"""Scenes drawn at random that once went wrong, kept whole: the file's title says how."""

from dataclasses import replace
from pathlib import Path

import pytest
from random_audit import DEEPEST, UNACCOUNTED

from snapsim.mechanics.contact import ContactGeometry
from snapsim.parts.states import Pose
from snapsim.run.release import release
from snapsim.run.steps import STEPS
from snapsim.scenario.loading import load_scene

SCENES = sorted((Path(__file__).parent / "hard_scenes").glob("*.toml"))

MOST_STEPS = 5000
"""Ten times what the longest of them takes."""


@pytest.mark.parametrize("scene", SCENES, ids=lambda path: path.stem)
def test_a_scene_that_once_failed_ends_whole(scene):
    system = load_scene(scene)
    run = release(system, settings=replace(STEPS, limit=MOST_STEPS))
    assert run.outcome in ("moving", "settled"), run.reason
    assert run.audit.unaccounted_fraction < UNACCOUNTED
    geometry = ContactGeometry(system.bodies, system.surfaces)
    poses = (Pose(*both) for both in zip(run.position, run.quaternion, strict=True))
    assert min(geometry.gaps(pose).min() for pose in poses) > -DEEPEST
