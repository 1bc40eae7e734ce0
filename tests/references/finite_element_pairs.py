"""Two coaxial iron parts close together under a cylinder magnet, drawn by seed, by finite elements.

    OMP_NUM_THREADS=1 python tests/references/finite_element_pairs.py     (about eight minutes)

rewrites finite_element_pairs.json beside it: discs and rings of equal or unlike outline, flat faces
0.1 to 6 mm apart, susceptibility 50 to 3 000, 2 to 80 mm below a magnet. Method, grid and solver
are those of finite_element_force.py (total potential); the force on a part is Maxwell's stress
averaged over the air around it, and both parts' sum is told from the magnet's own field as well.
Nothing here imports snapsim.
"""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import finite_element_force as fe
import magpylib
import numpy as np
import skfem
from skfem import Functional, LinearForm
from skfem.helpers import dot, grad

Array = Any
RECORD = Path(__file__).with_suffix(".json")
MESHES = 4, 7
BY = "scikit-fem 12.0.2, axisymmetric biquadratic, n = 4 and 7 cells along half of every edge"


def ring(g: np.random.Generator) -> dict[str, float]:
    outer = g.uniform(10, 55) * 1e-3
    inner = 0.0 if g.random() < 0.4 else outer * g.uniform(0.15, 0.6)
    return {"inner_radius": inner, "outer_radius": outer, "length": g.uniform(4, 25) * 1e-3}


def draw(seed: int) -> dict[str, Any]:
    """An arrangement; the first part is the upper one, `distance` below the magnet. Metres."""
    g = np.random.default_rng(seed)
    one, other = ring(g), ring(g)
    if g.random() < 0.5:
        other = dict(one)
    magnet = {
        "radius": g.uniform(25, 100) * 1e-3,
        "length": g.uniform(15, 50) * 1e-3,
        "polarisation": g.uniform(1.1, 1.4),
    }
    return {
        "seed": seed,
        "magnet": magnet,
        "distance": float(np.exp(g.uniform(np.log(2), np.log(80))) * 1e-3),
        "gap": float(np.exp(g.uniform(np.log(0.1), np.log(6))) * 1e-3),
        "parts": [one, other],
        "susceptibility": float(np.exp(g.uniform(np.log(50), np.log(3000)))),
        "saturation": float(g.choice([1.2, 1.6, 2.0])),
    }


def axis(cuts: list[float], n: int) -> Array:
    """Points crowding toward every cut."""
    pieces = [a + fe.toward_both(b - a, n) for a, b in pairwise(cuts)]
    return np.concatenate([np.array(cuts[:1]), *(p[1:] for p in pieces)])


class Case:
    """Where the parts (low, high) lie, and the grid of one mesh."""

    def __init__(self, c: dict[str, Any], n: int) -> None:
        self.c, self.magnet, self.spans, top = c, c["magnet"], [], -c["distance"]
        for part in c["parts"]:
            low = top - part["length"]
            self.spans.append((part["inner_radius"], part["outer_radius"], low, top))
            top = low - c["gap"]
        (r1, o1, b1, t1), (r2, o2, b2, t2) = self.spans
        radii = [0.0]
        for r in sorted((r1, o1, r2, o2, self.magnet["radius"])):
            if r - radii[-1] > 1e-9:
                radii.append(r)
        wide = radii[-1]
        r = np.concatenate([axis(radii, n), wide + fe.outward(wide, fe.FAR, 3 * n)[1:]])
        heights = axis([b2, t2, b1, t1, 0.0, self.magnet["length"]], n)
        self.mesh = skfem.MeshQuad.init_tensor(r, fe.both_ways(heights, wide, fe.FAR, 3 * n))

    def part(self, k: int, x: Array) -> Array:
        inner, outer, low, high = self.spans[k]
        return (x[0] > inner) & (x[0] < outer) & (x[1] > low) & (x[1] < high)

    def iron(self, x: Array) -> Array:
        return self.part(0, x) | self.part(1, x)

    def field(self, x: Array) -> Array:
        """The magnet's own (H_r, H_z)."""
        m = self.magnet
        body = magpylib.magnet.Cylinder(
            polarization=(0, 0, m["polarisation"]),
            dimension=(2 * m["radius"], m["length"]),
            position=(0, 0, m["length"] / 2),
        )
        points = np.stack([x[0], np.zeros_like(x[0]), x[1]], axis=-1).reshape(-1, 3)
        return body.getH(points)[:, [0, 2]].T.reshape(x.shape)


def stress(case: Case, p: fe.Problem, u: Array, k: int, width: float) -> float:
    """Axial force on part k from Maxwell's stress in the air within `width` of it."""
    (inner, outer, low, high), x = case.spans[k], p.basis.doflocs
    away = np.maximum.reduce(
        [x[0] - outer, inner - x[0] if inner > 0 else -np.ones_like(x[0]), x[1] - high, low - x[1]]
    )
    share = np.clip((0.9 * width - away) / (0.8 * width), 0, 1)

    def density(w: Any) -> Array:
        h, slope = grad(w["u"]), grad(w["g"])
        return fe.ring_weight(w.x) * (h[1] * dot(h, slope) - 0.5 * dot(h, h) * slope[1])

    middle = p.basis.mesh.p[:, p.basis.mesh.t].mean(axis=1)
    air = p.basis.with_elements(np.flatnonzero(~case.iron(middle)))
    total = Functional(density).assemble(air, u=air.interpolate(u), g=air.interpolate(share))
    return -fe.MU_0 * float(total)


def solve(c: dict[str, Any], n: int) -> tuple[list[float], float]:
    """Forces on both parts by stress, and their sum by Kelvin's formula [N]."""
    case, m = Case(c, n), c["magnet"]
    iron = fe.Iron(c["susceptibility"], c["saturation"] / fe.MU_0)
    p = fe.axisymmetric(case.mesh, case.iron, iron)
    middle = p.basis.mesh.p[:, p.basis.mesh.t].mean(axis=1)
    in_magnet = (middle[0] < m["radius"]) & (middle[1] > 0) & (middle[1] < m["length"])
    load = LinearForm(lambda v, w: fe.ring_weight(w.x) * grad(v)[1]).assemble(
        p.basis.with_elements(np.flatnonzero(in_magnet))
    )
    p = replace(p, load=m["polarisation"] / fe.MU_0 * load)
    u, _ = fe.minimise(p)
    x, step = p.iron_basis.global_coordinates(), np.array([0.0, 1e-5])[:, None, None]
    slope = (case.field(x + step) - case.field(x - step)) / 2e-5
    kelvin = fe.MU_0 * float((fe.iron_volume(p) * (fe.magnetisation(p, u) * slope).sum(0)).sum())
    widths = min(c["gap"], c["distance"]), c["gap"]
    return [round(stress(case, p, u, k, widths[k]), 4) for k in range(2)], round(kelvin, 4)


def main() -> None:
    rows = []
    for seed in range(100):
        c = draw(seed)
        coarse, fine = (solve(c, n) for n in MESHES)
        c |= {"coarse": coarse[0], "force": fine[0], "both_by_kelvin": fine[1]}
        rows.append(json.dumps(c))
    lines = ",\n".join(rows)
    RECORD.write_text(f'{{"by": {json.dumps(BY)}, "cases": [\n{lines}\n]}}\n')


if __name__ == "__main__":
    main()
