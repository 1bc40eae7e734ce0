"""A cylinder magnet over a wide thick plate of high permeability, drawn by seed.

    OMP_NUM_THREADS=1 python tests/references/finite_element_plates.py FIRST LAST

adds the seeds FIRST to LAST - 1 to finite_element_plates.json beside it (two to six seconds each):
round plates two and a half to six magnets wide, 1 to 30 mm below the magnet, far from saturation
(50 T), susceptibility 1e3 to 1e5. Method and solver are those of finite_element_stacks.py. "mirror"
is what the plate's half space pulls with, in closed form: a magnet's own image at twice the gap,
(mu - 1) / (mu + 1) as strong (Jackson, 3rd ed., section 4.4 of dielectrics; from memory), by the
charges of its ends. A plate pulls less, the less wide it is. Nothing here imports snapsim.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import finite_element_force as fe
import finite_element_stacks as stacks
import numpy as np
from scipy.integrate import quad
from scipy.special import j1

RECORD = Path(__file__).with_suffix(".json")


def draw(seed: int) -> dict[str, Any]:
    """An arrangement; the plate's face is `gaps[0]` below the magnet. Metres."""
    g = np.random.default_rng([seed, 31])
    radius = stacks.uneven(g, 8, 40) * 1e-3
    wide = radius * g.uniform(2.5, 6)
    magnet = {
        "radius": radius,
        "length": radius * g.uniform(0.4, 1.5),
        "polarisation": g.uniform(1.0, 1.4),
    }
    plate = {"inner_radius": 0.0, "outer_radius": wide, "length": wide * g.choice([0.25, 0.5, 1.0])}
    return {
        "seed": seed,
        "magnet": magnet,
        "gaps": [stacks.uneven(g, 1, 30) * 1e-3],
        "parts": [plate],
        "susceptibility": stacks.uneven(g, 1e3, 1e5),
        "saturation": 50.0,
    }


def mirror(c: dict[str, Any]) -> float:
    """Pull of a half space [N]: charged discs, pi a^2 J^2 / mu_0 int J_1(s)^2 / s exp(-s z/a) ds.

    As far apart as the ends are: 2 g, 2 g + 2 L once each, 2 g + L twice and against.
    """
    m, gap, chi = c["magnet"], c["gaps"][0], c["susceptibility"]
    a = m["radius"]

    def discs(z: float) -> float:
        # toward 0 the integrand goes as s / 4, and past some a / z it is gone
        found = quad(lambda s: j1(s) ** 2 / s * np.exp(-s * z / a), 0, 40 * a / z, limit=2000)
        return float(np.pi * a**2 * m["polarisation"] ** 2 / fe.MU_0 * found[0])

    ends = (2 * gap, 1), (2 * gap + 2 * m["length"], 1), (2 * gap + m["length"], -2)
    return chi / (chi + 2) * sum(k * discs(z) for z, k in ends)


def main(first: int, last: int) -> None:
    known = json.loads(RECORD.read_text())["cases"] if RECORD.exists() else []
    rows = {c["seed"]: c for c in known}
    for seed in range(first, last):
        if seed in rows:
            continue
        c = draw(seed)
        try:
            coarse, fine = (stacks.solve(c, n) for n in stacks.MESHES)
        except RuntimeError as error:
            print(seed, error, flush=True)
            continue
        rows[seed] = c | {"coarse": coarse[0], "force": fine[0], "mirror": round(mirror(c), 5)}
        lines = ",\n".join(json.dumps(rows[k]) for k in sorted(rows))
        RECORD.write_text(f'{{"by": {json.dumps(stacks.by())}, "cases": [\n{lines}\n]}}\n')
        print(seed, coarse[0], fine[0], rows[seed]["mirror"], flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
