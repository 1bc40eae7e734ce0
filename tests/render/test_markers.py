"""Markers and passes for an editor: read back by another library, at the events' own frames."""

import dataclasses
from fractions import Fraction

import numpy as np
import opentimelineio as otio
import pytest
from PIL import Image

from snapsim.errors import InputError
from snapsim.render import ClipOptions, write_markers
from snapsim.render.events import find_events
from snapsim.render.passes import PASSES, render_passes
from snapsim.render.show import plan


@pytest.mark.parametrize("rate", [30, Fraction(30000, 1001)])
def test_markers_read_back_at_the_events_own_frames(trajectory, tmp_path, rate):
    options = ClipOptions(fps=rate)
    path = write_markers(trajectory, tmp_path / "film.mov", options)
    read = otio.adapters.read_from_file(str(path))
    (clip,) = read.find_clips()
    line, _ = plan((trajectory,), options)
    assert clip.media_reference.target_url == "film.mov"
    assert clip.source_range.duration.value == len(line.frame_times(rate))
    kinds = [m.name for m in clip.markers]
    events = find_events(trajectory)
    assert set(kinds) == {str(e.kind) for e in events}
    assert kinds.count("impact") == 2  # in real time, and slow
    for marker in clip.markers:
        told = marker.metadata["snapsim"]["run_time_s"]
        start = marker.marked_range.start_time
        assert start.rate == pytest.approx(float(rate))
        if told == 0:  # on a cut: what comes before is another telling
            assert line.sim_at((start.value + 1) / float(rate)) <= 2 / float(rate)
            continue
        near = [line.sim_at((start.value + k) / float(rate)) for k in (-1, 1)]
        assert near[0] - 1e-6 <= told <= near[1] + 1e-6
    struck = next(m for m in clip.markers if m.name == "impact")
    assert f"{trajectory.impacts[0].closing_speed:.2f} m/s" in struck.metadata["snapsim"]["words"]


def test_passes_are_see_through_and_named_by_scene_pass_shot_and_frame(
    trajectory, tmp_path, drawing
):
    options = ClipOptions(240, 240, fps=2, supersample=False, cards=False, replay=None)
    made = render_passes(trajectory, tmp_path / "all", options, ("clean", "part", "words"))
    assert [folder.name for folder in made] == ["clean", "part", "words"]
    files = [sorted(folder.iterdir()) for folder in made]
    scene = "cast-iron-blank-leaps-to-a-block-magnet-"
    assert files[0][3].name.startswith(scene[:30])
    assert files[0][3].name.endswith(".clean.01.000003.png")
    alphas = [np.asarray(Image.open(f[3]).convert("RGBA"))[..., 3] for f in files]
    clean, part, words = ((a > 128).sum() for a in alphas)
    assert 0 < part < clean  # the clean pass has the magnet and the table besides
    assert 0 < words < 0.2 * 240 * 240
    assert all(a[0, 0] == 0 for a in alphas)


def test_an_unknown_pass_is_refused(trajectory, tmp_path):
    with pytest.raises(InputError, match=f'"glow" is no pass; allowed: {", ".join(PASSES)}'):
        render_passes(trajectory, tmp_path / "x", ClipOptions(), ("glow",))
    assert not (tmp_path / "x").exists()


def test_bodies_that_cannot_be_drawn_are_refused(trajectory):
    from snapsim.render.options import check_options

    with pytest.raises(InputError, match="bodies: is"):
        check_options(dataclasses.replace(ClipOptions(), bodies="some"))
