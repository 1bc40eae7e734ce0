"""Sizes and speeds are bounded, each refusal names the key and what is allowed."""

import pytest

from snapsim.errors import InputError
from snapsim.scenario.loading import scene_from_text

SCENE = """
title = "a ball over a plate"
[[body]]
name = "ball"
shape = {{ kind = "sphere", diameter = "{ball}" }}
material = "bearing steel"
position = "0, 0, {height}"
velocity = "{speed}, 0, 0 m/s"
spin = "0, {spin}, 0 rad/s"
[[body]]
name = "plate"
shape = {{ kind = "box", size = "{plate} x 1 m x 10 mm" }}
material = "oak"
position = "0, 0, -1 m"
fixed = true
[run]
duration = "1 s"
"""
AT_MOST = {"ball": "20 um", "height": "1 km", "speed": "1000", "spin": "0", "plate": "20 m"}
GIVEN = {"ball": "10 mm", "height": "1 m", "speed": "0", "spin": "0", "plate": "2 m"}


def test_what_is_just_allowed_is_read():
    assert scene_from_text(SCENE.format(**AT_MOST), "s.toml").bodies[0].mass > 0
    assert scene_from_text(SCENE.format(**GIVEN | {"spin": "1e5"}), "s.toml").bodies[0].mass > 0


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("ball", "19 um", r"body.ball.shape: is 1.9e-05 m thick; allowed are 2e-05 to 100"),
        ("ball", "1e-9 m", r"body.ball.shape: is 1e-09 m thick; allowed are 2e-05 to 100"),
        ("plate", "101 m", r"body.plate.shape: is 101 m long; allowed are 2e-05 to 100"),
        ("height", "1001 m", r"body.ball.position: is 1e\+03 m from the origin; allowed are 0 to"),
        ("speed", "1e6", r"body.ball.velocity: is 1e\+06 m/s fast; allowed are 0 to 1000"),
        ("spin", "1e6", r"body.ball.spin: is 8.66e\+03 m/s fast at its rim; allowed are 0 to 1000"),
    ],
)
def test_what_is_out_of_bounds_is_refused_in_one_line(key, value, said):
    with pytest.raises(InputError, match=f"s.toml: {said}"):
        scene_from_text(SCENE.format(**GIVEN | {key: value}), "s.toml")


def test_a_scene_of_too_unlike_sizes_is_refused():
    unlike = GIVEN | {"ball": "20 um", "plate": "99 m"}
    with pytest.raises(InputError, match='thinner than "plate" is long; allowed are 1e\\+06 times'):
        scene_from_text(SCENE.format(**unlike), "s.toml")
