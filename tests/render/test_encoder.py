"""Files: whole or not at all."""

import numpy as np
import pytest

from snapsim.errors import OutputError
from snapsim.render.encoder import Encoder, check_target, is_whole

FRAMES = np.random.default_rng(2).integers(0, 255, (5, 64, 96, 3)).astype(np.uint8)


def test_an_existing_file_is_refused_without_overwrite(tmp_path):
    target = tmp_path / "clip.mp4"
    target.write_bytes(b"precious")
    with pytest.raises(OutputError, match=r"clip\.mp4: exists already; use --force"):
        check_target(target, ".mp4", overwrite=False)
    check_target(target, ".mp4", overwrite=True)


@pytest.mark.parametrize(
    ("name", "said"),
    [("clip.avi", "must end in .mp4"), ("nowhere/clip.mp4", "nowhere does not exist")],
)
def test_an_impossible_target_is_refused_in_one_line(tmp_path, name, said):
    with pytest.raises(OutputError, match=said):
        check_target(tmp_path / name, ".mp4", overwrite=False)


def test_a_broken_run_leaves_the_old_file_and_no_other(tmp_path):
    target = tmp_path / "clip.mp4"
    target.write_bytes(b"precious")
    with pytest.raises(RuntimeError, match="stop"), Encoder(target, (96, 64), 60) as film:  # noqa: PT012
        film.write(FRAMES[0])
        raise RuntimeError("stop")
    assert target.read_bytes() == b"precious"
    assert list(tmp_path.iterdir()) == [target]


def test_equal_frames_give_equal_bytes(tmp_path):
    for name in ("a.mp4", "b.mp4"):
        with Encoder(tmp_path / name, (96, 64), 60) as film:
            for frame in FRAMES:
                film.write(frame)
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()


def test_a_clip_cut_short_is_not_taken_for_whole(tmp_path):
    with Encoder(tmp_path / "a.mp4", (96, 64), 60) as film:
        film.write(FRAMES[0])
    data = (tmp_path / "a.mp4").read_bytes()
    assert is_whole(tmp_path / "a.mp4")
    for share in (0.0, 0.3, 0.9, 0.999):
        (tmp_path / "b.mp4").write_bytes(data[: int(share * len(data))])
        assert not is_whole(tmp_path / "b.mp4")


def test_a_frame_of_another_size_is_a_mistake(tmp_path):
    with (
        pytest.raises(ValueError, match="does not fit"),
        Encoder(tmp_path / "a.mp4", (96, 64), 60) as film,
    ):
        film.write(FRAMES[0][:10])
    assert list(tmp_path.iterdir()) == []
