"""What is no number is refused by name and time; half a picture would pass for a whole one."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.render import ClipOptions, render_clip, render_still
from snapsim.render.options import layers_of


def spoilt(run, name, value):
    if name == "magnetisation":
        field = {part: m.copy() for part, m in run.magnetisation.items()}
        field["blank"][40, 3] = value
        return replace(run, magnetisation=field)
    values = getattr(run, name).copy()
    values[40, 1] = value
    return replace(run, **{name: values})


@pytest.mark.parametrize("name", ["position", "quaternion", "velocity", "magnetisation"])
@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_a_run_with_a_value_that_is_no_number_is_refused_by_name_and_time(
    trajectory, drawing, tmp_path, name, value
):
    bad = spoilt(trajectory, name, value)
    for draw in (
        lambda: render_clip(bad, tmp_path / "a.mp4"),
        lambda: render_still(bad, 0.1, tmp_path / "a.png"),
    ):
        with pytest.raises(InputError, match=f"{name} of blank is not a finite number at 0.12 s"):
            draw()
    assert not list(tmp_path.iterdir())


def test_magnetisation_that_is_not_drawn_need_not_be_known(trajectory, drawing, tmp_path):
    options = ClipOptions(320, 240, layers=layers_of(hidden=["glow"]))
    render_still(spoilt(trajectory, "magnetisation", np.nan), 0.1, tmp_path / "a.png", options)
