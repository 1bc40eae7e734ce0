"""Formats of clips: one contract, one short file each; the ending of a file's name chooses."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from snapsim.errors import OutputError
from snapsim.render.formats.contract import Format
from snapsim.render.formats.gif import GIF
from snapsim.render.formats.mp4 import MP4
from snapsim.render.formats.piping import Piped
from snapsim.render.formats.png_sequence import PNG_SEQUENCE, PngSequence
from snapsim.render.formats.prores import PRORES
from snapsim.render.formats.webm import WEBM

FORMATS: Final[tuple[Piped | PngSequence, ...]] = (MP4, WEBM, GIF, PRORES, PNG_SEQUENCE)


def format_of(path: Path) -> Piped | PngSequence:
    """Return the format that a clip's name asks for; raises OutputError for no known one."""
    suffix = path.suffix.lower()
    for known in FORMATS:
        if known.suffix == suffix:
            return known
    raise OutputError(
        f"{path}: the name must end in .mp4, .webm, .gif or .mov (ProRes 4444), or have no ending,"
        " for a folder of PNG pictures"
    )


__all__ = ["FORMATS", "GIF", "MP4", "PNG_SEQUENCE", "PRORES", "WEBM", "Format", "format_of"]
