"""A trajectory of invented numbers: every digit set, nothing physical about it."""

import json

import numpy as np
import pytest

from snapsim.mechanics.ending import EndReason, Parting, ended
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.trajectory import Audit, Cells, Cost, Impact, Load, Trajectory

SCENE = """
title = "Invented numbers"

[[body]]
name = {magnet}
shape = {{ kind = "box", size = "60 x 60 x 30 mm" }}
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 15 mm"
fixed = true

[[body]]
name = {part}
shape = {{ kind = "sphere", diameter = "20 mm" }}
material = "low-carbon steel"
position = "0, 0, -60 mm"
"""


def make(magnet="magnet", part="ball", frames=50, cells=30, impacts=2, wall=1.25):
    """An invented trajectory; the same each time but for `wall`."""
    random = np.random.default_rng(3)
    written = (json.dumps(name, ensure_ascii=False) for name in (magnet, part))
    text = SCENE.format(**dict(zip(("magnet", "part"), written, strict=True)))
    system = scene_from_text(text, "scene.toml")

    def numbers(*shape):
        return random.normal(size=shape)

    def impact(time):
        return Impact(
            time,
            part,
            magnet,
            numbers(3),
            numbers(3),
            *(float(v) for v in random.random(5)),
            (float("nan"), 3.5e4),
            float(random.random()),
            (float("nan"), 2.5e8),
            7.5e7,
        )

    return Trajectory(
        system=system,
        ending=ended(EndReason.AT_REST),
        time=np.cumsum(random.random(frames)),
        position=numbers(frames, 2, 3),
        quaternion=numbers(frames, 2, 4),
        velocity=numbers(frames, 2, 3),
        spin=numbers(frames, 2, 3),
        force=numbers(frames, 2, 3),
        torque=numbers(frames, 2, 3),
        energy={k: numbers(frames) for k in ("kinetic", "gravity", "magnetic", "dissipated")},
        gap=numbers(frames),
        cells={part: Cells(numbers(cells, 3), random.random(cells))},
        magnetisation={part: numbers(frames, cells, 3)},
        impacts=tuple(impact(0.1 * i) for i in range(impacts)),
        loads={
            magnet: Load(12.5, 0.25, 0.5, 0.26, 11.0, 0.4),
            "string": Load(9.0, 0.1, 0.0, 0.0, 8.0, 0.0, 0.3, Parting.FORCE_LIMIT),
        },
        audit=Audit(*(float(v) for v in random.random(13))),
        cost=Cost(461, 77, wall),
        accuracy={"detail": "normal", "solver_bound_J": 1.5e-9},
        work={"field": numbers(frames), "hold": numbers(frames)},
    )


@pytest.fixture
def make_run():
    """Factory of invented trajectories."""
    return make


@pytest.fixture
def run():
    """One invented trajectory."""
    return make()
