"""What must hold of the release of every random scene."""

from dataclasses import replace

import numpy as np
import pytest
from random_scenes import random_scene

from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.ending import EndReason
from snapsim.parts.states import Pose
from snapsim.run.release import release
from snapsim.run.steps import STEPS

DEEPEST = 1e-6
"""Penetration [m] allowed at any frame: the touching gap, twice what the motion pushes out to."""

UNACCOUNTED = 1e-3
"""Unaccounted share of the largest energy turned over so far: the larger of the greatest potential
energy (magnetic and of gravity) released and the greatest kinetic energy met.

The most that was seen is 7e-4, in scenes 96, 124 and 170: magnets that rattle against each other
for half a second, where rounding decides what comes after. Started 1e-13 m elsewhere, five times
each, they came to 1.9e-4 to 5.0e-4, 2.5e-4 to 7.3e-4 and 4.0e-4 to 6.2e-4: in 170 two fifths of it
by the field's interpolation, else the work of pressed contacts, which grows with the rattle's
length. A run over the bound is a failure here, as it is for its reader.
"""

KNOWN_LOOSE = {50}
"""Scenes that may come over the bound, where the program must say that the run is untrusted.

50: three magnets and a nut that press on each other. Its path is chaotic: versions that differ by
roundings and in the cells of one part came to 4.3e-4 to 1.6e-3, the present one to 2.6e-4. Measured
against energies solved at every step's ends there, flights are off by 1e-8 J of the 0.83 J turned
over, each step of contact by 5e-5 J or less; their sum has 2.2e-4 J at most and 2e-5 J in the end.
Seven tenths, without sign, lie in steps that follow a blow. The field's forces are its
energy's slopes to what can be seen, so it is the steps' own error: to be mended there, not by a
wider bound.
"""

MOST_STEPS = 15000
"""Steps after which a scene counts as hung: some twenty times what the median scene takes."""

LONG = (50, 96)
"""Even seeds whose scenes take 40 s and more."""

LEGITIMATE_STOPS = (EndReason.JOINT_BLOCKED, EndReason.LEFT_SCENE)
"""A clamp that presses a part against another, and a body that has left the stage."""


def seeds(first, last):
    """The seeds from first to last - 1 as parameters: even ones in CI but those that take 40 s, all
    with `--longer`."""
    left = [k % 2 == 1 or k in LONG for k in range(first, last)]
    return [
        pytest.param(k, marks=[pytest.mark.longer] if longer else [])
        for k, longer in enumerate(left, first)
    ]


def check(seed):
    """Release the scene of a seed and look at everything that comes back."""
    scene = random_scene(seed)
    run = release(scene.system, settings=replace(STEPS, limit=MOST_STEPS), meshes=scene.meshes)
    if run.outcome == "stopped":
        assert run.reason in LEGITIMATE_STOPS, run.reason
    for values in (run.position, run.quaternion, run.velocity, run.spin, run.force, run.torque):
        assert np.all(np.isfinite(values))
    for load in run.loads.values():
        assert np.isfinite(load.peak_force)
    geometry = ContactGeometry(scene.system.bodies, scene.system.surfaces)
    poses = (Pose(*both) for both in zip(run.position, run.quaternion, strict=False))
    deepest = min(geometry.gaps(pose).min(initial=np.inf) for pose in poses)
    assert deepest > -DEEPEST
    scale = run.audit.unaccounted / max(run.audit.unaccounted_fraction, 1e-300)
    if seed not in KNOWN_LOOSE or run.outcome != "untrusted":
        assert run.audit.unaccounted_fraction < UNACCOUNTED, f"of {scale:.3g} J"
    assert run.audit.event_gain <= UNACCOUNTED * scale
