"""Frames into an MP4: H.264, yuv420p, BT.709, index at the front, the same bytes every time.

The file is written beside its target under a temporary name and renamed when whole, so a broken run
leaves neither half a clip nor a lost old one. Two encoder threads, always: x264's choices depend on
how many there are.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path
from types import TracebackType

import imageio_ffmpeg

from snapsim.arrays import ByteArray
from snapsim.errors import OutputError

PRESET = "veryfast"
QUALITY = 18  # x264's constant rate factor: visually clean


def check_target(path: Path, suffix: str, overwrite: bool) -> None:
    """Raise OutputError where `path` cannot or must not be written."""
    if path.suffix.lower() != suffix:
        raise OutputError(f"{path}: the name must end in {suffix}")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: folder {path.parent} does not exist")
    if path.is_dir():
        raise OutputError(f"{path}: is a folder")
    if path.exists() and not overwrite:
        raise OutputError(f"{path}: exists already; use --force to replace it")
    if not os.access(path.parent, os.W_OK):
        raise OutputError(f"{path}: folder {path.parent} is not writable")


def temporary_beside(path: Path) -> Path:
    """Return a name in the same folder that no other run uses."""
    return path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")


class Encoder:
    """Context that takes frames (height, width, 3) of uint8 and leaves the finished file."""

    def __init__(self, path: Path, size: tuple[int, int], fps: int) -> None:
        self.path, self.size, self.fps = path, size, fps
        self._part = temporary_beside(path)
        self._pipe: Generator[None, bytes | ByteArray, None] | None = None

    def __enter__(self) -> Encoder:
        pipe = imageio_ffmpeg.write_frames(
            str(self._part),
            self.size,
            fps=self.fps,
            codec="libx264",
            pix_fmt_in="rgb24",
            pix_fmt_out="yuv420p",
            quality=None,
            macro_block_size=1,
            ffmpeg_log_level="error",
            output_params=_parameters(),
        )
        pipe.send(None)
        self._pipe = pipe
        return self

    def write(self, frame: ByteArray) -> None:
        """Add one frame (height, width, 3)."""
        if self._pipe is None or frame.shape != (self.size[1], self.size[0], 3):
            raise ValueError(f"a frame of shape {frame.shape} does not fit {self.size}")
        try:
            self._pipe.send(frame)
        except OSError as broken:
            reason = str(broken).splitlines()[0]
            raise OutputError(f"{self.path}: the encoder stopped: {reason}") from broken

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if self._pipe is not None:
                self._pipe.close()
            if kind is None:
                if not is_whole(self._part):
                    raise OutputError(f"{self.path}: the encoder left it unfinished; disk full?")
                self._part.replace(self.path)
        except OSError as broken:
            raise OutputError(f"{self.path}: could not be written: {broken}") from broken
        finally:
            self._part.unlink(missing_ok=True)


def is_whole(path: Path) -> bool:
    """Return whether an MP4's boxes fill the file and its index stands before its frames.

    A box is a 32-bit big-endian length, a name of four letters, content (ISO/IEC 14496-12:2022,
    4.2; from memory).
    """
    data, at, names = path.read_bytes() if path.exists() else b"", 0, []
    while at + 8 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        if length == 1:  # the true length follows in 64 bits
            length = int.from_bytes(data[at + 8 : at + 16], "big")
        names.append(data[at + 4 : at + 8])
        at += max(length, 8)
    ordered = [name for name in names if name in (b"moov", b"mdat")]
    return at == len(data) and ordered == [b"moov", b"mdat"]


def _parameters() -> list[str]:
    colour = ["-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709"]
    convert = "scale=in_range=pc:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+bitexact"
    return [
        *("-vf", convert, "-preset", PRESET, "-crf", str(QUALITY), "-threads", "2"),
        *(*colour, "-color_range", "tv", "-movflags", "+faststart", "-map_metadata", "-1"),
        *("-fflags", "+bitexact", "-flags:v", "+bitexact"),
    ]
