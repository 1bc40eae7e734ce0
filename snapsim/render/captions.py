"""Captions of a clip: what happens when, as text tracks beside it.

SubRip has numbered blocks with times 00:00:01,000 --> 00:00:02,000 (common practice, no standard);
WebVTT a heading line and times with a point (W3C Candidate Recommendation "WebVTT: The Web Video
Text Tracks Format", 4 April 2019, section 4; from memory). Cues follow each other and never
overlap, so any player shows one at a time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from snapsim.render.timeline import ClipPiece, Timeline, slowness_text

SHORTEST = 1.2  # clip seconds that a reader needs at least
LONGEST = 5.0


@dataclass(frozen=True)
class Cue:
    """`text` shown from clip time `start` until `end` [s]."""

    start: float
    end: float
    text: str


def story_cues(timeline: Timeline, titles: Sequence[str], end: str) -> list[Cue]:
    """Return the captions of a film: its own lines at their own times, with the `titles` of runs
    abreast before them, that real time runs, and `end` at the last card."""
    told: dict[float, list[str]] = {}
    for piece in timeline.pieces:
        if piece.kind == "play" and piece.first == piece.last == 1.0 and piece.length >= SHORTEST:
            told.setdefault(piece.clip, []).append("Real time.")
        if piece.kind == "card":
            told.setdefault(piece.clip, []).append(end)
    until = {start: start + LONGEST for start in told}
    for line in timeline.lines:
        title = f"{titles[line.run]}: " if len(titles) > 1 and line.about is not None else ""
        told.setdefault(line.start, []).append(title + line.text)
        until[line.start] = max(until.get(line.start, 0.0), line.end)
    starts = sorted(told)
    stops = [*starts[1:], timeline.duration]
    return [
        Cue(at, min(stop, until[at]), "\n".join(dict.fromkeys(told[at])))
        for at, stop in zip(starts, stops, strict=True)
        if stop > at
    ]


def cues(timeline: Timeline, title: str, blows: Iterable[tuple[float, str]], end: str) -> list[Cue]:
    """Return the captions of a clip: `blows` are simulated times [s] and what is struck then,
    `end` closes the clip. A blow that falls into another's caption is left out."""
    starts = [(p.clip, _words(p, timeline, title, end)) for p in _first_of_each(timeline)]
    wanted = sorted((timeline.clip_at(t), text) for t, text in blows)
    taken: list[tuple[float, str]] = []
    for at, text in wanted:
        if not taken or at - taken[-1][0] >= SHORTEST:
            taken.append((at, text))
    told = [(at, text) for at, text in starts if text and not _near(at, taken)]
    found = sorted(told + taken)
    stops = [at for at, _ in found[1:]] + [timeline.duration]
    return [
        Cue(at, min(stop, at + LONGEST), text)
        for (at, text), stop in zip(found, stops, strict=True)
        if stop > at
    ]


def _near(at: float, taken: list[tuple[float, str]]) -> bool:
    return any(-SHORTEST < at - blow < SHORTEST for blow, _ in taken)


def _first_of_each(timeline: Timeline) -> list[ClipPiece]:
    """The first piece of each run of pieces that one caption tells; a freeze parts none."""
    moving = [p for p in timeline.pieces if p.kind != "freeze"]
    groups = groupby(moving, key=lambda p: (p.kind, p.shot, _pace(p)))
    return [next(pieces) for _, pieces in groups]


def _pace(piece: ClipPiece) -> str:
    return "slow" if piece.last < 0.999 else "real"


def _words(piece: ClipPiece, timeline: Timeline, title: str, end: str) -> str:
    if piece.kind == "title":
        return title
    if piece.kind == "card":
        return end
    if piece.kind == "release":
        return "Before release."
    if piece.kind == "end" and piece.shot == 0:
        return "End of the run."
    if piece.kind not in ("play", "replay"):
        return ""
    again = "Replay from another side" if piece.kind == "replay" else ""
    slow = (
        f"slow motion, {slowness_text(1 / piece.last)} times slower" if piece.last < 0.999 else ""
    )
    if piece.kind == "play" and not slow:
        return "Real time."
    said = ", ".join(part for part in (again, slow) if part)
    return said[:1].upper() + said[1:] + "."


def subrip(found: Iterable[Cue]) -> str:
    """Return the text of an .srt file."""
    return "\n".join(
        f"{n}\n{_stamp(c.start, ',')} --> {_stamp(c.end, ',')}\n{c.text}\n"
        for n, c in enumerate(found, 1)
    )


def webvtt(found: Iterable[Cue]) -> str:
    """Return the text of a .vtt file."""
    blocks = (
        f"{_stamp(c.start, '.')} --> {_stamp(c.end, '.')}\n{_escaped(c.text)}\n" for c in found
    )
    return "WEBVTT\n\n" + "\n".join(blocks)


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _stamp(seconds: float, point: str) -> str:
    ms = round(1000 * seconds)
    hours, ms = divmod(ms, 3_600_000)
    minutes, ms = divmod(ms, 60_000)
    return f"{hours:02d}:{minutes:02d}:{ms // 1000:02d}{point}{ms % 1000:03d}"
