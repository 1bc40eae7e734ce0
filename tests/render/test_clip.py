"""Real clips and pictures; skipped only where no off-screen OpenGL draws."""

import itertools
import re
import subprocess

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image

from snapsim.errors import InputError, OutputError
from snapsim.render import ClipOptions, draw_scene, picture, render_clip, render_still, timeline
from snapsim.render import palette as p
from snapsim.render.framing import find_action
from snapsim.render.job import ClipJob
from snapsim.render.layout import lay_out
from snapsim.render.picture import choose_view
from snapsim.render.show import Show

pytestmark = pytest.mark.usefixtures("drawing")
SMALL = ClipOptions(width=320, height=240, supersample=False)
QUICK = ClipOptions(
    width=320,
    height=240,
    supersample=False,
    slow_motion=2.0,
    cards=False,
    freeze=0.0,
    replay=None,
    layers=frozenset({"stage", "figures", "trail", "magnetisation"}),
)


def shown(run, options):
    return Show(ClipJob((run,), options))


@pytest.fixture(scope="module")
def finished(trajectory, tmp_path_factory):
    path = tmp_path_factory.mktemp("clip") / "run.mp4"
    steps = []
    return path, render_clip(trajectory, path, QUICK, lambda k, n: steps.append((k, n))), steps


def test_the_clip_reads_back_as_h264_yuv420p_60_fps_of_the_promised_size_and_length(finished):
    """Read back by ffmpeg itself, through the wheel that carries it."""
    path, report, _ = finished
    told = subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-i", str(path)],
        capture_output=True,
        text=True,
        check=False,
    ).stderr
    video = next(line for line in told.splitlines() if "Video:" in line)
    assert "h264" in video
    assert "yuv420p(tv, bt709" in video
    assert "320x240" in video
    assert re.search(r"\b60 fps", video)
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(path))
    assert frames == report.frames
    assert seconds == pytest.approx(report.seconds, abs=0.02)
    line = timeline.build(0.9, 0.18, 2.0)
    assert report.seconds == pytest.approx(line.duration, abs=0.5 / 60)


def test_the_index_stands_at_the_front(finished):
    data = finished[0].read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_progress_counts_every_frame_once(finished):
    _, report, steps = finished
    assert steps == [(k, report.frames) for k in range(report.frames + 1)]
    assert report.milliseconds > 0


def test_the_clip_moves_and_is_not_black(finished):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(finished[0])]
    raw = subprocess.run(
        [*command, "-f", "rawvideo", "-pix_fmt", "rgb24", "-"], capture_output=True, check=True
    ).stdout
    pictures = np.frombuffer(raw, np.uint8).reshape(-1, 240, 320, 3).astype(int)
    layout = lay_out(320, 240)
    scene = pictures[:, layout.impact[3] : layout.key[1]]  # free of words
    assert scene[0].std() > 10
    moved = np.abs(scene[-1] - scene[0]).max(axis=-1) > 40
    assert moved.mean() > 0.01  # the part is a few hundredths of the picture
    steps = [np.abs(b - a).mean() for a, b in itertools.pairwise(scene)]
    assert sum(step > 0.05 for step in steps) > 20


def test_the_same_run_gives_the_same_frames_bit_for_bit(trajectory, tmp_path):
    times = (0.0, 0.1, 0.18, 0.9)
    shots = []
    for _ in range(2):
        with shown(trajectory, SMALL) as show:
            shots.append([np.asarray(show.still(t)) for t in times])
    assert all(np.array_equal(a, b) for a, b in zip(*shots, strict=True))
    assert not np.array_equal(shots[0][0], shots[0][2])


def test_a_frame_does_not_depend_on_the_frames_before_it(trajectory):
    with shown(trajectory, SMALL) as show:
        straight = np.asarray(show.still(0.12))
        show.still(0.9)
        again = np.asarray(show.still(0.12))
    assert np.array_equal(straight, again)


def test_drawing_only_the_moving_rectangle_changes_nothing(trajectory, monkeypatch):
    """The part drawn anew and the part drawn once must meet without a seam: 8-bit rounding only."""
    with shown(trajectory, SMALL) as show:
        quick = np.asarray(show.still(0.12)).astype(int)
    monkeypatch.setattr(picture.Picture, "_narrow", lambda self: None)
    with shown(trajectory, SMALL) as show:
        whole = np.asarray(show.still(0.12)).astype(int)
    change = np.abs(quick - whole).max(axis=-1)
    assert np.mean(change > 3) < 2e-3  # edges fall a hair differently on the pixel grid
    assert change.mean() < 0.1


def test_both_poles_and_the_part_show_where_the_camera_puts_them(system, tmp_path):
    path = tmp_path / "scene.png"
    draw_scene(system, path, ClipOptions(width=640, height=360))
    picture = np.asarray(Image.open(path)).astype(float)
    pose = system.start.pose
    action = find_action(system, pose.position[None], pose.quaternion[None], 1)
    view = choose_view(system, pose, action, lay_out(640, 360), None)
    across = view.axes[0] * 0.02  # beside the letters
    front = np.array([0.0, -0.04, 0.0])
    low, high = (
        view.project(front + across + [[0, 0, 0.02 + z]])[0].round().astype(int)
        for z in (-0.01, 0.01)
    )
    light = [picture[y - 1 : y + 2, x - 1 : x + 2].mean() for x, y in (low, high)]
    assert light[0] > 2 * light[1]  # magnetised downward: the north half is below
    assert p.relative_luminance(p.NORTH) > p.relative_luminance(p.SOUTH)


def test_a_still_is_a_png_of_the_asked_size(trajectory, tmp_path):
    path = tmp_path / "still.png"
    render_still(trajectory, 0.1, path, SMALL)
    with Image.open(path) as picture:
        assert (picture.format, picture.size) == ("PNG", (320, 240))
    with pytest.raises(OutputError, match="exists already"):
        render_still(trajectory, 0.1, path, SMALL)


def test_odd_sizes_are_refused_before_anything_is_drawn(trajectory, tmp_path):
    with pytest.raises(InputError, match="width: is 321; must be even"):
        render_clip(trajectory, tmp_path / "clip.mp4", ClipOptions(width=321))
    assert list(tmp_path.iterdir()) == []
