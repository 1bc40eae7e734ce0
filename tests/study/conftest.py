"""Small scenes that run in a fraction of a second."""

import pytest

FALLING = """
title = "A ball falls on a table"
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "20 mm" }
material = "aluminium"
position = "0, 0, 30 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "200 x 200 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[contact]
restitution = 0.5
[run]
duration = "0.08 s"
detail = "draft"
"""

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
