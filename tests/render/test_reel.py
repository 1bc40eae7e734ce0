"""Clips in pieces: stopped and gone on with, drawn by one process or two, always the same file."""

import json
import multiprocessing
import signal
import time

import pytest

from snapsim.errors import OutputError
from snapsim.render import ClipOptions, reel, render_clip

pytestmark = pytest.mark.usefixtures("drawing")
TINY = ClipOptions(
    width=320,
    height=240,
    fps=10,
    supersample=False,
    slow_motion=2.0,
    cards=False,
    freeze=0.0,
    replay=None,
    layers=frozenset({"stage", "figures"}),
)


@pytest.fixture(scope="module")
def whole(trajectory, tmp_path_factory):
    """A clip made in one go, in pieces of ten frames."""
    folder = tmp_path_factory.mktemp("whole")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reel, "PIECE", 10)
        report = render_clip(trajectory, folder / "clip.mp4", TINY)
    assert list(folder.iterdir()) == [folder / "clip.mp4"]
    return (folder / "clip.mp4").read_bytes(), report


@pytest.fixture(autouse=True)
def pieces_of_ten(monkeypatch):
    monkeypatch.setattr(reel, "PIECE", 10)


def stop_after(frames):
    def progress(done, of_all):
        if done >= frames:
            raise KeyboardInterrupt

    return progress


def test_a_clip_stopped_and_asked_for_again_goes_on_to_the_same_file(whole, trajectory, tmp_path):
    data, report = whole
    assert report.frames > 30
    target = tmp_path / "clip.mp4"
    target.write_bytes(b"precious")
    options = ClipOptions(**{**vars(TINY), "overwrite": True})
    with pytest.raises(KeyboardInterrupt):
        render_clip(trajectory, target, options, stop_after(25))
    assert target.read_bytes() == b"precious"
    left = tmp_path / ".clip.mp4.pieces"
    assert {p.name for p in left.glob("0*.mp4")} == {"00000.mp4", "00001.mp4"}
    again = render_clip(trajectory, target, options)
    assert again.kept == 20
    assert target.read_bytes() == data
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("name", ["00000.mp4", "00001.json", "00001.npy", "made-from"])
@pytest.mark.parametrize("damage", ["a bit", "half", "nothing"])
def test_a_damaged_piece_is_drawn_anew(whole, trajectory, tmp_path, name, damage):
    target = tmp_path / "clip.mp4"
    with pytest.raises(KeyboardInterrupt):
        render_clip(trajectory, target, TINY, stop_after(25))
    path = tmp_path / ".clip.mp4.pieces" / name
    held = bytearray(path.read_bytes())
    held[len(held) // 2] ^= 0x80
    path.write_bytes({"a bit": held, "half": held[: len(held) // 2], "nothing": b""}[damage])
    again = render_clip(trajectory, target, TINY)
    assert again.kept == (0 if name == "made-from" else 10)
    assert target.read_bytes() == whole[0]


def test_pictures_of_a_piece_that_has_no_note_give_way(trajectory, tmp_path):
    # killed between putting the piece in place and its note
    target = tmp_path / "clip"
    with pytest.raises(KeyboardInterrupt):
        render_clip(trajectory, target, TINY, stop_after(25))
    (tmp_path / ".clip.pieces" / "00001.json").unlink()
    again = render_clip(trajectory, target, TINY)
    assert again.kept == 10
    assert len(list(target.iterdir())) == again.frames


def test_pieces_of_other_choices_are_not_used(trajectory, tmp_path):
    target = tmp_path / "clip.mp4"
    with pytest.raises(KeyboardInterrupt):
        render_clip(trajectory, target, TINY, stop_after(15))
    other = ClipOptions(**{**vars(TINY), "slow_motion": 3.0})
    with pytest.raises(KeyboardInterrupt):
        render_clip(trajectory, target, other, stop_after(3))
    assert not list((tmp_path / ".clip.mp4.pieces").glob("0*.mp4"))


def test_a_folder_of_somebody_else_is_left_alone(trajectory, tmp_path):
    other = tmp_path / ".clip.mp4.pieces"
    other.mkdir()
    (other / "thesis.txt").write_text("precious")
    with pytest.raises(OutputError, match="is in the way and none of ours"):
        render_clip(trajectory, tmp_path / "clip.mp4", TINY)
    assert (other / "thesis.txt").read_text() == "precious"


def test_two_processes_draw_the_same_file_as_one(whole, trajectory, tmp_path):
    data, _ = whole
    target = tmp_path / "clip.mp4"
    seen = []
    options = ClipOptions(**{**vars(TINY), "workers": 2})
    report = render_clip(trajectory, target, options, lambda k, n: seen.append((k, n)))
    assert target.read_bytes() == data
    assert seen[0] == (0, report.frames)
    assert seen[-1] == (report.frames, report.frames)


def test_processes_that_draw_end_with_an_interrupt_and_are_not_waited_for(
    whole, trajectory, tmp_path
):
    target = tmp_path / "clip.mp4"
    options = ClipOptions(**{**vars(TINY), "workers": 2})
    others = set(multiprocessing.active_children())
    begun = []

    def stop(done, of_all):
        begun[:] = set(multiprocessing.active_children()) - others
        if done >= 1:  # frames are in hand in both
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        render_clip(trajectory, target, options, stop)
    assert len(begun) == 2
    ended_by = time.monotonic() + 60
    for process in begun:
        process.join(60)
        # the pool's own thread may be the one that learns how it ended
        while process.exitcode is None and time.monotonic() < ended_by:
            time.sleep(0.01)
    assert [process.exitcode for process in begun] == [-signal.SIGTERM] * 2
    again = render_clip(trajectory, target, TINY)
    assert again.kept % 10 == 0
    assert target.read_bytes() == whole[0]


def test_the_report_says_where_the_time_went_and_that_nothing_flashes(whole):
    _, report = whole
    assert {"render", "reduce", "words", "encode", "place"} <= set(report.breakdown)
    assert 0 < sum(report.breakdown.values()) < report.milliseconds
    assert report.flashes <= 3
    assert json.dumps(dict(report.breakdown))
