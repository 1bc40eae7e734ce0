"""What interpolating loads between solved poses spares and costs a release, scene by scene.

    python tests/benchmarks/interpolated_release.py [SCENE ...] [--detail normal]

Each scene is released twice with interpolated loads (the second counts: kernels are then loaded)
and once with every pose solved (the integrator's bound just below that from which loads are
interpolated). CPU seconds and solves of both, the energy of the first blow relative to the run
with every pose solved, and the errors met where poses were solved all the same.
"""

import argparse
import time
from dataclasses import replace
from pathlib import Path

import snapsim
from snapsim.simulation.release import STEPS, release

SCENES = Path(__file__).parents[2] / "scenarios"
SOLVED = replace(STEPS, tolerances=replace(STEPS.tolerances, relative=0.99e-6))


def timed(scene, settings):
    """The run and its CPU seconds."""
    began = time.process_time()
    run = release(scene, settings=settings)
    return run, time.process_time() - began


def first_energy(run):
    """Kinetic energy at the first blow [J]; nan without one."""
    return run.impacts[0].kinetic_energy if run.impacts else float("nan")


def main():
    """Print a line a scene."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="*", default=["gear-blank"])
    parser.add_argument("--detail", default="normal")
    chosen = parser.parse_args()
    for name in chosen.scenes:
        scene = snapsim.load_scene(SCENES / f"{name}.toml", [f"run.detail={chosen.detail}"])
        timed(scene, STEPS)
        quick, short = timed(scene, STEPS)
        slow, long = timed(scene, SOLVED)
        met = quick.accuracy.get("interpolation_error_worst", float("nan"))
        change = first_energy(quick) / first_energy(slow) - 1
        print(
            f"{name} ({chosen.detail}): {short:.2f} s on {quick.cost.field_evaluations} solves,"
            f" every pose solved {long:.2f} s on {slow.cost.field_evaluations}; first blow"
            f" {change:+.1e} of its energy; unaccounted {quick.audit.unaccounted_fraction:.1e},"
            f" {slow.audit.unaccounted_fraction:.1e}; worst error met {met:.1e}"
        )


if __name__ == "__main__":
    main()
