"""Trust marks against truth: are figures called reproducible so in many perturbed runs?

    python tests/run/twin_family.py FIRST LAST RUNS TWINS

Random scenes (`random_scenes`) are released with TWINS twins; the truth is RUNS further releases,
each perturbed by a seed of its own and with field evaluations of its own. A figure counts as
reproducible in truth where all of them have it to twice `WITHIN` (the run itself may stand at one
end of the band).
"""

import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "simulation"))

from random_scenes import random_scene

from snapsim.run.figures_read import readings
from snapsim.run.release import release
from snapsim.run.twins import compared_twins, perturbed, release_with_twins
from snapsim.simulation.overlap import OverlapError
from snapsim.simulation.reproducibility import WITHIN, Trust


def claims(seed, runs, twins=1):
    """Return (name, mark, whether it is so) of each figure of a scene; empty if not compared."""
    scene = random_scene(seed)
    run = release_with_twins(scene.system, twins, meshes=scene.meshes)
    if run.twins is None or run.twins.runs < 2:
        return []
    truth = compared_twins(run, [_other(scene, 1000 * (seed + 1) + k) for k in range(runs)])
    return [
        (name, run.twins.trust(name), truth.outputs[name].difference <= 2 * WITHIN)
        for name in readings(run)
    ]


def _other(scene, seed):
    try:
        return release(
            perturbed(scene.system, seed), meshes=scene.meshes, magnetisation=False, frames=False
        )
    except OverlapError:
        return None


def main():
    first, last, runs, twins = (int(a) for a in sys.argv[1:5])
    counts = Counter()
    for seed in range(first, last):
        found = claims(seed, runs, twins)
        mine = Counter((mark.value, so) for _, mark, so in found)
        counts += mine
        wrong = [name for name, mark, so in found if mark == Trust.REPRODUCIBLE and not so]
        print(seed, dict(mine), wrong, flush=True)
    for mark in Trust:
        so, all_of = counts[mark.value, True], sum(n for (m, _), n in counts.items() if m == mark)
        print(f"{mark.value}: {all_of} figures, {so} the same in all {runs} further runs")


if __name__ == "__main__":
    main()
