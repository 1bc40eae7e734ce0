"""What interpolating loads between solved poses spares and costs a release, scene by scene.

    python tests/benchmarks/interpolated_release.py [SCENE ...] [--detail normal] [--repeats 5]
    python tests/benchmarks/interpolated_release.py [SCENE ...] --starts 20

Each scene is released several times with interpolated loads (once more before that: kernels are
then loaded) and once with every pose solved (the integrator's bound just below that from which
loads are interpolated). Wall seconds, least and median, and solves of both; the energy of the first
blow relative to the run with every pose solved; the errors met where poses were solved all the
same; and how far the frames' magnetisation is off that of their poses, solved anew.

A rattle is chaotic: rounding decides its course, and with it what it costs. With `--starts` the
scene is released that many times from starts some 1e-12 m apart, and the quartiles of wall seconds
and solves are printed.
"""

import argparse
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

import snapsim
from snapsim.magnetics.model import MagneticModel
from snapsim.parts.states import Pose
from snapsim.run.release import release
from snapsim.run.steps import STEPS

SCENES = Path(__file__).parents[2] / "scenarios"
SOLVED = replace(STEPS, tolerances=replace(STEPS.tolerances, relative=0.99e-6))


def timed(scene, settings, repeats=1):
    """The last run, and the wall seconds of all, least first."""
    took = []
    for _ in range(repeats):
        began = time.perf_counter()
        run = release(scene, settings=settings)
        took.append(time.perf_counter() - began)
    return run, sorted(took)


def spread(scene, starts):
    """Quartiles, least and most of wall seconds and solves over starts a hair apart."""
    rows = []
    for k in range(starts):
        start = scene.start
        aside = np.zeros_like(start.pose.position)
        aside[[not body.fixed for body in scene.bodies], 0] = 1e-12 * k
        pose = replace(start.pose, position=start.pose.position + aside)
        moved = replace(scene, start=replace(start, pose=pose))
        run, (took,) = timed(moved, STEPS)
        rows.append((took, run.cost.field_evaluations))
    return np.percentile(rows, [0, 25, 50, 75, 100], axis=0).T


def first_energy(run):
    """Kinetic energy at the first blow [J]; nan without one."""
    return run.impacts[0].kinetic_energy if run.impacts else float("nan")


def shown_errors(run):
    """Errors of the frames' magnetisation (k,), root mean square as a share of itself."""
    system, state, errors = run.system, None, []
    model = MagneticModel(system.bodies, system.detail, 1e-9, recoil=system.recoil)
    names = [system.bodies[i].name for i in model.soft]
    for k, placed in enumerate(zip(run.position, run.quaternion, strict=True)):
        state = model.evaluate(Pose(*placed), state)
        pairs = [(run.magnetisation[n][k], m) for n, m in zip(names, state.magnetisation)]  # noqa: B905
        wrong = sum(float(np.sum((shown - true) ** 2)) for shown, true in pairs)
        errors.append((wrong / sum(float(np.sum(true**2)) for _, true in pairs)) ** 0.5)
    return np.array(errors)


def main():
    """Print a line a scene."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="*", default=["gear-blank"])
    parser.add_argument("--detail", default="normal")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--starts", type=int, default=0)
    chosen = parser.parse_args()
    for name in chosen.scenes:
        scene = snapsim.load_scene(SCENES / f"{name}.toml", [f"run.detail={chosen.detail}"])
        timed(scene, STEPS)
        if chosen.starts:
            wall, solves = spread(scene, chosen.starts)
            seconds = ", ".join(f"{t:.2f}" for t in wall)
            print(f"{name} ({chosen.detail}): {seconds} s on {solves.astype(int).tolist()} solves")
            continue
        quick, short = timed(scene, STEPS, chosen.repeats)
        slow, long = timed(scene, SOLVED)
        off = shown_errors(quick)
        met = quick.accuracy.get("interpolation_error_worst", float("nan"))
        change = first_energy(quick) / first_energy(slow) - 1
        middle, solves = short[len(short) // 2], quick.cost.field_evaluations
        print(
            f"{name} ({chosen.detail}): {short[0]:.2f} s (median {middle:.2f}) on {solves} solves,"
            f" every pose solved {long[0]:.2f} s on {slow.cost.field_evaluations}; first blow"
            f" {change:+.1e} of its energy; unaccounted {quick.audit.unaccounted_fraction:.1e},"
            f" {slow.audit.unaccounted_fraction:.1e}; worst error met {met:.1e};"
            f" frames' magnetisation off by {np.median(off):.1e} (median), {off.max():.1e} (worst)"
        )


if __name__ == "__main__":
    main()
