"""Exact frame rates; what players are told of them, read back by another library."""

from fractions import Fraction

import av
import numpy as np
import pytest
from PIL import Image

from snapsim.errors import InputError
from snapsim.render.formats import MP4, PNG_SEQUENCE, PRORES
from snapsim.render.rates import rate_of, timescale

SIZE = 64, 48


@pytest.mark.parametrize(
    ("text", "rate"),
    [("30", 30), ("29.97", Fraction(30000, 1001)), ("23.976", Fraction(24000, 1001)),
     ("59.94", Fraction(60000, 1001)), ("60000/1001", Fraction(60000, 1001)), ("240", 240)],
)  # fmt: skip
def test_rates_in_words(text, rate):
    """30000/1001 = 29.97003 to seven digits: the nominal rate over 1.001 (SMPTE ST 12-1)."""
    assert rate_of(text, "--fps") == rate
    assert float(rate) == pytest.approx(float(Fraction(text)), rel=2e-5)


@pytest.mark.parametrize("text", ["0", "241", "12.5", "1/0", "nan", "fast", "-5", ""])
def test_other_rates_are_refused_in_one_line(text):
    with pytest.raises(InputError, match=r"--fps: .* is no rate; write a whole number of 1 to 240"):
        rate_of(text, "--fps")


@pytest.mark.parametrize("rate", [30, Fraction(30000, 1001), Fraction(24000, 1001)])
@pytest.mark.parametrize("form", [MP4, PRORES])
def test_every_frame_of_a_film_begins_at_its_own_multiple(tmp_path, form, rate):
    depth = 4 if form.alpha else 3
    frames = [np.full((SIZE[1], SIZE[0], depth), 20 * k, np.uint8) for k in range(6)]
    pieces = []
    for n in range(2):
        pieces.append(tmp_path / f"{n}{form.piece_suffix or form.suffix}")
        form.encode(frames[3 * n : 3 * n + 3], pieces[-1], SIZE, rate, 3 * n)
    target = tmp_path / f"film{form.suffix}"
    form.join(pieces, target, rate)
    with av.open(str(target)) as file:
        stream = file.streams.video[0]
        assert stream.average_rate == rate
        times = [frame.pts * stream.time_base for frame in file.decode(video=0)]
    assert times == [Fraction(k) / rate for k in range(6)]
    assert timescale(rate) % Fraction(rate).numerator == 0


def test_pictures_say_that_their_colours_are_srgb(tmp_path):
    PNG_SEQUENCE.encode([np.zeros((*SIZE, 4), np.uint8)], tmp_path / "p", SIZE, 30, 0)
    content = (tmp_path / "p" / "000000.png").read_bytes()
    assert content.index(b"sRGB\x00") < content.index(b"IDAT")
    with Image.open(tmp_path / "p" / "000000.png") as picture:
        assert picture.info["srgb"] == 0
