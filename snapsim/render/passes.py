"""A clip in passes for a compositor: every element an image sequence of its own, see-through.

Laid one over another, from the plate up, they are the clip again, but that a pass knows nothing of
what another hides: lines are drawn whole, also where a body stands before them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from snapsim.errors import InputError
from snapsim.render.clip import Runs, render_clip
from snapsim.render.options import ClipOptions
from snapsim.render.reel import FramesProgress
from snapsim.render.show import plan
from snapsim.simulation.trajectory import Trajectory

PASSES: Final[dict[str, tuple[frozenset[str], str]]] = {
    "plate": (frozenset({"stage"}), "fixed"),
    "clean": (frozenset({"glow", "magnetisation", "section"}), "all"),
    "part": (frozenset({"glow", "magnetisation", "section"}), "free"),
    "lines": (frozenset({"lines"}), "none"),
    "words": (frozenset({"words"}), "none"),
    "caution": (frozenset({"caution"}), "none"),
}
"""Layers that a pass may have, and which bodies: the plate has the stage, the rig and the shadows
of what moves; `clean` is all bodies without a stage."""


def render_passes(
    runs: Runs,
    folder: Path,
    options: ClipOptions | None = None,
    names: Sequence[str] = tuple(PASSES),
    progress: FramesProgress | None = None,
) -> list[Path]:
    """Write passes of a clip into `folder`, each a folder of pictures SCENE.PASS.SHOT.FRAME.png;
    returns their folders. Raises InputError for an unknown pass, else as `render_clip` does."""
    options = options or ClipOptions()
    several = (runs,) if isinstance(runs, Trajectory) else tuple(runs)
    for name in names:
        if name not in PASSES:
            raise InputError(f'"{name}" is no pass; allowed: {", ".join(PASSES)}', key="passes")
    folder.mkdir(exist_ok=True)
    made = []
    for name in names:
        layers, bodies = PASSES[name]
        wanted = (
            layers if name in ("plate", "lines", "words", "caution") else layers & options.layers
        )
        own = replace(options, layers=wanted, bodies=bodies, card=False)  # type: ignore[arg-type]
        target = folder / name
        render_clip(several, target, own, progress)
        _rename(target, name, several, own)
        made.append(target)
    return made


def _rename(target: Path, name: str, runs: tuple[Trajectory, ...], options: ClipOptions) -> None:
    """Give pictures the names of scene, pass, shot and frame."""
    line, _ = plan(runs, options)
    scene = re.sub(r"[^a-z0-9]+", "-", runs[0].system.title.lower()).strip("-")[:40]
    for number, clip in enumerate(line.frame_times(options.fps)):
        shot = line.piece_at(clip).shot + 1
        picture = target / f"{number:06d}.png"
        picture.rename(target / f"{scene}.{name}.{shot:02d}.{number:06d}.png")
