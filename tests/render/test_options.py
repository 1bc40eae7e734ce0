"""Choices that cannot be drawn are refused in one line."""

import pytest

from snapsim.errors import InputError
from snapsim.render import Key, Shot, layers_of
from snapsim.render.options import DEFAULT_LAYERS, ClipOptions, check_options


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (ClipOptions(width=1281), "width: is 1281; must be even, as H.264 stores colour for 2 x 2 pixels"),  # noqa: E501
        (ClipOptions(height=719), "height: is 719; must be even, as H.264 stores colour for 2 x 2 pixels"),  # noqa: E501
        (ClipOptions(width=100), "width: is 100; must be 240 to 4096 pixels"),
        (ClipOptions(fps=0), "fps: is 0; must be 1 to 240 frames a second"),
        (ClipOptions(slow_motion=0.5), "slow_motion: is 0.5; must be 1 (off) to 10000 times slower"),  # noqa: E501
        (ClipOptions(slow_motion=float("nan")), "slow_motion: is nan; must be 1 (off) to 10000 times slower"),  # noqa: E501
        (ClipOptions(slow_window=(-1.0, 0.1)), "slow_window: is (-1.0, 0.1); must be two times in seconds, 0 or more"),  # noqa: E501
        (ClipOptions(freeze=0.1), "freeze: is 0.1; must be 0 (none) or 0.5 to 60 seconds"),
        (ClipOptions(workers=0), "workers: is 0; must be 1 to 64 processes"),
        (ClipOptions(align="end"), 'align: is "end"; must be release or impact'),
        (ClipOptions(layers=frozenset({"sparks"})), 'layers: "sparks" is no layer; layers are stage, glow, outlines, words, caution, figures, trail, ghosts, velocity, force, torque, between, magnetisation, section, lines, bare, gap, hands, energy, plot, slope'),  # noqa: E501
        (ClipOptions(shot=Shot("crane")), 'camera: "crane" is no camera; cameras are near, fixed, orbit, follow, close-up, keyframes'),  # noqa: E501
        (ClipOptions(shot=Shot(zoom=2.0)), "zoom: is 2; must be 0.2 to 1, as 1 is the nearest that loses nothing"),  # noqa: E501
        (ClipOptions(shot=Shot("keyframes", keys=(Key(0, 0, 0),))), "key: there are 1 keyframes; a camera of keyframes needs two or more"),  # noqa: E501
        (ClipOptions(shot=Shot("keyframes", keys=(Key(1, 0, 0), Key(0, 9, 9)))), "key 2.at: is 0 s; must be 0.2 s or more after the one before"),  # noqa: E501
        (ClipOptions(replay=Shot(turn=float("inf"))), "turn: is inf; must be -720 to 720 degrees"),
        (ClipOptions(shot=Shot(view=(0.0, 90.0))), "view: is (0.0, 90.0); must be an azimuth and an elevation of -80 to 80 degrees"),  # noqa: E501
    ],
)  # fmt: skip
def test_one_line_names_the_key_the_value_and_what_is_allowed(options, line):
    with pytest.raises(InputError) as caught:
        check_options(options)
    assert str(caught.value) == line


def test_layers_are_added_and_left_out_by_name():
    assert layers_of(["lines"], ["trail"]) == (DEFAULT_LAYERS | {"lines"}) - {"trail"}
    with pytest.raises(InputError, match='layer: "trial" is no layer; did you mean trail'):
        layers_of(["trial"])


def test_the_defaults_are_sound():
    check_options(ClipOptions())
