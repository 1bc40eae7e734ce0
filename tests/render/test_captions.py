"""Captions: times from the timeline, files that ffmpeg's own readers take."""

import itertools
import re

import av
import pytest

from snapsim.render import ClipOptions, timeline, write_captions
from snapsim.render.captions import LONGEST, SHORTEST, Cue, cues, subrip, webvtt
from snapsim.render.readings import impact_line
from snapsim.render.show import plan

LINE = timeline.build(2.0, 1.0, 20.0, None, timeline.Extras(2.6, 1.6, True, 3.6))


def told(blows=((1.0, "a strikes b"),)):
    return cues(LINE, "Title", blows, "Caution.")


def test_a_blow_is_told_when_the_clip_comes_to_it():
    """The freeze begins where the first telling has come to the impact."""
    freeze = next(p for p in LINE.pieces if p.kind == "freeze")
    blow = next(c for c in told() if c.text == "a strikes b")
    assert blow.start == pytest.approx(freeze.clip, abs=1e-6)
    assert LINE.sim_at(blow.start) == pytest.approx(1.0, abs=1e-9)


def test_cues_follow_each_other_and_none_overlaps():
    found = told([(t, f"blow {t}") for t in (1.0, 1.001, 1.02, 1.3, 1.31)])
    for a, b in itertools.pairwise(found):
        assert a.end <= b.start + 1e-9
    assert all(0 <= c.start < c.end <= LINE.duration for c in found)
    assert all(c.end - c.start <= LONGEST for c in found)
    blows = [c for c in found if c.text.startswith("blow")]
    assert all(b.start - a.start >= SHORTEST for a, b in itertools.pairwise(blows))


def test_title_slow_motion_replay_and_caution_are_told():
    said = [c.text for c in told()]
    assert said[0] == "Title"
    assert "Slow motion, 20 times slower." in said
    assert "Replay from another side, slow motion, 20 times slower." in said
    assert said[-1] == "Caution."


def test_a_freeze_does_not_tell_the_same_twice():
    said = [c.text for c in told()]
    for told_once in ("Slow motion", "Replay"):
        assert sum(text.startswith(told_once) for text in said) == 1


def test_srt_and_webvtt_say_the_same_in_their_own_ways():
    found = [Cue(0.0, 1.25, "a < b & c"), Cue(3661.5, 3662.0, "later")]
    assert subrip(found) == (
        "1\n00:00:00,000 --> 00:00:01,250\na < b & c\n\n2\n01:01:01,500 --> 01:01:02,000\nlater\n"
    )
    assert webvtt(found) == (
        "WEBVTT\n\n00:00:00.000 --> 00:00:01.250\na &lt; b &amp; c\n\n"
        "01:01:01.500 --> 01:01:02.000\nlater\n"
    )


def test_both_files_are_read_back_by_ffmpeg(trajectory, tmp_path):
    options = ClipOptions(slow_motion=20.0)
    written = write_captions(trajectory, tmp_path / "clip.mp4", options)
    line, _ = plan((trajectory,), options)
    want = impact_line(trajectory.impacts[0])
    for path in written:
        with av.open(str(path)) as file:
            packets = [p for p in file.demux(subtitles=0) if p.size]
        texts = [bytes(p).decode() for p in packets]
        at = texts.index(want)
        start = float(packets[at].pts * packets[at].time_base)
        assert line.sim_at(start + 0.001) == pytest.approx(trajectory.impacts[0].time, abs=1e-3)
        assert re.search("qualified people decide", texts[-1])
