"""Opacity from two renderings, and what the picture stands at when it strikes."""

import itertools

import numpy as np
import pytest
from PIL import Image

from snapsim.render import ClipOptions, layers_of, palette, timeline
from snapsim.render.interpolation import sample
from snapsim.render.job import ClipJob
from snapsim.render.picture import matte
from snapsim.render.show import Show, pane_size, plan

SMALL = ClipOptions(width=320, height=240, supersample=False)


@pytest.mark.parametrize("alpha", [0, 3, 40, 128, 254, 255])
def test_matte_gives_back_colour_and_opacity_of_what_was_laid_over_black_and_white(alpha):
    """8-bit rounding of either rendering leaves opacity within 1, and colour within 255/alpha."""
    colour = np.array([200, 40, 120])
    a = alpha / 255
    over = [np.round(a * colour + (1 - a) * back).astype(np.uint8) for back in (0, 255)]
    found = matte(*(np.tile(o, (2, 2, 1)) for o in over))
    assert abs(int(found[0, 0, 3]) - alpha) <= 1
    if alpha >= 40:
        assert np.abs(found[0, 0, :3] - colour).max() <= 255 / alpha + 1


def test_without_its_stage_a_frame_is_see_through_but_for_parts_shadow_and_words(
    trajectory, drawing
):
    options = ClipOptions(**{**vars(SMALL), "layers": layers_of([], ["stage"])})
    with Show(ClipJob((trajectory,), options, alpha=True)) as show:
        frame = show.still(0.1)
    assert frame.mode == "RGBA"
    opacity = np.asarray(frame)[..., 3]
    assert (opacity == 0).mean() > 0.1  # beside the scene there is nothing
    assert (opacity == 255).mean() > 0.05
    with Show(
        ClipJob((trajectory,), options)
    ) as show:  # a format without opacity gets a dark ground
        flat = show.still(0.1)
    assert flat.mode == "RGB"
    dark = Image.new("RGB", frame.size, palette.BACKDROP_LOW)
    dark.paste(frame, (0, 0), frame)
    assert np.array_equal(np.asarray(dark), np.asarray(flat))


def test_the_freeze_shows_the_run_as_it_strikes_not_the_rebound(trajectory, drawing):
    """Two stored frames share the blow's time: 60 just before it, 61 just after."""
    blow = trajectory.impacts[0].time
    with Show(ClipJob((trajectory,), SMALL)) as show:
        now = show._panes[0]._as_it_strikes(blow)
    struck = sample(trajectory, now)
    assert struck.velocity == pytest.approx(trajectory.velocity[60], rel=1e-6)
    assert not np.allclose(trajectory.velocity[60], trajectory.velocity[61])


def test_runs_in_step_at_impact_strike_at_the_same_clip_time(trajectory):
    late = type(trajectory)(**{**vars(trajectory), "time": trajectory.time + 0.1})
    late = type(late)(
        **{
            **vars(late),
            "impacts": (type(late.impacts[0])(**{**vars(late.impacts[0]), "time": 0.28}),),
        }
    )
    options = ClipOptions(align="impact")
    line, lags = plan((trajectory, late), options)
    assert lags == pytest.approx([0.1, 0.0])
    freeze = next(p for p in line.pieces if p.kind == "freeze")
    assert [freeze.sim - lag for lag in lags] == pytest.approx([0.18, 0.28])
    _, lags = plan((trajectory, late), ClipOptions())
    assert lags == [0.0, 0.0]


@pytest.mark.parametrize(("size", "count"), [((1280, 720), 2), ((1920, 1080), 3), ((720, 1280), 2)])
def test_panes_fill_the_picture_without_overlap(size, count):
    w, h = pane_size(size, count)
    across = size[0] >= size[1]
    assert count * (w if across else h) <= (size[0] if across else size[1])
    assert (h if across else w) == (size[1] if across else size[0])
    assert count * (w if across else h) > 0.97 * (size[0] if across else size[1])


def test_a_clip_tells_title_freeze_replay_and_caution_in_this_order():
    line = timeline.build(1.0, 0.4, 10.0, None, timeline.Extras(2.6, 1.6, True, 3.6))
    kinds = [p.kind for p in line.pieces]
    assert kinds[:2] == ["title", "release"]
    assert kinds[-1] == "card"
    assert kinds.count("freeze") == 2
    assert kinds.index("freeze") < kinds.index("replay")
    again = [p for p in line.pieces if p.shot == 1]
    assert {p.kind for p in again} == {"replay", "freeze", "end"}
    for a, b in itertools.pairwise(again):
        assert b.sim == pytest.approx(a.sim_at(a.until))
    assert line.veil_at(line.cuts[0]) == 1
    assert line.veil_at(line.cuts[0] + timeline.VEIL) == pytest.approx(0, abs=1e-12)
