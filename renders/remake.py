"""Makes all pictures and clips of this folder anew, one of each for every scene, named by it.

    python renders/remake.py [--stills] [SCENE ...]    (minutes for all: every scene is released)

SCENE.png is the main blow, else how parts part, else the end of the run; SCENE.mp4 its film, small.
"""

import sys
from pathlib import Path

from PIL import Image

import snapsim
from snapsim.render import ClipOptions, Shot, layers_of, render_clip, render_still
from snapsim.render.events import EventKind, find_events, main_blow

HERE = Path(__file__).parent
SCENES = HERE.parent / "scenarios"
STILL = ClipOptions(width=960, height=540, overwrite=True)
CLIP = ClipOptions(width=640, height=360, fps=30, overwrite=True)
WITH_LINES = ("two-magnets",)  # the still in which no iron glows
FROM_AFAR = ("two-magnets", "guard-and-crossbar")  # what matters is round the part: lines, a guard


def moment_of(run):
    """When the still is taken [s]: the main blow, else as parts begin to part, else the end."""
    blow = main_blow(run)
    if blow is not None:
        return blow.time
    apart = [e for e in find_events(run) if e.kind == EventKind.PARTING]
    return apart[0].start + 0.2 * (apart[0].end - apart[0].start) if apart else float(run.time[-1])


def remake(name, stills_only=False):
    """Release a scene and draw it."""
    run = snapsim.release(snapsim.load_scene(SCENES / f"{name}.toml"))
    when = moment_of(run)
    layers = layers_of(["lines"]) if name in WITH_LINES else STILL.layers
    still = HERE / f"{name}.png"
    shot = Shot("fixed" if name in FROM_AFAR else "near")
    render_still(run, when, still, ClipOptions(**{**vars(STILL), "layers": layers, "shot": shot}))
    with Image.open(still) as picture:
        picture.load()
    picture.save(still, optimize=True)
    if not stills_only:
        render_clip(run, HERE / f"{name}.mp4", CLIP)


def main():
    """Remake what is named, or all."""
    every = sorted(p.stem for p in SCENES.glob("*.toml") if p.suffixes == [".toml"])
    named = [name for name in sys.argv[1:] if not name.startswith("-")]
    for name in named or every:
        remake(name, "--stills" in sys.argv)
        print(name, flush=True)


if __name__ == "__main__":
    main()
