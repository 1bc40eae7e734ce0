"""How often the 95 % intervals hold the truth: synthetic footage of the gear blank, many seeds.

    python tests/benchmarks/gear_blank_footage.py [FIRST] [LAST]

Footage at 240 frames a second, 4 px/mm, 1 px of noise, 5 % of the places dropped, made and fitted
with draft cells: the motion's model is right by construction, so this checks the fit alone. A
minute of processor time a seed. Each interval alone should hold the truth in 95 of 100.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

import numpy as np

import snapsim
from snapsim.footage.fit.fitting import fit_footage
from snapsim.footage.match_file import load_match, match_from
from snapsim.footage.matching import make_tracks, read_footage

SCENES = Path(__file__).parents[2] / "scenarios"
SCENE, MATCH = str(SCENES / "gear-blank.toml"), str(SCENES / "gear-blank.match.toml")
TRUE = np.array([1.35, 0.3, 0.35])


def one(seed, run, folder):
    """Return the fitted values, which intervals hold the truth, releases and processor time."""
    document = load_match(MATCH)
    document["make"]["seed"] = seed
    document["fitting"]["finish"] = "draft"
    match = match_from(document, MATCH)
    path = folder / f"{seed}.csv"
    path.write_text(make_tracks(run, match, MATCH), encoding="utf-8")
    filmed = read_footage(str(path), match, MATCH, [b.name for b in run.system.bodies])
    found = fit_footage(SCENE, filmed, match, MATCH)
    ends = np.array(
        [
            [u.value(share) for share in (i.low, s, i.high)]
            for u, s, i in zip(
                found.unknowns, found.fitted.shares, found.intervals.intervals, strict=True
            )
        ]
    )
    inside = (ends[:, 0] <= TRUE) & (ends[:, 2] >= TRUE)
    return ends, inside, found


def main(first=1, last=20):
    """Print one line a seed and the counts."""
    changes = ['run.detail="draft"', 'run.duration="0.3 s"']
    run = snapsim.release(snapsim.load_scene(SCENE, changes))
    count = np.zeros(3, int)
    with TemporaryDirectory() as folder:
        for seed in range(first, last + 1):
            began = process_time()
            ends, inside, found = one(seed, run, Path(folder))
            count += inside
            print(
                f"{seed:3d}",
                "  ".join(f"{v:.5f} [{a:.5f}, {b:.5f}]" for a, v, b in ends),
                "".join("x" if i else "-" for i in inside),
                f"{found.computed} releases, {process_time() - began:.0f} s,"
                f" until {1e3 * found.fitted.until:.0f} ms",
                flush=True,
            )
    print(f"of {last - first + 1}: remanence {count[0]}, restitution {count[1]},"
          f" friction {count[2]} inside")  # fmt: skip


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
