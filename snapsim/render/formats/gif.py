"""GIF, for where nothing else plays: 256 colours chosen once over the whole clip.

A GIF's delays are whole hundredths of a second, so only the rates 100 / n can be kept. Pieces are
stored without loss (FFV1) until the colours are chosen.
"""

from __future__ import annotations

from snapsim.render.formats.piping import Piped
from snapsim.render.rates import Rate

RATES = (50, 25, 20, 10, 5, 4, 2, 1)


def _piece(fps: Rate) -> list[str]:
    return ["-c:v", "ffv1", "-pix_fmt", "bgr0", "-threads", "2"]


def _whole(fps: Rate) -> list[str]:
    chosen = (
        "split[a][b];[a]palettegen=stats_mode=diff[p];[b][p]paletteuse=dither=bayer:bayer_scale=4"
    )
    return ["-filter_complex", chosen, "-loop", "0"]


def _refuse(size: tuple[int, int], fps: Rate) -> str | None:
    if fps not in RATES:
        allowed = ", ".join(str(rate) for rate in sorted(RATES))
        return f"{fps} frames a second: a GIF keeps whole hundredths of a second; use {allowed}"
    return None


GIF = Piped("GIF", ".gif", False, _piece, _whole, _refuse, ".mkv")
