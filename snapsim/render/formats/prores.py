"""QuickTime file with ProRes 4444, colour and opacity for a video editor (SMPTE RDD 36, from
memory)."""

from __future__ import annotations

from snapsim.render.formats.piping import COLOUR, TO_VIDEO, Piped, even
from snapsim.render.rates import Rate, timescale


def _piece(fps: Rate) -> list[str]:
    return [
        *("-c:v", "prores_ks", "-profile:v", "4444", "-pix_fmt", "yuva444p10le"),
        *("-qscale:v", "9", "-alpha_bits", "8", "-vf", TO_VIDEO, "-threads", "2", *COLOUR),
        *("-video_track_timescale", str(timescale(fps))),
    ]


def _whole(fps: Rate) -> list[str]:
    return ["-c", "copy", "-movflags", "+faststart", "-video_track_timescale", str(timescale(fps))]


PRORES = Piped("ProRes 4444", ".mov", True, _piece, _whole, even, ".mov")
