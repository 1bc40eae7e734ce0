"""MP4 with H.264 (ISO/IEC 14496-10), yuv420p, index at the front: what every player plays."""

from __future__ import annotations

from snapsim.render.formats.piping import COLOUR, TO_VIDEO, Piped, even
from snapsim.render.rates import Rate, timescale

QUALITY = 18  # x264's constant rate factor: visually clean


def _piece(fps: Rate) -> list[str]:
    return [
        *("-c:v", "libx264", "-pix_fmt", "yuv420p", "-vf", TO_VIDEO, "-preset", "veryfast"),
        *("-crf", str(QUALITY), "-threads", "2", *COLOUR),
        *("-video_track_timescale", str(timescale(fps))),
    ]


def _whole(fps: Rate) -> list[str]:
    return ["-c", "copy", "-movflags", "+faststart", "-video_track_timescale", str(timescale(fps))]


MP4 = Piped("MP4 (H.264)", ".mp4", False, _piece, _whole, even, ".mp4")
