"""Files: whole or not at all."""

import numpy as np
import pytest
from PIL import Image

from snapsim.errors import OutputError
from snapsim.render.formats import MP4
from snapsim.render.targets import check_target, is_whole, put

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


def test_a_folder_that_holds_other_things_is_never_replaced(tmp_path):
    folder = tmp_path / "frames"
    folder.mkdir()
    (folder / "000000.png").write_bytes(b"old")
    check_target(folder, "", overwrite=True)
    (folder / "thesis.txt").write_text("precious")
    with pytest.raises(OutputError, match="holds other things"):
        check_target(folder, "", overwrite=True)


def test_a_new_folder_takes_the_old_one_s_place(tmp_path):
    old, new = tmp_path / "frames", tmp_path / "new"
    for folder, colour in ((old, "red"), (new, "blue")):
        folder.mkdir()
        Image.new("RGB", (2, 2), colour).save(folder / "000000.png")
    put(new, old)
    with Image.open(old / "000000.png") as picture:
        assert picture.getpixel((0, 0)) == (0, 0, 255)
    assert list(tmp_path.iterdir()) == [old]


def test_a_clip_cut_short_is_not_taken_for_whole(tmp_path):
    MP4.encode(iter(FRAMES), tmp_path / "p.mp4", (96, 64), 60, 0)
    MP4.join([tmp_path / "p.mp4"], tmp_path / "a.mp4", 60)
    data = (tmp_path / "a.mp4").read_bytes()
    assert is_whole(tmp_path / "a.mp4")
    for share in (0.0, 0.3, 0.9, 0.999):
        (tmp_path / "b.mp4").write_bytes(data[: int(share * len(data))])
        assert not is_whole(tmp_path / "b.mp4")


def test_a_frame_of_another_size_is_a_mistake(tmp_path):
    with pytest.raises(ValueError, match="does not fit"):
        MP4.encode(iter([FRAMES[0][:10]]), tmp_path / "a.mp4", (96, 64), 60, 0)
