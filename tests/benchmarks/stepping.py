"""Processor time of motions, warm, of this tree and others in turn, so that ratios bear other work.

    python tests/benchmarks/stepping.py [--rounds N] [--only NAME] [TREE ...]

Each TREE is a checkout of another version. Every round times every scene in a process of each tree;
the least of the rounds counts. Gear blank and bar are those of `scenarios`; the boxes are those of
`cost_of_many_boxes`; the box that tumbles has no field.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

HERE = Path(__file__).resolve()
ROOT = HERE.parents[2]
NAMES = ("gear blank", "bar on a hinge", "tumbling box", "20 boxes", "stack of ten")


def system_of(name):
    """Return the system that is timed under a name."""
    import numpy as np
    from cost_of_many_boxes import falling_boxes

    import snapsim
    from snapsim.parts.states import State

    if name == "gear blank":
        return replace(snapsim.load_scene(ROOT / "scenarios/gear-blank.toml"), duration=1.0)
    if name == "bar on a hinge":
        return snapsim.load_scene(ROOT / "scenarios/bar-on-a-hinge.toml")
    if name == "20 boxes":
        return falling_boxes(20)
    if name == "stack of ten":
        return falling_boxes(10, column=10, duration=0.4)
    one = replace(falling_boxes(1, duration=1.0), gravity=np.zeros(3))
    spin = np.array([[0.0, 0.0, 0.0], [0.1, 20.0, 0.05]])
    apart = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])  # a metre each, clear of each other
    pose = replace(one.start.pose, position=one.start.pose.position + apart)
    return replace(one, start=State(pose, np.zeros((2, 3)), spin))


def time_here(name):
    """Print seconds, end and steps of a scene's second release, with the package that is found."""
    import snapsim

    system = system_of(name)
    snapsim.release(system)
    began = time.process_time()
    run = snapsim.release(system)
    spent = time.process_time() - began
    place = float(abs(run.position[-1]).sum())
    print(json.dumps([spent, run.outcome, run.cost.steps, len(run.impacts), place]))


def timed(name, tree):
    """Run `time_here` with the package of a tree."""
    there = {**os.environ, "PYTHONPATH": str(tree)}
    command = [sys.executable, str(HERE), "--here", name]
    done = subprocess.run(command, env=there, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main():
    """Print a line a scene: seconds of each tree, the ratio to this one's, how the motion ended."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("trees", nargs="*", type=Path)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--only", choices=NAMES)
    parser.add_argument("--here", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.here:
        return time_here(asked.here)
    trees = [ROOT, *(tree.resolve() for tree in asked.trees)]
    for name in [asked.only] if asked.only else NAMES:
        rounds = [[timed(name, tree) for tree in trees] for _ in range(asked.rounds)]
        least = [min(one[i][0] for one in rounds) for i in range(len(trees))]
        ratios = ", ".join(f"{least[0] / other:.2f} of it" for other in least[1:])
        ends = " | ".join(f"{e} {n} steps, {b} blows, {p:.9g}" for _, e, n, b, p in rounds[0])
        print(f"{name:14s}", *(f"{s:6.2f} s" for s in least), ratios, ends, flush=True)
    return None


if __name__ == "__main__":
    main()
