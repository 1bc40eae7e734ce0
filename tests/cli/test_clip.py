"""The clip command, from a run file to pictures, captions and a small clip."""

import av
import pytest
from PIL import Image

from snapsim.analysis.json_objects import labelled
from snapsim.cli.clip import parse_size
from snapsim.errors import MissingSystemLibrary
from snapsim.render import offscreen

QUICK = ("--rough", "--without", "cards", "--replay", "none", "--freeze", "0", "--workers", "1")


@pytest.fixture
def fallen(snap, falling):
    """A run file in an empty directory; skipped only where nothing can draw."""
    try:
        offscreen.require()
    except MissingSystemLibrary as missing:
        pytest.skip(str(missing))
    assert snap("release", falling, "-o", "run.h5").status == 0
    return "run.h5"


def test_a_small_clip_with_captions_and_poster(snap, fallen, tmp_path):
    done = snap("clip", fallen, "-o", "a.gif", "--size", "320x240", "--fps", "10", "--captions",
                "--poster", "p.png", "--json", *QUICK)  # fmt: skip
    assert done.status == 0, done.err
    told = done.json
    assert told["besides"] == ["p.png", "a.srt", "a.vtt"]
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "a.gif", "a.srt", "a.vtt", "falling.toml", "p.png", "run.h5",
    ]  # fmt: skip
    with av.open("a.gif") as file:
        assert sum(1 for _ in file.decode(video=0)) == told["frames"]
    with Image.open("p.png") as poster:
        assert poster.size == (320, 240)
    again = snap("clip", fallen, "-o", "a.gif", "--size", "320x240", *QUICK)
    assert again.status == 2
    assert "exists already" in again.err


def test_a_still_is_drawn_at_the_time_asked_for(snap, fallen):
    done = snap("clip", fallen, "-o", "s.png", "--still", "20 ms", "--size", "320x240", "--json",
                "--rough")  # fmt: skip
    assert done.status == 0, done.err
    expected = {"file": "s.png", "time_s": 0.02, "size": [320, 240]}
    assert done.json == labelled("still", expected)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("1280x720", (1280, 720)),
        (" 640 × 360 ", (640, 360)),
        ("1080p", (1920, 1080)),
        ("4k", (3840, 2160)),
        ("1080p-9:16", (1080, 1920)),
        ("720p-1:1", (720, 720)),
        ("4K-9:16", (2160, 3840)),
    ],
)
def test_sizes_in_words_and_numbers(text, size):
    assert parse_size(text) == size
