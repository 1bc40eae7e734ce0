"""What `snapsim match` prints: one object, and its tables for a terminal."""

from __future__ import annotations

from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, plain
from snapsim.analysis.tables import cautions
from snapsim.footage.overlay import TrackOverlay, persistence, rms
from snapsim.footage.verdict import Verdict


def overlay_summary(found: TrackOverlay, judged: Verdict, title: str, unit: str) -> dict[str, Any]:
    """Return the overlay as plain values; lengths in the picture in `unit`."""
    return {
        "title": title,
        "track_file": found.footage.file,
        "unit": unit,
        "agreement": judged.agreement,
        "verdict": judged.sentence,
        "noise": {
            "standard_deviation": number(found.noise),
            "from": "given" if found.given else "third differences of the tracks",
        },
        "residual_to_noise": number(judged.ratio),
        "residual_persistence": number(judged.persistence),
        "residual_runs_chance": number(judged.runs),
        "wrong_places": number(judged.wrong),
        "release_s": found.release,
        "compared_until_s": number(found.until),
        "first_blow_s": number(found.course.blows[0]) if len(found.course.blows) else None,
        "tracks": {t.point: _track(found, k) for k, t in enumerate(found.footage.tracks)},
        "cautions": list(CAUTIONS),
    }


def residual_rows(found: TrackOverlay) -> str:
    """Return all residuals as CSV: track, time, tracked, computed, difference."""
    lines = ["point,footage_s,after_release_s,x,y,computed_x,computed_y,residual_x,residual_y"]
    for k, track in enumerate(found.footage.tracks):
        for i, time in enumerate(track.time):
            values = [*track.place[i], *found.computed[k][i], *found.residual[k][i]]
            cells = ["" if np.isnan(v) else f"{v:.4f}" for v in values]
            name = '"' + track.point.replace('"', '""') + '"'
            lines.append(f"{name},{time:.7g},{time - found.release:.7g},{','.join(cells)}")
    return "\n".join(lines) + "\n"


def match_table(result: dict[str, Any]) -> RenderableType:
    """Return the tables of a match from its summary."""
    unit = result["unit"]
    table = Table("point", title="Tracked less computed", title_justify="left")
    for heading in ("frames seen\nof all", f"rms\n{unit}", f"largest\n{unit}", "frame to frame\n-"):
        table.add_column(heading, justify="right")
    for name, t in result["tracks"].items():
        table.add_row(
            escape(name), f"{t['seen']} of {t['frames']}", plain(t["rms"]), plain(t["largest"]),
            plain(t["persistence"]),
        )  # fmt: skip
    parts: list[RenderableType] = [Text(result["title"], style="bold"), table]
    parts.append(Text(result["verdict"], style="bold"))
    return Group(*parts, cautions())


def _track(found: TrackOverlay, k: int) -> dict[str, Any]:
    track, residual = found.footage.tracks[k], found.compared(k)
    return {
        "body": track.body,
        "at_m": [float(v) for v in track.mark],
        "frames": len(track.time),
        "seen": track.seen,
        "compared": len(residual),
        "rms": number(rms(residual)),
        "largest": number(np.abs(residual).max()) if len(residual) else None,
        "persistence": number(persistence(track, found.residual[k])),
    }
