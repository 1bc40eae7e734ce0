"""WebM with VP9 (open, royalty-free): for web pages without H.264."""

from __future__ import annotations

from snapsim.render.formats.piping import COLOUR, TO_VIDEO, Piped, even
from snapsim.render.rates import Rate

QUALITY = 28  # libvpx's constant quality


def _piece(fps: Rate) -> list[str]:
    return [
        *("-c:v", "libvpx-vp9", "-pix_fmt", "yuv420p", "-vf", TO_VIDEO, "-b:v", "0"),
        *("-crf", str(QUALITY), "-deadline", "good", "-cpu-used", "5", "-threads", "2", *COLOUR),
    ]


def _whole(fps: Rate) -> list[str]:
    return ["-c", "copy"]


WEBM = Piped("WebM (VP9)", ".webm", False, _piece, _whole, even, ".webm")
