# ruff: noqa: E402  (one thread must be asked for before numpy is imported)
"""Time of one magnetic evaluation on one core, and of an FFT in place of the stored operator.

    python tests/benchmarks/time_per_pose.py [--json FILE] [--cells 200 1000 5000]

An invented scene: a saturating cast-iron ring turned and drawn along a path to the pole of a block
magnet. Per pose, everything: field and gradient of the magnet, magnetisation, force, torque,
energy. *cold*: each pose from nothing; *warm*: each from the poses before; *batch*: 256 of them
through `evaluate_many`. Process time, so other work on the machine does little. Errors of the force
are against a solve to 1e-13. Second table: one product with the demagnetising operator of a box of
equal cells, as stored here (lower triangles of eight blocks, float64) and by three-dimensional FFT
of the six block-circulant tensors (scipy.fft, real, padded to twice the cells; the kernel's
transform is not counted, the layout of scipy's fast lengths is used).
"""

from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse
import json
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import fft

from snapsim.magnetics.model import MagneticModel
from snapsim.magnetics.symmetric_blocks import buffer, layout, multiply
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS
from snapsim.parts.shapes import Box, Ring
from snapsim.parts.states import Pose

POSES = 256


def scene() -> tuple[Body, Body]:
    grade, iron = MATERIALS["NdFeB N45"], MATERIALS["grey cast iron"]
    magnet = Body("magnet", Box((0.12, 0.08, 0.04)), grade, np.array([0.0, 0.0, -1.0]), True)
    return magnet, Body("blank", Ring(0.11, 0.026, 0.018), iron, None, False)


def path(count: int) -> list[Pose]:
    """Poses of magnet and ring: on edge, from 30 mm off the pole to 1 mm, turning by 20 degrees."""
    poses = []
    for t in np.linspace(0.0, 1.0, count):
        turn = rotations.from_axis_angle([0.1, 1.0, 0.05], np.radians(88 - 20 * t * (1 - t)))
        height = -0.056 - 0.029 * (1 - t) ** 2
        place = np.array([[0.0, 0.0, 0.02], [0.004 * (1 - t), 0.002 * t, height]])
        poses.append(Pose(place, np.array([rotations.IDENTITY, turn])))
    return poses


def spent(work: Callable[[], Any]) -> tuple[float, Any]:
    began = time.process_time()
    found = work()
    return time.process_time() - began, found


def row(cells: int) -> dict[str, Any]:
    """Times [ms] and errors of one size."""
    build, model = spent(lambda: MagneticModel(scene(), cells, 1e-5))
    model.evaluate(path(2)[0])  # compiles
    poses = path(POSES)
    found: dict[str, Any] = {"cells": len(model.cells[1].volume), "build_s": build}
    model.tolerance = 1e-13
    exact = model.evaluate_many(poses).force[:, 1]
    for tolerance in (1e-5, 1e-8):
        model.tolerance = tolerance
        few = poses[:: max(1, len(poses) // 16)]
        cold = [spent(lambda p=p: model.evaluate(p))[0] for p in few]  # type: ignore[misc]
        state, warm = None, []
        for pose in poses:
            took, state = spent(lambda p=pose, s=state: model.evaluate(p, s))  # type: ignore[misc]
            warm.append(took)
        took, series = spent(lambda: model.evaluate_many(poses))
        error = np.linalg.norm(series.force[:, 1] - exact, axis=1) / np.linalg.norm(exact, axis=1)
        found[f"{tolerance:.0e}"] = {
            "cold_ms": 1e3 * float(np.mean(cold)),
            "warm_ms": 1e3 * float(np.mean(warm[8:])),
            "batch_ms": 1e3 * took / len(poses),
            "products": float(series.products[8:].mean()),
            "force_error_median": float(np.median(error)),
            "force_error_worst": float(error.max()),
        }
    return found


def stored_product(per_edge: int) -> tuple[int, float]:
    """Cells of a cube and the time [ms] of one stored product (of random blocks)."""
    base = (per_edge // 2) ** 3
    rng = np.random.default_rng(1)
    signs = np.array([[1 - 2 * (s >> k & 1) for k in range(3)] for s in range(8)], float)
    blocks = rng.normal(size=(8, 3 * base, 3 * base))
    where, stored = layout([base], [signs]), buffer([blocks])
    x = rng.normal(size=(8 * base, 3))
    return 8 * base, repeated(lambda: multiply(where, stored, x, np.empty_like(x)))


def fft_product(per_edge: int) -> float:
    """Time [ms] of the product of a cube of equal cells by FFT."""
    rng = np.random.default_rng(2)
    size = [fft.next_fast_len(2 * per_edge - 1, real=True)] * 3
    kernel = fft.rfftn(rng.normal(size=(6, *size)), axes=(1, 2, 3)).real
    x = rng.normal(size=(3, per_edge, per_edge, per_edge))

    def product() -> Any:
        m = fft.rfftn(x, size, axes=(1, 2, 3))
        xx, yy, zz, xy, xz, yz = kernel
        h = np.empty_like(m)
        h[0] = xx * m[0] + xy * m[1] + xz * m[2]
        h[1] = xy * m[0] + yy * m[1] + yz * m[2]
        h[2] = xz * m[0] + yz * m[1] + zz * m[2]
        back = fft.irfftn(h, size, axes=(1, 2, 3))
        return back[:, :per_edge, :per_edge, :per_edge]

    return repeated(product)


def repeated(work: Callable[[], Any]) -> float:
    """Least of several means [ms]."""
    work()
    once, _ = spent(work)
    count = int(min(max(0.05 / max(once, 1e-5), 3), 400))
    return 1e3 * min(spent(lambda: [work() for _ in range(count)])[0] / count for _ in range(3))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, nargs="*", default=[200, 1000, 5000])
    parser.add_argument("--json")
    chosen = parser.parse_args()
    rows = []
    for cells in chosen.cells:
        rows.append(row(cells))
        for tolerance in ("1e-05", "1e-08"):
            r = rows[-1][tolerance]
            print(
                f"{rows[-1]['cells']:6d} cells, bound {tolerance}: cold {r['cold_ms']:.2f} ms,"
                f" warm {r['warm_ms']:.2f} ms, batch {r['batch_ms']:.2f} ms a pose;"
                f" {r['products']:.1f} products; force off by {r['force_error_median']:.0e}"
                f" (median), {r['force_error_worst']:.0e} (worst)",
                flush=True,
            )
    products = []
    for per_edge in (4, 6, 8, 10, 12, 14, 16):
        count, stored = stored_product(per_edge)
        products.append({"cells": count, "stored_ms": stored, "fft_ms": fft_product(per_edge)})
        print(f"{count:6d} cells of a cube: stored {stored:.3f} ms, FFT", end=" ")
        print(f"{products[-1]['fft_ms']:.3f} ms a product", flush=True)
    if chosen.json:
        with open(chosen.json, "w", encoding="utf-8") as file:
            json.dump({"evaluations": rows, "products": products}, file, indent=1)


if __name__ == "__main__":
    main()
