"""What an overlay is drawn on: a still, or the frames of a video.

A video is decoded by ffmpeg (the wheel `imageio-ffmpeg`) into a row of PPM pictures: each says its
own size, and turned phone footage comes upright. (That wheel's own reader leaves pipes open.)
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

from snapsim.arrays import ByteArray
from snapsim.errors import InputError
from snapsim.render.formats.piping import encoder_program
from snapsim.work.held_open import HeldOpen

STILLS = (".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp")

MOST_PIXELS = 50_000_000
"""Of a frame: half as many again as 8K has. A damaged head may speak of any size."""


class FootageBackdrop(HeldOpen):
    """Frames (h, w, 3) by number; of a still the same one always. A context, as it holds a decoder.

    Raises InputError where the file cannot be read.
    """

    def __init__(self, path: str) -> None:
        self.path, self._at = path, 0
        self._decoder: subprocess.Popen[bytes] | None = None
        if not Path(path).is_file():
            raise InputError("cannot be read: no such file", file=path)
        if Path(path).suffix.lower() in STILLS:
            self._last = _still(path)
            return
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the decoder
        command = [encoder_program(), "-v", "error", "-i", path, "-an"]
        command += ["-f", "image2pipe", "-c:v", "ppm", "-pix_fmt", "rgb24", "-"]
        self._decoder = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=self._said
        )
        try:
            first = self._next()
        except InputError:
            self.close()
            raise
        if first is None:
            raise self._unreadable()
        self._last = first

    def close(self) -> None:
        """End the decoder."""
        if self._decoder is not None:
            self._decoder.kill()
            assert self._decoder.stdout is not None
            self._decoder.stdout.close()
            self._decoder.wait()
            self._said.close()

    def frame(self, number: int) -> ByteArray:
        """Return a frame; numbers never go back; beyond the end the last one stays."""
        while self._decoder is not None and self._at < number:
            following = self._next()
            if following is None:
                break
            self._last, self._at = following, self._at + 1
        return self._last

    def _next(self) -> ByteArray | None:
        """The next picture of the pipe: "P6", width and height, 255, and its bytes."""
        assert self._decoder is not None
        pipe = self._decoder.stdout
        assert pipe is not None
        if pipe.readline().strip() != b"P6":
            return None
        wide, high = (int(v) for v in pipe.readline().split())
        _refuse_large(wide, high, self.path)
        pipe.readline()
        data = pipe.read(3 * wide * high)
        if len(data) < 3 * wide * high:
            return None
        return np.frombuffer(data, np.uint8).reshape(high, wide, 3)

    def _unreadable(self) -> InputError:
        assert self._decoder is not None
        self._decoder.wait()
        self._said.seek(0)
        said = self._said.read().decode(errors="replace").strip().splitlines()
        self.close()
        reason = said[-1][:90] if said else "no frames in it"
        return InputError(f"is no picture or video that can be read: {reason}", file=self.path)


def first_frame(path: str) -> ByteArray:
    """Return a still, or a video's first frame; raises InputError."""
    with FootageBackdrop(path) as backdrop:
        return backdrop.frame(0)


def _still(path: str) -> ByteArray:
    try:
        with Image.open(path) as picture:
            _refuse_large(*picture.size, path)
            return np.array(picture.convert("RGB"))
    except InputError:
        raise
    except Image.DecompressionBombError:
        raise _too_large("more than 178 million", path) from None
    except Exception as error:  # damaged files raise whatever the reader stumbles over
        said = (str(error).splitlines() or [type(error).__name__])[0][:90]
        raise InputError(f"is no picture that can be read: {said}", file=path) from None


def _refuse_large(wide: int, high: int, path: str) -> None:
    if wide * high > MOST_PIXELS:
        raise _too_large(f"{wide} x {high}", path)


def _too_large(pixels: str, path: str) -> InputError:
    most = f"at most {MOST_PIXELS // 1_000_000} million are allowed"
    return InputError(f"has {pixels} pixels; {most}", file=path)
