"""The sound of a film, computed: a click for every blow that is shown, as loud as its impulse says.

Pressure from a struck body goes with how fast its surface is moved, hence with the impulse: a
click's height is its impulse over the largest of the film. What it is like (a few damped tones and
a burst of noise) is chosen, not computed, and the same for every body. Blows weaker than `FAINTEST`
of the largest are left out. Told slowly, a blow is still one click, at its own moment.
"""

from __future__ import annotations

import subprocess
import wave
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import NotWritten
from snapsim.render import targets
from snapsim.render.board import Storyboard
from snapsim.render.board_show import segments_of
from snapsim.render.formats.piping import SAME_BYTES, encoder_program
from snapsim.render.timeline import Timeline
from snapsim.simulation.trajectory import Trajectory

SAMPLES: Final = 48_000
"""Samples a second, the rate of film and video (AES5-2018; from memory)."""
LOUDEST: Final = 0.5
"""Of full scale: 6 dB are left to the editor."""
FAINTEST: Final = 0.01
TONES: Final = ((1870.0, 0.030, 0.5), (3140.0, 0.018, 0.35), (5230.0, 0.010, 0.25))
"""Frequency [Hz], decay [s] and share of the tones of a click."""
NOISE: Final = (0.004, 0.5)
CODECS: Final = {
    ".mp4": ("-c:a", "aac", "-b:a", "192k", "-movflags", "+faststart"),
    ".mov": ("-c:a", "pcm_s16le"),
    ".webm": ("-c:a", "libopus", "-b:a", "128k"),
}


@dataclass(frozen=True)
class HeardBlow:
    """A blow at a clip time `at` [s], of an `impulse` [N s]."""

    at: float
    impulse: float


def heard(
    runs: Sequence[Trajectory], lags: Sequence[float], line: Timeline
) -> tuple[HeardBlow, ...]:
    """Return the blows of runs, each shown `lags` [s] later, in every telling that shows them."""
    found = []
    told = [p for p in line.pieces if p.kind in ("play", "replay")]
    for run, lag in zip(runs, lags, strict=True):
        for blow in run.impacts:
            time = blow.time + lag
            shots = {p.shot for p in told if p.sim < time <= p.sim_at(p.until) + 1e-9}
            found += [HeardBlow(line.clip_at(time, shot), blow.impulse) for shot in shots]
    return tuple(sorted(found, key=lambda blow: (blow.at, blow.impulse)))


def heard_in(board: Storyboard) -> tuple[HeardBlow, ...]:
    """Return the blows of a storyboard's films on its own clock, told in step at release."""
    found = []
    for segment in segments_of(board):
        if segment.line is not None:
            lags = [0.0] * len(segment.shot.runs)
            for blow in heard(segment.shot.runs, lags, segment.line):
                if segment.inner <= blow.at < segment.inner + segment.length:
                    shift = segment.start - segment.inner
                    found.append(HeardBlow(blow.at + shift, blow.impulse))
    return tuple(found)


def track(blows: Sequence[HeardBlow], seconds: float) -> Array:
    """Return the sound (n,) of a film, -1 to 1."""
    sound = np.zeros(round(seconds * SAMPLES))
    most = max((blow.impulse for blow in blows), default=0.0)
    one = click()
    for blow in blows:
        start, share = round(blow.at * SAMPLES), blow.impulse / most if most > 0 else 0.0
        if share >= FAINTEST and start < len(sound):
            piece = sound[start : start + len(one)]
            piece += share * one[: len(piece)]
    top = float(np.abs(sound).max(initial=0.0))
    found: Array = sound * (LOUDEST / top) if top > 0 else sound
    return found


def click() -> Array:
    """Return one click (n,), 1 at its highest."""
    time = np.arange(round(0.15 * SAMPLES)) / SAMPLES
    chance = np.random.default_rng(1).normal(size=len(time))
    sound = NOISE[1] * chance * np.exp(-time / NOISE[0])
    for frequency, decay, share in TONES:
        sound += share * np.sin(2 * np.pi * frequency * time) * np.exp(-time / decay)
    found: Array = sound / np.abs(sound).max()
    return found


def add(sound: Array, film: Path, overwrite: bool) -> Path:
    """Put a sound (n,) into the film at `film`; into a WAV file beside it where its format has no
    sound. Returns where it is."""
    codec = CODECS.get(film.suffix.lower())
    if codec is None:
        beside = film.with_suffix(".wav")
        targets.check_target(beside, ".wav", overwrite)
        part = targets.temporary_beside(beside)
        _write(sound, part)
        targets.put(part, beside)
        return beside
    part, heard_there = targets.temporary_beside(film), targets.temporary_beside(film)
    heard_there = heard_there.with_suffix(".wav")
    try:
        _write(sound, heard_there)
        command = [encoder_program(), "-y", "-v", "error", "-i", str(film), "-i", str(heard_there)]
        command += ["-map", "0:v", "-map", "1:a", "-c:v", "copy", *codec, *SAME_BYTES, str(part)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            reason = (done.stderr.strip().splitlines() or ["no reason given"])[0]
            raise NotWritten(f"{film}: has no sound, the encoder stopped: {reason}")
        targets.put(part, film)
    finally:
        part.unlink(missing_ok=True)
        heard_there.unlink(missing_ok=True)
    return film


def _write(sound: Array, path: Path) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SAMPLES)
        file.writeframes(np.round(32767 * sound).astype("<i2").tobytes())
