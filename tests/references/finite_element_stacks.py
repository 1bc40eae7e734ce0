"""One, two or three coaxial iron parts under a cylinder magnet, drawn by seed, by finite elements.

    OMP_NUM_THREADS=1 python tests/references/finite_element_stacks.py FIRST LAST

adds the seeds FIRST to LAST - 1 to finite_element_stacks.json beside it (two to six seconds each):
discs and rings 0.05 to 50 mm under the pole and 0.05 to 20 mm from each other, narrower and wider
than the magnet, susceptibility 30 to 5 000, saturating and not. Method and solver are those of
finite_element_pairs.py. Which seeds served for tuning stands in
tests/simulation/test_bars_near_a_pole.py. Nothing here imports snapsim.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import finite_element_force as fe
import finite_element_pairs as pairs
import numpy as np
import skfem
from skfem import LinearForm
from skfem.helpers import grad

Array = Any
RECORD = Path(__file__).with_suffix(".json")
MESHES = 4, 6


PROPORTIONS = (
    (0.0, 0.12), (0.0, 0.3), (0.0, 0.8), (0.0, 2.5),
    (0.24, 0.33), (0.5, 0.3), (0.7, 0.5), (0.4, 1.2),
)  # fmt: skip
"""Bore and length over the outer radius: few, as cells of equal proportions share an operator."""


def uneven(g: np.random.Generator, low: float, high: float) -> float:
    """A number whose logarithm is even between those of two bounds."""
    return float(np.exp(g.uniform(np.log(low), np.log(high))))


def part(g: np.random.Generator) -> dict[str, float]:
    bore, length = PROPORTIONS[g.integers(len(PROPORTIONS))]
    outer = uneven(g, 8, 55) * 1e-3
    return {"inner_radius": bore * outer, "outer_radius": outer, "length": length * outer}


def draw(seed: int) -> dict[str, Any]:
    """An arrangement; the first part is the upper one, `gaps[0]` below the magnet. Metres."""
    g = np.random.default_rng([seed, 17])
    count = int(g.choice([1, 2, 3], p=[0.6, 0.25, 0.15]))
    parts = [part(g) for _ in range(count)]
    if g.random() < 0.5:
        parts = [dict(parts[0]) for _ in parts]
    return {
        "seed": seed,
        "magnet": {
            "radius": uneven(g, 10, 100) * 1e-3,
            "length": g.uniform(10, 50) * 1e-3,
            "polarisation": g.uniform(1.0, 1.4),
        },
        "gaps": [uneven(g, 0.05, 50) * 1e-3]
        + [uneven(g, 0.05, 20) * 1e-3 for _ in range(count - 1)],
        "parts": parts,
        "susceptibility": uneven(g, 30, 5000),
        "saturation": float(g.choice([1.2, 1.6, 2.0, 1e6], p=[0.25, 0.25, 0.25, 0.25])),
    }


class Stack(pairs.Case):
    """Where the parts (low, high) lie, and the grid of one mesh."""

    def __init__(self, c: dict[str, Any], n: int) -> None:
        self.c, self.magnet, self.spans, top = c, c["magnet"], [], 0.0
        for part, gap in zip(c["parts"], c["gaps"], strict=True):
            top -= gap
            self.spans.append(
                (part["inner_radius"], part["outer_radius"], top - part["length"], top)
            )
            top -= part["length"]
        radii = [0.0]
        every = [r for s in self.spans for r in s[:2]]
        for r in sorted([*every, self.magnet["radius"]]):
            if r - radii[-1] > 1e-9:
                radii.append(r)
        wide = radii[-1]
        r_axis = np.concatenate([pairs.axis(radii, n), wide + fe.outward(wide, fe.FAR, 3 * n)[1:]])
        heights = [h for s in reversed(self.spans) for h in s[2:]]
        inner = pairs.axis([*heights, 0.0, self.magnet["length"]], n)
        self.mesh = skfem.MeshQuad.init_tensor(r_axis, fe.both_ways(inner, wide, fe.FAR, 3 * n))

    def iron(self, x: Array) -> Array:
        return np.any([self.part(k, x) for k in range(len(self.spans))], axis=0)


def solve(c: dict[str, Any], n: int) -> tuple[list[float], float]:
    """Forces on the parts [N], and what Kelvin's formula has more than Maxwell's stress in all."""
    case, m = Stack(c, n), c["magnet"]
    iron = fe.Iron(c["susceptibility"], c["saturation"] / fe.MU_0)
    p = fe.axisymmetric(case.mesh, case.iron, iron)
    middle = p.basis.mesh.p[:, p.basis.mesh.t].mean(axis=1)
    in_magnet = (middle[0] < m["radius"]) & (middle[1] > 0) & (middle[1] < m["length"])
    load = LinearForm(lambda v, w: fe.ring_weight(w.x) * grad(v)[1]).assemble(
        p.basis.with_elements(np.flatnonzero(in_magnet))
    )
    p = replace(p, load=m["polarisation"] / fe.MU_0 * load)
    u, _ = fe.minimise(p)
    x, step = p.iron_basis.global_coordinates(), np.array([0.0, 2e-6])[:, None, None]
    slope = (case.field(x + step) - case.field(x - step)) / 4e-6
    kelvin = fe.MU_0 * float((fe.iron_volume(p) * (fe.magnetisation(p, u) * slope).sum(0)).sum())
    gaps = [*c["gaps"], np.inf]
    by_stress = [
        pairs.stress(case, p, u, k, min(gaps[k], gaps[k + 1], 0.01)) for k in range(len(case.spans))
    ]
    # of a part alone Kelvin's formula is the better one by far: the gradient of the same energy
    force = by_stress if len(by_stress) > 1 else [kelvin]
    return [round(f, 5) for f in force], round(kelvin - sum(by_stress), 5)


def main(first: int, last: int) -> None:
    known = json.loads(RECORD.read_text())["cases"] if RECORD.exists() else []
    rows = {c["seed"]: c for c in known}
    for seed in range(first, last):
        if seed in rows:
            continue
        c = draw(seed)
        try:
            coarse, fine = (solve(c, n) for n in MESHES)
        except RuntimeError as error:
            print(seed, error, flush=True)
            continue
        rows[seed] = c | {"coarse": coarse[0], "force": fine[0], "kelvin_less_stress": fine[1]}
        lines = ",\n".join(json.dumps(rows[k]) for k in sorted(rows))
        RECORD.write_text(f'{{"by": {json.dumps(by())}, "cases": [\n{lines}\n]}}\n')
        print(seed, coarse, fine, flush=True)


def by() -> str:
    cells = " and ".join(str(n) for n in MESHES)
    return f"scikit-fem 12.0.2, axisymmetric biquadratic, n = {cells} along half of every edge"


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
