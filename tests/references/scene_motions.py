"""Poses of every scene's release, thinned, so that cameras can be tried on all without releasing.

    python tests/references/scene_motions.py     (a minute or two; draft cells)

writes scene_motions.npz: for every scene its times, poses and velocities at some 120 frames and the
first blow worth announcing. Made by snapsim itself: a motion to look at, no reference of physics.
"""

from pathlib import Path

import numpy as np

FRAMES = 120
HERE = Path(__file__).parent
SCENES = HERE.parents[1] / "scenarios"


def scene_files():
    return sorted(p for p in SCENES.glob("*.toml") if p.suffixes == [".toml"])


def thinned(run):
    """Frames evenly apart in time and more round the first blow."""
    from snapsim.render.readings import first_blow

    blow = first_blow(run)
    end = float(run.time[-1])
    wanted = np.linspace(0, end, FRAMES // 2)
    if blow is not None:
        near = blow.time + np.linspace(-0.1, 0.1, FRAMES // 2) * min(end, 1.0)
        wanted = np.concatenate([wanted, near])
    index = np.unique(np.searchsorted(run.time, np.clip(wanted, 0, end)).clip(0, len(run.time) - 1))
    return index, blow


def main():
    import snapsim

    stored = {}
    for path in scene_files():
        run = snapsim.release(snapsim.load_scene(path, ['run.detail="draft"']))
        index, blow = thinned(run)
        for name in ("time", "position", "quaternion", "velocity"):
            stored[f"{path.stem}/{name}"] = getattr(run, name)[index].astype(np.float32)
        if blow is not None:
            stored[f"{path.stem}/blow"] = np.array([blow.time, *blow.point, blow.closing_speed])
            stored[f"{path.stem}/who"] = np.array([blow.body, blow.against])
        print(path.stem, len(index))
    np.savez_compressed(HERE / "scene_motions.npz", **stored)


if __name__ == "__main__":
    main()
