"""Spoilt stills and videos: their bytes, or heads that speak of sizes that no picture has."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
from PIL import Image

from tests.fuzz.spoiling import Random, spoil_bytes

KINDS = {"png": "PNG", "jpg": "JPEG", "bmp": "BMP", "tiff": "TIFF", "webp": "WEBP"}
MODES = ("RGB", "L", "RGBA", "P", "1", "CMYK", "I;16")


def still(kind: str, mode: str = "RGB", size: tuple[int, int] = (40, 30)) -> bytes:
    """A picture of a ramp."""
    wide, high = size
    ramp = (np.arange(wide * high * 3) % 251).astype(np.uint8).reshape(high, wide, 3)
    picture = Image.fromarray(ramp).convert("L" if mode == "I;16" else mode)
    if mode == "I;16":
        picture = picture.convert("I").convert("I;16")
    held = io.BytesIO()
    picture.save(held, KINDS[kind])
    return held.getvalue()


def spoilt_picture(base: Path, random: Random) -> tuple[str, bytes]:
    """A file's name and what is in it."""
    way = random.random()
    if way < 0.06:  # each is a process of its own
        return "film.mp4", spoil_bytes((base / "film.mp4").read_bytes(), random)
    if way < 0.2:
        return "picture.png", _of_any_size(random)
    kind = list(KINDS)[int(random.integers(len(KINDS)))]
    mode = MODES[int(random.integers(len(MODES)))]
    try:
        content = still(kind, mode)
    except (OSError, ValueError):  # no such picture in that format
        content = still(kind)
    other = kind if random.random() < 0.9 else "png"
    return f"picture.{other}", spoil_bytes(content, random)


def _of_any_size(random: Random) -> bytes:
    """A PNG whose head (ISO/IEC 15948, 11.2.2) says something else, with a checksum that fits."""
    data = bytearray(still("png"))
    wide, high = (int(2 ** random.integers(0, 32)) - int(random.integers(2)) for _ in range(2))
    data[16:29] = struct.pack(">IIBBBBB", wide, high, int(random.integers(17)), *random.bytes(4))
    if random.random() < 0.7:
        data[24:29] = bytes((8, int(random.choice([0, 2, 3, 4, 6])), 0, 0, 0))
    data[29:33] = struct.pack(">I", zlib.crc32(bytes(data[12:29])))
    return bytes(data)
