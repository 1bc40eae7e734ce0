"""A folder of numbered PNG pictures with opacity (ISO/IEC 15948), for a compositor."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from PIL import Image
from PIL.PngImagePlugin import PngInfo

from snapsim.arrays import ByteArray
from snapsim.errors import OutputError
from snapsim.render.rates import Rate


def srgb() -> PngInfo:
    """Return the chunk that says that colours are sRGB, rendered perceptually (ISO/IEC 15948:2004,
    11.3.3.5; from memory)."""
    told = PngInfo()
    told.add(b"sRGB", b"\x00")
    return told


class PngSequence:
    """Frames 000000.png, 000001.png, ... straight opacity, 8 bits, sRGB."""

    name, suffix, alpha, piece_suffix = "PNG sequence", "", True, ".frames"

    def problem(self, size: tuple[int, int], fps: Rate) -> str | None:
        """Any size and rate will do."""
        return None

    def encode(
        self,
        frames: Iterable[ByteArray],
        target: Path,
        size: tuple[int, int],
        fps: Rate,
        first: int,
    ) -> None:
        """Write each frame (height, width, 4) as a picture in the folder `target`."""
        target.mkdir(exist_ok=True)
        try:
            for number, frame in enumerate(frames, first):
                picture = Image.fromarray(frame, "RGBA")
                picture.save(target / f"{number:06d}.png", compress_level=3, pnginfo=srgb())
        except OSError as broken:
            raise OutputError(f"{target}: could not be written: {broken.strerror}") from broken

    def join(self, pieces: Sequence[Path], target: Path, fps: Rate) -> None:
        """Gather all pictures in one folder, `target`; the pieces' folders stay whole."""
        target.mkdir()
        for piece in pieces:
            for picture in sorted(piece.iterdir()):
                _link(picture, target / picture.name)


def _link(picture: Path, target: Path) -> None:
    """One file under two names where the disk allows it, else a copy."""
    try:
        target.hardlink_to(picture)
    except OSError:
        shutil.copyfile(picture, target)


PNG_SEQUENCE = PngSequence()
