"""What a clip's maker may choose, and the checks on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final, Literal

from snapsim.errors import InputError
from snapsim.render.cameras.shot import Shot
from snapsim.render.events import EventKind
from snapsim.render.rates import Rate

LAYERS: Final[dict[str, str]] = {
    "stage": "backdrop and ground; without it PNG pictures and ProRes are see-through",
    "glow": "iron glows the more, the nearer it is to saturation",
    "outlines": "a pale rim round what moves",
    "words": "one sentence and one number at a time, and how fast time runs",
    "caution": "the quiet caution in the corner",
    "figures": "time, speed, kinetic energy and gap",
    "trail": "the path of the leading part",
    "ghosts": "outlines of the parts at release and on the way",
    "velocity": "arrow of the leading part's velocity",
    "force": "arrow of the magnetic force on it",
    "torque": "arrow of the magnetic torque on it",
    "between": "what two free parts do to each other: two arrows, equal and opposite, a number",
    "magnetisation": "arrows of polarisation in soft parts",
    "section": "soft parts cut open, coloured by polarisation",
    "lines": "field lines of magnets and iron together",
    "bare": "field lines of the magnets alone, as if no iron were there",
    "gap": "the shortest way to the magnet",
    "hands": "places where a hand could be, and how far they have closed",
    "energy": "bars of what energy became of",
    "plot": "speed against time, running along",
    "slope": "energy of weight and pull as a slope, the part a bead on it; of one free part",
}
"""What can be switched on and off, and what it shows."""

DEFAULT_LAYERS: Final = frozenset({"stage", "glow", "words", "caution", "hands"})

DASHBOARD: Final = frozenset({"figures", "energy", "plot"})
"""Layers that stand in panels of their own: with any of them words keep to lines."""

BODIES: Final = ("all", "free", "fixed", "none", "alone")
ALIGNMENTS: Final = ("release", "impact")


def layers_of(shown: Iterable[str] = (), hidden: Iterable[str] = ()) -> frozenset[str]:
    """Return the default layers, those `shown` besides, without those `hidden`.

    Raises InputError for a name that is no layer.
    """
    for name in (*shown, *hidden):
        if name not in LAYERS:
            near = get_close_matches(name, LAYERS, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise InputError(
                f'"{name}" is no layer{hint}; layers are {", ".join(LAYERS)}', key="layer"
            )
    return frozenset((DEFAULT_LAYERS | set(shown)) - set(hidden))


@dataclass(frozen=True)
class ClipOptions:
    """Choices for a clip or a still.

    `width`, `height` [pixels], even; `fps` [1/s]; without `slow_motion` the run is told as
    `telling` has it: once in real time, then slow where something happens; with it, once, and that
    many times slower round the first impact (1: real time throughout), for `slow_window` (before,
    after) the impact [s of simulated time] (None: chosen); `events` are the kinds that are told;
    `supersample` draws four samples a pixel; `layers` are names of `LAYERS`; `cards` shows a
    question and an end card (`card` False: no end card); `bodies` are those that are drawn, "alone"
    the fixed as if there were no others; `freeze` [s of clip] is how long the picture stands at the
    impact; `shot` is the camera,
    `replay` that of what is told once more (None: told once only); `align` brings several runs in
    step; `workers` is how many processes draw; `overwrite` replaces an existing file.
    """

    width: int = 1280
    height: int = 720
    fps: Rate = 60
    slow_motion: float | None = None
    slow_window: tuple[float, float] | None = None
    events: frozenset[EventKind] = frozenset(EventKind)
    supersample: bool = True
    layers: frozenset[str] = DEFAULT_LAYERS
    cards: bool = True
    card: bool = True
    bodies: Literal["all", "free", "fixed", "none", "alone"] = "all"
    freeze: float = 1.2
    shot: Shot = field(default_factory=Shot)
    replay: Shot | None = field(default_factory=lambda: Shot("close-up"))
    align: Literal["release", "impact"] = "release"
    workers: int = 1
    overwrite: bool = False


def check_options(options: ClipOptions) -> None:
    """Raise InputError naming the first choice that cannot be drawn, and what is allowed."""
    for key, message in _problems(options):
        raise InputError(message, key=key)


def _problems(o: ClipOptions) -> Iterator[tuple[str, str]]:
    for key, value in (("width", o.width), ("height", o.height)):
        if value % 2:
            yield key, f"is {value}; must be even, as H.264 stores colour for 2 x 2 pixels"
        if not 240 <= value <= 4096:
            yield key, f"is {value}; must be 240 to 4096 pixels"
    if not 1 <= o.fps <= 240:
        yield "fps", f"is {o.fps}; must be 1 to 240 frames a second"
    if o.slow_motion is not None and not 1 <= o.slow_motion <= 10_000:
        yield "slow_motion", f"is {o.slow_motion:g}; must be 1 (off) to 10000 times slower"
    if o.slow_window is not None and not all(math.isfinite(w) and w >= 0 for w in o.slow_window):
        yield "slow_window", f"is {o.slow_window}; must be two times in seconds, 0 or more"
    if not 0 <= o.freeze <= 60 or 0 < o.freeze < 0.5:
        yield "freeze", f"is {o.freeze:g}; must be 0 (none) or 0.5 to 60 seconds"
    if not 1 <= o.workers <= 64:
        yield "workers", f"is {o.workers}; must be 1 to 64 processes"
    if o.bodies not in BODIES:
        yield "bodies", f'is "{o.bodies}"; must be one of {", ".join(BODIES)}'
    if o.align not in ALIGNMENTS:
        yield "align", f'is "{o.align}"; must be {" or ".join(ALIGNMENTS)}'
    unknown = sorted(o.layers - set(LAYERS))
    if unknown:
        yield "layers", f'"{unknown[0]}" is no layer; layers are {", ".join(LAYERS)}'
    for shot in (o.shot, o.replay):
        yield from shot.problems() if shot is not None else ()
