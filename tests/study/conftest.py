"""Small scenes that run in a fraction of a second."""

from pathlib import Path

import pytest

SCENES = Path(__file__).parents[1] / "scenes"
FALLING = (SCENES / "falling.toml").read_text().replace("0.1 s", "0.08 s")

MAGNETS = """
title = "A small magnet flies at a fixed one"
gravity = "0, 0, 0 m/s^2"
[[body]]
name = "magnet"
shape = { kind = "box", size = "20 x 20 x 20 mm" }
material = "NdFeB N45"
magnetised = "+z"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "flyer"
shape = { kind = "box", size = "10 x 10 x 10 mm" }
material = "NdFeB N45"
magnetised = "+z"
position = "0, 0, 45 mm"
[contact]
restitution = 0.1
[run]
duration = "0.2 s"
detail = "draft"
"""


@pytest.fixture(scope="session")
def falling():
    """A ball on a table: no magnet in it."""
    return FALLING


@pytest.fixture(scope="session")
def magnets():
    """Two magnets that meet within the run."""
    return MAGNETS
