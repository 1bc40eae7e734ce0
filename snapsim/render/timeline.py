"""Clip time against simulated time: real time, eased into slow motion, and back; then a hold.

The rate r = dt/dtau is 1 in real time and f = 1/slow_motion in the slow part; in a ramp of clip
length T it follows r(u) = 1 + (f - 1)(3u^2 - 2u^3), u = tau/T, whose integral is closed:
t = T [u + (f - 1)(u^3 - u^4/2)], so a ramp uses T (1 + f)/2 of simulated time. All times in s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

OPENING_HOLD = 0.8
CLOSING_HOLD = 1.6
RAMP = 0.35
SLOW_SECONDS = (2.0, 1.6)  # clip seconds of slow motion before and after the blow, when automatic
STEPS = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


@dataclass(frozen=True)
class Piece:
    """A stretch of clip: from `clip` and `sim`, `length` long; its rate goes `first` to `last`."""

    clip: float
    sim: float
    length: float
    first: float
    last: float

    def sim_at(self, clip: float) -> float:
        """Return the simulated time at a clip time inside the piece."""
        if self.length == 0:
            return self.sim
        u = min(max((clip - self.clip) / self.length, 0.0), 1.0)
        return self.sim + self.length * (
            self.first * u + (self.last - self.first) * (u**3 - u**4 / 2)
        )

    def rate_at(self, clip: float) -> float:
        """Return dt/dtau at a clip time inside the piece."""
        if self.length == 0:
            return self.last
        u = min(max((clip - self.clip) / self.length, 0.0), 1.0)
        return self.first + (self.last - self.first) * (3 * u**2 - 2 * u**3)


@dataclass(frozen=True)
class Timeline:
    """The whole clip: `pieces` in order, `duration` [s], `slow_motion` times slower at most."""

    pieces: tuple[Piece, ...]
    duration: float
    slow_motion: float

    def piece_at(self, clip: float) -> Piece:
        """Return the piece that a clip time falls in."""
        starts = [p.clip for p in self.pieces]
        return self.pieces[max(int(np.searchsorted(starts, clip, side="right")) - 1, 0)]

    def sim_at(self, clip: float) -> float:
        """Return the simulated time shown at clip time `clip`."""
        return self.piece_at(clip).sim_at(clip)

    def rate_at(self, clip: float) -> float:
        """Return simulated seconds per clip second: 1 real time, 0 a hold."""
        return self.piece_at(clip).rate_at(clip)

    def label_at(self, clip: float) -> str:
        """Return the words that tell the viewer how fast time runs."""
        piece = self.piece_at(clip)
        rate = piece.rate_at(clip)
        if piece.first == piece.last == 0:
            return "RELEASE" if piece is self.pieces[0] else "END"
        if rate > 0.999:
            return "REAL TIME"
        return f"SLOW MOTION 1/{slowness_text(1 / rate)}"

    def frame_times(self, fps: int) -> list[float]:
        """Return the clip time of every frame; the last one shows the end of the run."""
        return [k / fps for k in range(max(1, round(self.duration * fps)))]


def slowness_text(slowness: float) -> str:
    """Return a slow-motion factor in short digits: 1.5, 20."""
    return f"{slowness:.1f}" if slowness < 9.95 and abs(slowness % 1) > 0.05 else f"{slowness:.0f}"


def automatic_slow_motion(closing_speed: float, size: float) -> float:
    """Return the slowness at which a part crosses half the picture of `size` [m] in a second."""
    if closing_speed <= 0 or size <= 0:
        return STEPS[0]
    wanted = closing_speed / (0.5 * size)
    return min(STEPS, key=lambda step: abs(np.log(step / max(wanted, 1e-9))))


def build(
    end: float,
    impact: float | None,
    slow_motion: float,
    window: tuple[float, float] | None = None,
) -> Timeline:
    """Return the timeline of a run lasting `end`, slow round the time `impact` (None: real time).

    Where the run is too short before or after the window for a whole ramp, the ramp is shortened.
    """
    pieces = [Piece(0.0, 0.0, OPENING_HOLD, 0.0, 0.0)]
    if impact is None or slow_motion <= 1 or end <= 0:
        _append(pieces, end, 1.0, 1.0)
        slow_motion = 1.0
    else:
        f = 1 / slow_motion
        before, after = window or (SLOW_SECONDS[0] * f, SLOW_SECONDS[1] * f)
        slow_from, slow_to = max(0.0, impact - before), min(end, impact + after)
        use = RAMP * (1 + f) / 2
        ramp_from, ramp_to = max(0.0, slow_from - use), min(end, slow_to + use)
        _append(pieces, ramp_from, 1.0, 1.0)
        _append(pieces, slow_from - ramp_from, 1.0, f)
        _append(pieces, slow_to - slow_from, f, f)
        _append(pieces, ramp_to - slow_to, f, 1.0)
        _append(pieces, end - ramp_to, 1.0, 1.0)
    _hold_end(pieces, end)
    return Timeline(tuple(pieces), pieces[-1].clip + pieces[-1].length, slow_motion)


def _append(pieces: list[Piece], simulated: float, first: float, last: float) -> None:
    """Add a piece that shows `simulated` seconds; its mean rate is (first + last) / 2."""
    if simulated <= 0:
        return
    previous = pieces[-1]
    pieces.append(
        Piece(
            previous.clip + previous.length,
            previous.sim_at(previous.clip + previous.length),
            2 * simulated / (first + last),
            first,
            last,
        )
    )


def _hold_end(pieces: list[Piece], end: float) -> None:
    last = pieces[-1]
    pieces.append(Piece(last.clip + last.length, end, CLOSING_HOLD, 0.0, 0.0))
