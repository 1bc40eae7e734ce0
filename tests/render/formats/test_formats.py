"""Each format: pieces joined to one file, the same bytes every time, its properties read back.

Read back by ffmpeg's own libraries through PyAV, which share no code with the writing side here but
the codecs themselves.
"""

import av
import numpy as np
import pytest
from PIL import Image

from snapsim.errors import OutputError
from snapsim.render.formats import FORMATS, GIF, MP4, PNG_SEQUENCE, PRORES, WEBM, format_of

SIZE, FPS = (96, 64), 50
BASE = np.random.default_rng(2).integers(0, 255, (16, 24, 4)).astype(np.uint8)


def frame(k, depth):
    picture = np.kron(np.roll(BASE, k, axis=1), np.ones((4, 4, 1), np.uint8))
    if depth == 4:
        picture[..., 3] = 255
        picture[:32, :, 3] = 60
    return np.ascontiguousarray(picture[..., :depth])


def write(form, folder, name, counts=(7, 5)):
    """Write a clip in as many pieces as there are counts."""
    pieces, first = [], 0
    for n, count in enumerate(counts):
        piece = folder / f"{name}-{n}{form.piece_suffix}"
        frames = (frame(k, 4 if form.alpha else 3) for k in range(first, first + count))
        form.encode(frames, piece, SIZE, FPS, first)
        pieces.append(piece)
        first += count
    target = folder / f"{name}{form.suffix}"
    form.join(pieces, target, FPS)
    return target


@pytest.mark.parametrize(
    ("form", "codec", "pixels"),
    [(MP4, "h264", "yuv420p"), (WEBM, "vp9", "yuv420p"), (PRORES, "prores", "yuva444p12le")],
    ids=lambda v: getattr(v, "name", v),
)
def test_codec_size_rate_length_and_colour_read_back(tmp_path, form, codec, pixels):
    """BT.709 is 1 in primaries, transfer and matrix, narrow range 1: Rec. ITU-T H.273, tables 2 to
    4 (from memory)."""
    with av.open(str(write(form, tmp_path, "clip"))) as file:
        stream = file.streams.video[0]
        context = stream.codec_context
        assert context.name == codec
        assert (context.width, context.height) == SIZE
        assert context.pix_fmt == pixels
        assert stream.average_rate == FPS
        frames = list(file.decode(stream))
    times = np.array([float(f.pts * f.time_base) for f in frames])
    assert times == pytest.approx(np.arange(12) / FPS, abs=6e-4)  # WebM keeps milliseconds
    assert {(f.color_range, f.colorspace) for f in frames} == {(1, 1)}
    assert {int(f.color_primaries) for f in frames} == {1}
    assert {int(f.color_trc) for f in frames} == {1}


@pytest.mark.parametrize("form", FORMATS, ids=lambda f: f.name)
def test_equal_frames_give_equal_bytes(tmp_path, form):
    for name in ("a", "b"):
        write(form, tmp_path, name)
    a, b = tmp_path / f"a{form.suffix}", tmp_path / f"b{form.suffix}"
    if form is PNG_SEQUENCE:
        assert [f.read_bytes() for f in sorted(a.iterdir())] == [
            f.read_bytes() for f in sorted(b.iterdir())
        ]
    else:
        assert a.read_bytes() == b.read_bytes()


def test_a_gif_keeps_its_delays_and_goes_on_forever(tmp_path):
    """Delays are whole hundredths of a second (GIF89a specification, section 23; from memory)."""
    with Image.open(write(GIF, tmp_path, "clip")) as picture:
        assert picture.n_frames == 12
        assert picture.info["loop"] == 0
        delays = []
        for k in range(picture.n_frames):
            picture.seek(k)
            delays.append(picture.info["duration"])
    assert set(delays) == {20}


def test_png_pictures_are_numbered_and_lossless(tmp_path):
    folder = write(PNG_SEQUENCE, tmp_path, "clip")
    assert [f.name for f in sorted(folder.iterdir())] == [f"{k:06d}.png" for k in range(12)]
    for k in (0, 11):
        with Image.open(folder / f"{k:06d}.png") as picture:
            assert np.array_equal(np.asarray(picture), frame(k, 4))


def test_prores_keeps_opacity(tmp_path):
    """12 bits of opacity come back within one 8-bit step."""
    with av.open(str(write(PRORES, tmp_path, "clip", (2,)))) as file:
        picture = next(file.decode(video=0)).to_ndarray(format="rgba")
    assert np.abs(picture[:28, :, 3].astype(int) - 60).max() <= 1
    assert np.abs(picture[36:, :, 3].astype(int) - 255).max() <= 1


def test_every_piece_of_an_mp4_begins_with_a_whole_picture(tmp_path):
    with av.open(str(write(MP4, tmp_path, "clip"))) as file:
        keys = [n for n, p in enumerate(p for p in file.demux(video=0) if p.size) if p.is_keyframe]
    assert {0, 7} <= set(keys)


@pytest.mark.parametrize(
    ("name", "form"),
    [("a.MP4", MP4), ("a.webm", WEBM), ("a.gif", GIF), ("a.mov", PRORES), ("a", PNG_SEQUENCE)],
    ids=["mp4", "webm", "gif", "mov", "pictures"],
)
def test_the_ending_chooses_the_format(tmp_path, name, form):
    assert format_of(tmp_path / name) is form


def test_an_unknown_ending_is_refused_with_those_that_are_known(tmp_path):
    with pytest.raises(OutputError, match=r"a\.avi: the name must end in \.mp4, \.webm, \.gif or"):
        format_of(tmp_path / "a.avi")


@pytest.mark.parametrize("fps", [60, 30, 15])
def test_a_gif_refuses_rates_it_cannot_keep(fps):
    assert "use 1, 2, 4, 5, 10, 20, 25, 50" in GIF.problem(SIZE, fps)
    assert GIF.problem(SIZE, 25) is None


def test_an_encoder_that_cannot_write_says_so(tmp_path):
    with pytest.raises(OutputError, match="encoder stopped: Error opening output"):
        MP4.encode((frame(k, 3) for k in range(400)), tmp_path / "no" / "a.mp4", SIZE, FPS, 0)
