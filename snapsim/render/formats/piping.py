"""Frames into ffmpeg, which comes as a wheel (`imageio-ffmpeg`); two encoder threads, always:
what an encoder chooses depends on how many there are."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np

from snapsim.arrays import ByteArray
from snapsim.errors import NotWritten
from snapsim.extras import require_extra
from snapsim.render.rates import Rate

SAME_BYTES = ("-map_metadata", "-1", "-fflags", "+bitexact", "-flags:v", "+bitexact")
TO_VIDEO = (
    "scale=in_range=pc:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+bitexact,"
    "setparams=range=tv:color_primaries=bt709:color_trc=bt709:colorspace=bt709"
)
"""Without the second filter the frames say nothing of primaries, and the encoder writes that."""
COLOUR = (
    *("-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709"),
    *("-color_range", "tv"),
)
"""Rec. ITU-R BT.709 primaries, transfer and matrix, narrow range."""


@dataclass(frozen=True)
class Piped:
    """A format that ffmpeg writes: parameters for a piece, given the frame rate, and for the whole;
    `refuse` says why a size or a rate cannot be had."""

    name: str
    suffix: str
    alpha: bool
    piece: Callable[[Rate], Sequence[str]]
    whole: Callable[[Rate], Sequence[str]]
    refuse: Callable[[tuple[int, int], Rate], str | None] = lambda size, fps: None
    piece_suffix: str = ""

    def problem(self, size: tuple[int, int], fps: Rate) -> str | None:
        """Return why this size or rate cannot be had, and what can; None where it can."""
        return self.refuse(size, fps)

    def encode(
        self,
        frames: Iterable[ByteArray],
        target: Path,
        size: tuple[int, int],
        fps: Rate,
        first: int,
    ) -> None:
        """Write frames (height, width, 3 or 4) as a piece at `target`."""
        depth = 4 if self.alpha else 3
        command = [encoder_program(), "-y", "-v", "error", "-f", "rawvideo"]
        command += ["-pix_fmt", "rgba" if self.alpha else "rgb24", "-s", f"{size[0]}x{size[1]}"]
        command += ["-r", str(fps), "-i", "-", *self.piece(fps), *SAME_BYTES, str(target)]
        with tempfile.TemporaryFile() as said, _fed(command, said) as encoder:
            pipe = encoder.stdin
            assert pipe is not None
            with suppress(BrokenPipeError):  # the encoder says why it went
                for frame in frames:
                    if frame.shape != (size[1], size[0], depth):
                        raise ValueError(f"a frame of shape {frame.shape} does not fit {size}")
                    _send(pipe, frame)
                pipe.close()
            if encoder.wait() != 0:
                said.seek(0)
                lines = said.read().decode(errors="replace").strip().splitlines()
                reason = lines[-1] if lines else "no reason given"
                raise NotWritten(f"{target}: the encoder stopped: {reason}")

    def join(self, pieces: Sequence[Path], target: Path, fps: Rate) -> None:
        """Write the whole clip at `target` from its pieces in order."""
        with tempfile.TemporaryDirectory() as folder:
            order = Path(folder) / "pieces"
            lines = (str(p.resolve()).replace("'", "'\\''") for p in pieces)
            order.write_text("".join(f"file '{line}'\n" for line in lines))
            command = [encoder_program(), "-y", "-v", "error"]
            command += ["-f", "concat", "-safe", "0", "-i", str(order)]
            command += [*self.whole(fps), *SAME_BYTES, str(target)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            reason = (done.stderr.strip().splitlines() or ["no reason given"])[0]
            raise NotWritten(f"{target}: the pieces could not be joined: {reason}")


def encoder_program() -> str:
    """Return where ffmpeg is; raises MissingExtra where the wheel is not installed."""
    require_extra("clip", "a film", "imageio_ffmpeg")
    import imageio_ffmpeg

    return str(imageio_ffmpeg.get_ffmpeg_exe())


@contextmanager
def _fed(command: Sequence[str], said: IO[bytes]) -> Iterator[subprocess.Popen[bytes]]:
    """Run an encoder that reads frames from a pipe; it is gone afterwards, whatever happens."""
    encoder = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=said, bufsize=0
    )
    try:
        yield encoder
    finally:
        if encoder.poll() is None:
            encoder.kill()
        if encoder.stdin is not None:
            encoder.stdin.close()
        encoder.wait()


def _send(pipe: IO[bytes], frame: ByteArray) -> None:
    """Write a whole frame: one call may take only a part of it."""
    left = memoryview(np.ascontiguousarray(frame)).cast("B")
    while left:
        left = left[pipe.write(left) :]


def even(size: tuple[int, int], fps: Rate) -> str | None:
    """Refuse odd sizes, as colour is stored for 2 x 2 pixels."""
    odd = [side for side in size if side % 2]
    if odd:
        return f"{odd[0]} pixels: width and height must be even, as colour is stored for 2 x 2"
    return None
