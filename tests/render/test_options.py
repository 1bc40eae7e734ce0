"""Choices that cannot be drawn are refused in one line."""

import pytest

from snapsim.errors import InputError
from snapsim.render.options import ClipOptions, check_options


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
        (ClipOptions(view=(0.0, 90.0)), "view: is (0.0, 90.0); must be an azimuth and an elevation of -80 to 80 degrees"),  # noqa: E501
    ],
)  # fmt: skip
def test_one_line_names_the_key_the_value_and_what_is_allowed(options, line):
    with pytest.raises(InputError) as caught:
        check_options(options)
    assert str(caught.value) == line


def test_the_defaults_are_sound():
    check_options(ClipOptions())
