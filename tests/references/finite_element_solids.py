"""Iron parts tilted and off centre near a magnet, drawn by seed, by finite elements in 3-D.

    pip install ngsolve==6.2.2608
    OMP_NUM_THREADS=1 python tests/references/finite_element_solids.py FIRST LAST

adds the seeds FIRST to LAST - 1 to finite_element_solids.json beside it (4 to 50 seconds each):
boxes, plates, balls, discs, rods, rings and nuts 0.05 to 50 mm under a box or cylinder, one to
three of them. Curved quadratic tetrahedra; the iron's potential u minimises

    G(u) = 1/2 int |grad u|^2 + int_iron L(|H|),   H = -grad(u + s),   L' = M,

s the potential whose gradient in each part is nearest to minus the magnet's field h (magpylib) at
the points of integration. Force mu0 int (grad h)^T M, and between parts Maxwell's stress of the
field of the iron, -int T grad(g), g from 1 on the part to 0 on all others. Its own error is some
0.5 % of the force: a ring of references known otherwise 0.4 %, two plates 0.4 %; a ball has a
torque of 4e-5 N m a newton where symmetry allows none. Nothing here imports snapsim.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import magpylib
import netgen.occ as occ
import ngsolve as ng
import numpy as np
from ngsolve.comp import IntegrationRuleSpace

Array = Any
MU_0 = 1.25663706212e-6
MILLI = 1e3  # the mesh is in millimetres
ORDER = 2
RECORD = Path(__file__).with_suffix(".json")
BY = "ngsolve 6.2.2608, curved quadratic tetrahedra, 5 along a part, finer at edges"
KINDS = (
    ("box", (1, 0.8, 0.5)), ("box", (1, 1, 0.15)), ("sphere", None), ("cylinder", 0.5),
    ("cylinder", 2.5), ("ring", (0.24, 0.33)), ("hex_nut", (0.55, 0.45)),
)  # fmt: skip


# --- what is drawn ------------------------------------------------------------------------------


def uneven(g: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(g.uniform(np.log(low), np.log(high))))


def shape(g: np.random.Generator) -> dict[str, Any]:
    kind, q = KINDS[g.integers(len(KINDS))]
    a = uneven(g, 0.015, 0.08)
    if kind == "box":
        return {"kind": kind, "size": [a * x for x in q]}
    if kind == "sphere":
        return {"kind": kind, "diameter": a}
    if kind == "cylinder":
        diameter = a if q < 1 else a / 2
        return {"kind": kind, "diameter": diameter, "length": diameter * q}
    if kind == "ring":
        inner, length = q[0] * a, q[1] * a / 2
        return {"kind": kind, "outer_diameter": a, "inner_diameter": inner, "length": length}
    return {"kind": kind, "across_flats": a, "bore": q[0] * a, "length": q[1] * a}


def turned(q: Array) -> Array:
    w, x, y, z = q
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def support(s: dict[str, Any], turn: Array, way: Array) -> float:
    """How far a shape reaches that way from its centre."""
    d = turn.T @ way
    if s["kind"] == "box":
        return float(np.abs(d) @ np.array(s["size"]) / 2)
    if s["kind"] == "sphere":
        return float(s["diameter"] / 2)
    if s["kind"] == "hex_nut":
        corners = s["across_flats"] / np.sqrt(3) * hexagon()
        return float((corners @ d[:2]).max() + abs(d[2]) * s["length"] / 2)
    wide = s.get("diameter") or s["outer_diameter"]
    return float(np.hypot(d[0], d[1]) * wide / 2 + abs(d[2]) * s["length"] / 2)


def hexagon() -> Array:
    angle = np.pi / 3 * np.arange(6)
    return np.stack([np.cos(angle), np.sin(angle)], axis=1)


def draw(seed: int) -> dict[str, Any]:
    """An arrangement; the pole is the plane z = 0, the parts below it. Metres."""
    g = np.random.default_rng([seed, 23])
    count = int(g.choice([1, 2, 3], p=[0.55, 0.35, 0.1]))
    if g.random() < 0.5:
        wide = g.uniform(0.04, 0.2)
        size = [wide, wide * g.uniform(0.5, 1), g.uniform(0.02, 0.05)]
        magnet, length = {"shape": {"kind": "box", "size": size}}, size[2]
    else:
        wide, length = g.uniform(0.04, 0.2), g.uniform(0.02, 0.05)
        magnet = {"shape": {"kind": "cylinder", "diameter": wide, "length": length}}
    magnet |= {"polarisation": g.uniform(1, 1.4), "position": [0, 0, length / 2]}
    parts: list[dict[str, Any]] = []
    for _ in range(count):
        parts.append(placed(g, parts, wide / 2))
    chi = uneven(g, 30, 5000)
    saturation = float(g.choice([1.2, 1.6, 2.0, 1e6]))
    return {
        "seed": seed, "magnets": [magnet], "parts": parts,
        "susceptibility": chi, "saturation": saturation,
    }  # fmt: skip


def placed(g: np.random.Generator, before: list[dict[str, Any]], half: float) -> dict[str, Any]:
    """The next part: under the pole, or below or beside the one before."""
    same = before and g.random() < 0.4
    s = dict(before[0]["shape"]) if same else shape(g)
    q = [1.0, 0.0, 0.0, 0.0]
    if g.random() >= 0.5:
        axis = g.normal(size=3)
        axis /= np.linalg.norm(axis)
        t = g.uniform(0, np.pi) / 2
        q = [float(np.cos(t)), *(np.sin(t) * axis).tolist()]
    if before and g.random() < 0.5:
        q = list(before[0]["quaternion"])
    turn, up = turned(q), np.array([0.0, 0.0, 1.0])
    if not before:
        gap = uneven(g, 0.05, 50) * 1e-3
        off, angle = g.choice([0.0, g.uniform(0, 1.2) * half]), g.uniform(0, 2 * np.pi)
        low = -gap - support(s, turn, up)
        place = np.array([off * np.cos(angle), off * np.sin(angle), low])
        return {"shape": s, "position": place.tolist(), "quaternion": q, "gap": gap}
    gap, last = uneven(g, 0.2, 20) * 1e-3, before[-1]
    way = np.array([0.0, 0.0, -1.0]) if g.random() < 0.5 else np.array([0.0, 1.0, 0.0])
    reach = support(last["shape"], turned(last["quaternion"]), way) + support(s, turn, -way)
    place = np.array(last["position"]) + way * (reach + gap)
    top = place[2] + support(s, turn, up)
    if top > -5e-5:
        place[2] -= top + 5e-5 + before[0]["gap"]
    return {"shape": s, "position": place.tolist(), "quaternion": q}


# --- how it is solved ---------------------------------------------------------------------------


def solid(s: dict[str, Any]) -> Any:
    """A shape about its centre, millimetres."""
    mm = {k: np.multiply(v, MILLI).tolist() for k, v in s.items() if k != "kind"}
    if s["kind"] == "box":
        a, b, c = (x / 2 for x in mm["size"])
        return occ.Box(occ.Pnt(-a, -b, -c), occ.Pnt(a, b, c))
    if s["kind"] == "sphere":
        return occ.Sphere(occ.Pnt(0, 0, 0), mm["diameter"] / 2)
    length = mm["length"]
    start, below = occ.Pnt(0, 0, -length / 2), occ.Pnt(0, 0, -length)
    if s["kind"] == "hex_nut":
        corners = mm["across_flats"] / np.sqrt(3) * hexagon()
        pen = occ.WorkPlane(occ.Axes((0, 0, -length / 2), occ.Z, occ.X)).MoveTo(*corners[0])
        for corner in [*corners[1:], corners[0]]:
            pen = pen.LineTo(*corner)
        bore = occ.Cylinder(below, occ.Z, mm["bore"] / 2, 2 * length)
        return pen.Face().Extrude(length * occ.Z) - bore
    wide = mm.get("diameter") or mm["outer_diameter"]
    body = occ.Cylinder(start, occ.Z, wide / 2, length)
    if s["kind"] == "ring":
        body = body - occ.Cylinder(below, occ.Z, mm["inner_diameter"] / 2, 2 * length)
    return body


def cell(s: dict[str, Any], along: float) -> tuple[float, float]:
    """Largest extent, and the length of a cell [mm]."""
    outer = ("diameter", "outer_diameter", "length", "across_flats")
    sizes = [*s.get("size", []), *(s[k] for k in outer if k in s)]
    thin = [*s.get("size", []), *(s[k] for k in ("length", "diameter") if k in s)]
    if s["kind"] == "ring":
        thin.append((s["outer_diameter"] - s["inner_diameter"]) / 2)
    return MILLI * max(sizes), MILLI * min(max(sizes) / along, 0.505 * min(thin))


def meshed(case: dict[str, Any], along: float) -> Any:
    """The parts in a ball of air eight times as large."""
    solids, reaches = [], []
    centre = MILLI * np.mean([p["position"] for p in case["parts"]], axis=0)
    for k, part in enumerate(case["parts"]):
        place, q = MILLI * np.array(part["position"]), np.array(part["quaternion"])
        body, axis = solid(part["shape"]), q[1:]
        if np.linalg.norm(axis) > 1e-12:
            way = occ.Axis(occ.Pnt(0, 0, 0), occ.Dir(*(axis / np.linalg.norm(axis))))
            body = body.Rotate(way, 2 * np.degrees(np.arccos(np.clip(q[0], -1, 1))))
        body = body.Move(occ.Vec(*map(float, place)))
        extent, size = cell(part["shape"], along)
        body.mat(f"iron{k}")
        body.maxh = size
        for edge in body.edges:
            edge.maxh = size / 2.5
        solids.append(body)
        reaches.append(np.linalg.norm(place - centre) + extent)
    far = 8 * max(reaches)
    air = occ.Sphere(occ.Pnt(*centre), far)
    air.faces.name = "outer"
    for body in solids:
        air = air - body
    air.mat("air")
    geometry = occ.OCCGeometry(occ.Glue([air, *solids]))
    mesh = ng.Mesh(geometry.GenerateMesh(maxh=far / 3, grading=0.5))
    mesh.Curve(ORDER)
    return mesh


def magnet_field(case: dict[str, Any]) -> Any:
    bodies = []
    for m in case["magnets"]:
        s, j = m["shape"], (0, 0, m["polarisation"])
        if s["kind"] == "box":
            body = magpylib.magnet.Cuboid(polarization=j, dimension=s["size"])
        else:
            size = (s["diameter"], s["length"])
            body = magpylib.magnet.Cylinder(polarization=j, dimension=size)
        body.position = m["position"]
        bodies.append(body)
    return lambda x: sum(body.getH(x) for body in bodies)


class Solved:
    """The potential of one case, and all at the points of integration in the iron."""

    def __init__(self, case: dict[str, Any], along: float = 5.0) -> None:
        self.case, self.mesh = case, meshed(case, along)
        self.chi, self.most = case["susceptibility"], case["saturation"] / MU_0
        parts = range(len(case["parts"]))
        self.iron = self.mesh.Materials("|".join(f"iron{k}" for k in parts))
        self.points = IntegrationRuleSpace(self.mesh, order=2 * ORDER, definedon=self.iron)
        self.dx = ng.dx(definedon=self.iron, intrules=self.points.GetIntegrationRules())
        self.x = np.array([self.at_points(c) for c in (ng.x, ng.y, ng.z)]).T / MILLI
        self.field = magnet_field(case)
        self.h = self.field(self.x)
        number = self.mesh.MaterialCF({f"iron{k}": k for k in parts})
        self.part = np.rint(self.at_points(number)).astype(int)
        self.space = ng.H1(self.mesh, order=ORDER, dirichlet="outer")
        self.s = self.source()
        self.u = self.minimised()

    def at_points(self, what: Any) -> Array:
        g = ng.GridFunction(self.points)
        g.Interpolate(what)
        return g.vec.FV().NumPy().copy()

    def source(self) -> Any:
        """s in each part."""
        components = []
        for i in range(3):
            g = ng.GridFunction(self.points)
            g.vec.FV().NumPy()[:] = self.h[:, i]
            components.append(g)
        space = ng.H1(self.mesh, order=ORDER, definedon=self.iron)
        u, v = space.TnT()
        a = ng.BilinearForm(ng.grad(u) * ng.grad(v) * self.dx + 1e-8 * u * v * self.dx).Assemble()
        f = ng.LinearForm(-ng.CF(tuple(components)) * ng.grad(v) * self.dx).Assemble()
        s = ng.GridFunction(space)
        s.vec.data = a.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * f.vec
        return s

    def secant(self, h: Any) -> Any:
        return self.chi / (1 + self.chi * ng.sqrt(h * h + 1e-3) / self.most)

    def minimised(self) -> Any:
        """Newton's method from the answer of unsaturated iron, with step halving."""
        u, v = self.space.TnT()
        free, w = self.space.FreeDofs(), ng.GridFunction(self.space)
        air = ng.BilinearForm(ng.grad(u) * ng.grad(v) * ng.dx, symmetric=True).Assemble()
        t = ng.sqrt((ng.grad(u) + ng.grad(self.s)) ** 2 + 1e-3) * self.chi / self.most
        local = ng.BilinearForm(self.space, symmetric=True)
        local += ng.Variation(self.most**2 / self.chi * (t - ng.log(1 + t)) * self.dx)
        product, trial = w.vec.CreateVector(), w.vec.CreateVector()

        def value(vector: Any) -> float:
            product.data = air.mat * vector
            return 0.5 * ng.InnerProduct(product, vector) + local.Energy(vector)

        linear = ng.BilinearForm(
            ng.grad(u) * ng.grad(v) * ng.dx + self.chi * ng.grad(u) * ng.grad(v) * self.dx,
            symmetric=True,
        ).Assemble()
        load = ng.LinearForm(-self.chi * ng.grad(self.s) * ng.grad(v) * self.dx).Assemble()
        w.vec.data = linear.mat.Inverse(free, inverse="sparsecholesky") * load.vec
        now, first = value(w.vec), 0.0
        for _ in range(40):
            h = -(ng.grad(w) + ng.grad(self.s))
            secant = self.secant(h)
            slope = (secant * secant / self.chi - secant) / (h * h + 1e-3)
            residual = ng.LinearForm(
                ng.grad(w) * ng.grad(v) * ng.dx - secant * h * ng.grad(v) * self.dx
            ).Assemble()
            tangent = ng.BilinearForm(
                ng.grad(u) * ng.grad(v) * ng.dx
                + secant * ng.grad(u) * ng.grad(v) * self.dx
                + slope * (h * ng.grad(u)) * (h * ng.grad(v)) * self.dx,
                symmetric=True,
            ).Assemble()
            move = w.vec.CreateVector()
            move.data = tangent.mat.Inverse(free, inverse="sparsecholesky") * residual.vec
            gain, share = ng.InnerProduct(move, residual.vec), 1.0
            trial.data = w.vec - move
            while value(trial) > now - 1e-4 * share * gain and share > 1e-4:
                share /= 2
                trial.data = w.vec - share * move
            w.vec.data, now, first = trial, value(trial), max(first, gain)
            if gain < 2e-5 * first and gain < 2e-5 * abs(now):
                break
        return w

    def loads(self) -> dict[str, Any]:
        """Force [N] and torque [N m] about its centre on each part."""
        field = -(ng.grad(self.u) + ng.grad(self.s))
        h = ng.CF(field)
        m = np.array([self.at_points((self.secant(h) * h)[i]) for i in range(3)]).T
        test = self.points.TestFunction()
        volume = ng.LinearForm(test * self.dx).Assemble().vec.FV().NumPy().copy() / MILLI**3
        step = 2e-5 * np.eye(3)
        slopes = np.stack(
            [(self.field(self.x + e) - self.field(self.x - e)) / 4e-5 for e in step], axis=1
        )
        force = MU_0 * volume[:, None] * np.einsum("qji,qi->qj", slopes, m)
        couple = MU_0 * volume[:, None] * np.cross(m, self.h)
        found: dict[str, Any] = {"force": [], "torque": []}
        for k, part in enumerate(self.case["parts"]):
            mine, centre = self.part == k, np.array(part["position"])
            pull, twist = self.mutual(k, centre)
            turning = np.cross(self.x[mine] - centre, force[mine]) + couple[mine]
            found["force"].append((force[mine].sum(axis=0) + pull).tolist())
            found["torque"].append((turning.sum(axis=0) + twist).tolist())
        return found

    def mutual(self, k: int, centre: Array) -> tuple[Array, Array]:
        """Load on part k from the other parts, by the stress of the iron's own field."""
        if len(self.case["parts"]) == 1:
            return np.zeros(3), np.zeros(3)
        space = ng.H1(self.mesh, order=1)
        g = ng.GridFunction(space)
        g.Set(1, definedon=self.mesh.Materials(f"iron{k}"))
        fixed = ng.BitArray(space.ndof)
        fixed.Clear()
        names = self.mesh.GetBoundaries()
        held = [e.dofs for e in space.Elements(ng.VOL) if e.mat != "air"]
        held += [e.dofs for e in space.Elements(ng.BND) if names[e.index] == "outer"]
        for dof in {d for dofs in held for d in dofs}:
            fixed.Set(dof)
        u, v = space.TnT()
        a = ng.BilinearForm(ng.grad(u) * ng.grad(v) * ng.dx).Assemble()
        start = g.vec.CreateVector()
        start.data = a.mat * g.vec
        g.vec.data -= a.mat.Inverse(~fixed, inverse="sparsecholesky") * start
        h, slope = -ng.grad(self.u), ng.grad(g)
        push = MU_0 * (h * (h * slope) - 0.5 * (h * h) * slope)
        arm = ng.CF((ng.x, ng.y, ng.z)) / MILLI - ng.CF(tuple(map(float, centre)))
        air = self.mesh.Materials("air")

        def total(what: Any) -> Array:
            whole = ng.Integrate(what, self.mesh, definedon=air, order=2 * ORDER)
            return -np.array(whole) / MILLI**2

        return total(ng.CF(tuple(push[i] for i in range(3)))), total(ng.Cross(arm, push))


def main(first: int, last: int) -> None:
    rows = {}
    if RECORD.exists():
        rows = {c["seed"]: c for c in json.loads(RECORD.read_text())["cases"]}
    for seed in range(first, last):
        if seed in rows:
            continue
        case = draw(seed)
        try:
            rows[seed] = case | Solved(case).loads()
        except Exception as error:  # a gap too thin to be meshed
            print(seed, repr(error)[:200], flush=True)
            continue
        lines = ",\n".join(json.dumps(rows[n]) for n in sorted(rows))
        RECORD.write_text(f'{{"by": {json.dumps(BY)}, "cases": [\n{lines}\n]}}\n')
        print(seed, np.round(rows[seed]["force"], 3).tolist(), flush=True)


if __name__ == "__main__":
    ng.SetNumThreads(1)
    main(int(sys.argv[1]), int(sys.argv[2]))
