"""Bars of force and torque on kinds of parts and magnets that few constants were chosen on.

One or several parts of a kind beside magnets of a kind, anywhere near, at any attitude. The truth
is the same method on more cells, so this sees what cells err by, not what the method does: finite
elements judge that in `test_bars_*.py` and `test_close_accuracy.py`. That truth has a bar of its
own, printed last of four: a miss by less than that tells nothing.

    python tests/simulation/drawn_bars_family.py KINDS DETAIL CELLS FIRST LAST

KINDS are names of `LONE` and `SEVERAL` with commas between them, or "lone", "several". With some
600 CELLS a lone part takes 1 to 10 s of processor time, several take 3 to 30 s.
"""

import sys
import time
from typing import NamedTuple

import numpy as np
from scipy.spatial import ConvexHull

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import (
    Box,
    Compound,
    Cylinder,
    HexNut,
    Mesh,
    Piece,
    Prism,
    Ring,
    Shape,
    Sphere,
)
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.system import System

STILL = rotations.IDENTITY
LYING = rotations.from_axis_angle([1, 0, 0], np.pi / 2)
EDGE = rotations.from_axis_angle([0, 1, 0], np.pi / 4)
UP = np.array([0.0, 0.0, 1.0])
CELLS = 600


class Placed(NamedTuple):
    shape: Shape
    place: np.ndarray
    turn: np.ndarray = STILL
    magnetised: np.ndarray | None = None
    fixed: bool = False


# --- shapes of lone parts ---


def plate(u):
    return Box((u(0.02, 0.1), u(0.02, 0.1), 10 ** u(-3.2, -2.5)))


def block(u):
    return Box(tuple(u(0.01, 0.06, 3).tolist()))


def bar(u):
    w = u(0.003, 0.012)
    return Box((w, w * u(0.4, 1), w * u(8, 20)))


def rod(u):
    w = u(0.003, 0.012)
    return Cylinder(w, w * u(5, 18))


def disc(u):
    return Cylinder(u(0.015, 0.09), u(0.003, 0.02))


def washer(u):
    r = u(0.01, 0.06)
    return Ring(2 * r, 2 * r * u(0.2, 0.8), u(0.001, 0.006))


def tube(u):
    r = u(0.008, 0.04)
    return Ring(2 * r, 2 * (r - u(0.001, 0.004)), u(0.015, 0.08))


def nut(u):
    a = u(0.01, 0.06)
    return HexNut(a, a * u(0.4, 0.65), a * u(0.3, 1))


def angle(u):
    a, b, t = u(0.02, 0.06), u(0.02, 0.06), u(0.003, 0.012)
    return Prism(((0, 0), (a, 0), (a, t), (t, t), (t, b), (0, b)), u(0.01, 0.06))


def ball(u):
    return Sphere(u(0.01, 0.06))


def tee(u):
    a, t, b = u(0.03, 0.08), u(0.005, 0.015), u(0.03, 0.08)
    stem = Piece(Box((t, 2 * t, b)), np.array([0, 0, -(b + t) / 2]))
    return Compound((Piece(Box((a, 2 * t, t))), stem))


def channel(u):
    a, b, c, t = u(0.03, 0.06), u(0.02, 0.05), u(0.02, 0.06), u(0.003, 0.008)
    sides = [Piece(Box((t, c, b)), np.array([x * (a - t) / 2, 0, -(b + t) / 2])) for x in (-1, 1)]
    return Compound((Piece(Box((a, c, t))), *sides))


def hammer(u):
    """A block on a rod, whose cells do not match."""
    head, long = Box(tuple(u((0.03, 0.012, 0.012), (0.07, 0.025, 0.025)).tolist())), u(0.03, 0.07)
    below = np.array([0, 0, -(head.size[2] + long) / 2])
    return Compound((Piece(head), Piece(Cylinder(2 * u(0.003, 0.006), long), below)))


def stone(u):
    """A convex mesh of ten corners."""
    p = u(-1, 1, (10, 3))
    p *= u(0.01, 0.04) * u(0.5, 1.2, 3) / np.linalg.norm(p, axis=1)[:, None]
    p = p[ConvexHull(p).vertices]
    hull = ConvexHull(p)
    out = np.cross(
        p[hull.simplices[:, 1]] - p[hull.simplices[:, 0]],
        p[hull.simplices[:, 2]] - p[hull.simplices[:, 0]],
    )
    inward = np.einsum("fi,fi->f", out, hull.equations[:, :3]) < 0
    return Mesh(p, np.where(inward[:, None], hull.simplices[:, ::-1], hull.simplices))


LONE = {
    f.__name__: f
    for f in (
        plate, block, bar, rod, disc, washer, tube, nut, angle, ball, tee, channel, hammer, stone,
    )
}  # fmt: skip


def a_box(u, least=0.003):
    return Box((u(0.015, 0.05), u(0.015, 0.05), u(least, 0.02)))


def reach(shape, turn, way):
    """How far a shape reaches from its centre along a world direction [m]."""
    if isinstance(shape, Sphere):
        return shape.diameter / 2
    return float((rotations.rotate(turn, shape.surface(96)[0]) @ way).max())


def under(shape, turn, top):
    """Height of the centre of a shape whose top is at `top`."""
    return top - reach(shape, turn, UP)


def any_turn(rng):
    which = rng.integers(4)
    q = rng.normal(size=4)
    return (STILL, LYING)[which] if which < 2 else q / np.linalg.norm(q)


# --- magnets of lone parts, over the part: their lower faces at z = 0 ---


def magnets(rng):
    u, kind = rng.uniform, rng.integers(6)
    if kind == 0:
        shapes = [Box((u(0.02, 0.2), u(0.02, 0.2), u(0.01, 0.06)))]
    elif kind == 1:
        shapes = [Cylinder(u(0.02, 0.15), u(0.01, 0.06))]
    elif kind == 2:
        r = u(0.02, 0.08)
        shapes = [Ring(2 * r, 2 * r * u(0.2, 0.7), u(0.01, 0.05))]
    elif kind == 3:
        shapes = [Box((u(0.02, 0.08), u(0.02, 0.08), u(0.01, 0.04)))] * 2
    elif kind == 4:
        shapes = [Box((u(0.02, 0.1), u(0.02, 0.1), u(0.01, 0.06)))]
    else:
        shapes = [Sphere(u(0.02, 0.06))]
    half = shapes[0].extents
    if kind == 3:  # poles beside each other, opposite
        return [
            Placed(s, np.array([x * (half[0] + 0.0005), 0, half[2]]), STILL, x * UP, True)
            for s, x in zip(shapes, (-1, 1), strict=True)
        ], 2 * half[0]
    along = np.array([1.0, 0, 0]) if kind == 4 else UP
    return [Placed(shapes[0], half[2] * UP, STILL, along, True)], float(half[:2].min())


def lone(rng, kind):
    shape = LONE[kind](rng.uniform)
    fixed, wide = magnets(rng)
    turn, gap = any_turn(rng), 10 ** rng.uniform(-4, -1.5)
    aside = rng.uniform(-1.2, 1.2, 2) * wide * (rng.random() > 0.15)
    place = np.array([*aside, under(shape, turn, -gap)])
    return [*fixed, Placed(shape, place, turn)]


# --- several: below a wide pole whose face is z = 0 ---


def stacked(rng, top, one, other, gap, turn=STILL):
    """The second below the first, shifted."""
    z = under(one, STILL, -top)
    low = under(other, turn, z - reach(one, STILL, -UP) - gap)
    return [
        Placed(one, z * UP),
        Placed(other, np.array([*rng.uniform(-0.01, 0.01, 2), low]), turn),
    ]


def beside(rng, top, one, other, gap, turns=(STILL, STILL)):
    """The second beside the first, a little lower."""
    x = np.array([1.0, 0, 0])
    first = np.array([-gap / 2 - reach(one, turns[0], x), 0, under(one, turns[0], -top)])
    low = under(other, turns[1], -top - rng.uniform(0, 0.005))
    second = np.array([gap / 2 + reach(other, turns[1], -x), 0, low])
    return [Placed(one, first, turns[0]), Placed(other, second, turns[1])]


def plates(rng, top, gap):
    return stacked(rng, top, a_box(rng.uniform), a_box(rng.uniform), gap)


def tilted_plates(rng, top, gap):
    turn = rotations.from_axis_angle([*rng.normal(size=2), 0], rng.uniform(0.03, 0.4))
    return stacked(rng, top, a_box(rng.uniform), a_box(rng.uniform), gap, turn)


def nut_on_plate(rng, top, gap):
    turn = STILL if rng.random() < 0.6 else LYING
    return stacked(rng, top, a_box(rng.uniform), nut(rng.uniform), gap, turn)


def ball_on_plate(rng, top, gap):
    return stacked(rng, top, a_box(rng.uniform), Sphere(rng.uniform(0.01, 0.04)), gap)


def rims(rng, top, gap):
    u, turn = rng.uniform, STILL if rng.random() < 0.5 else LYING
    one, other = (Cylinder(2 * u(0.008, 0.03), u(0.004, 0.03)) for _ in range(2))
    return beside(rng, top, one, other, gap, (turn, turn))


def edges(rng, top, gap):
    turns = EDGE, any_turn(rng)
    return beside(rng, top, a_box(rng.uniform, 0.012), a_box(rng.uniform, 0.012), gap, turns)


def stones(rng, top, gap):
    return beside(rng, top, stone(rng.uniform), stone(rng.uniform), gap)


def peg(rng, top, gap):
    """A ring loose on a peg, aside."""
    u, r = rng.uniform, rng.uniform(0.006, 0.02)
    ring, pin = Ring(2 * (r + gap + u(0.002, 0.006)), 2 * (r + gap), u(0.004, 0.02)), u(0.03, 0.08)
    z = -top - ring.length / 2 - u(0, 1) * (pin - ring.length)
    place = np.array([u(-0.6, 0.6) * gap, 0, z])
    return [Placed(ring, place), Placed(Cylinder(2 * r, pin), (-top - pin / 2) * UP)]


def sandwich(rng, top, gap):
    """Iron between the pole and a free magnet."""
    part, magnet = stacked(rng, top, a_box(rng.uniform), a_box(rng.uniform), gap)
    return [part, magnet._replace(magnetised=UP * rng.choice([-1, 1]))]


def round_a_magnet(rng, top, gap):
    """Iron on two sides of a free magnet that is magnetised across."""
    magnet, part = beside(rng, top, a_box(rng.uniform), a_box(rng.uniform), gap)
    other = a_box(rng.uniform)
    x = magnet.place[0] - magnet.shape.extents[0] - gap - other.extents[0]
    return [
        magnet._replace(magnetised=np.array([1.0, 0, 0])),
        part,
        Placed(other, np.array([x, 0, under(other, STILL, -top)])),
    ]


def in_a_row(rng, top, gap):
    one, other = beside(rng, top, a_box(rng.uniform), a_box(rng.uniform), gap)
    disc = Cylinder(2 * rng.uniform(0.006, 0.02), rng.uniform(0.004, 0.02))
    x = other.place[0] + other.shape.extents[0] + gap + disc.diameter / 2
    return [one, other, Placed(disc, np.array([x, 0, under(disc, STILL, -top)]))]


SEVERAL = {
    f.__name__: f
    for f in (
        plates, tilted_plates, nut_on_plate, ball_on_plate, rims, edges, stones, peg, sandwich,
        round_a_magnet, in_a_row,
    )
}  # fmt: skip


def several(rng, kind):
    top, gap = 10 ** rng.uniform(-3.5, -1.4), 10 ** rng.uniform(-3.6, -2.4)
    pole = Box((rng.uniform(0.04, 0.2), rng.uniform(0.04, 0.2), 0.04))
    aside = np.append(rng.uniform(-0.5, 0.5, 2) * pole.extents[:2], 0.0)
    placed = [p._replace(place=p.place + aside) for p in SEVERAL[kind](rng, top, gap)]
    return [Placed(pole, 0.02 * UP, STILL, UP, True), *placed]


def drawn(kind, seed, detail):
    """The system of a kind and a seed."""
    rng = np.random.default_rng([seed, *kind.encode()])
    saturation = None if rng.random() < 0.1 else float(rng.uniform(0.5, 2.2))
    curve = MagnetisationCurve(float(10 ** rng.uniform(1, 4.3)), saturation)
    iron = Material("test iron", 7800.0, curve)
    grade = Material("test magnet", 7500.0, remanence=float(rng.uniform(0.35, 1.45)))
    placed = (lone if kind in LONE else several)(rng, kind)
    bodies = [
        Body(f"body{k}", p.shape, iron if p.magnetised is None else grade, p.magnetised, p.fixed)
        for k, p in enumerate(placed)
    ]
    places, turns = np.array([p.place for p in placed]), np.array([p.turn for p in placed])
    start = State(Pose(places, turns), np.zeros_like(places), np.zeros_like(places))
    rules = SurfaceRules(SurfacePair())
    return System("test", "", tuple(bodies), start, rules, np.zeros(3), 1.0, detail)


class Judged(NamedTuple):
    """Of one free body: force and torque's size, error, bar, the truth's own bar, in per cent of
    the largest force or [mN m]."""

    name: str
    force: tuple[float, float, float, float]
    torque: tuple[float, float, float, float]

    @property
    def outside(self):
        """By how much an error is beyond its bar, as 'F' and 'T', '!' where the truth's own bar
        does not account for it."""
        told = ""
        for letter, (_, error, bar, own) in (("F", self.force), ("T", self.torque)):
            if error > bar:
                told += letter + ("!" if error > bar + own else "")
        return told


def judged(kind, seed, detail, cells=CELLS):
    """Return a `Judged` of each free body."""
    system, finer = (drawn(kind, seed, d) for d in (detail, cells))
    found, true = (PoseAccuracy(s).at(s.start.pose) for s in (system, finer))
    largest = float(np.linalg.norm(true.force.value, axis=1).max()) / 100
    rows = []
    for k, body in enumerate(system.bodies):
        if body.fixed:
            continue
        columns = []
        for unit, one, other in (
            (largest, found.force, true.force), (1e-3, found.torque, true.torque),
        ):  # fmt: skip
            off = np.linalg.norm(one.value[k] - other.value[k])
            size = np.linalg.norm(other.value[k])
            columns.append(tuple(x / unit for x in (size, off, one.error[k], other.error[k])))
        rows.append(Judged(body.name, *columns))
    return rows


def main(kinds, detail, cells, first, last):
    names = {"lone": LONE, "several": SEVERAL}.get(kinds, kinds.split(","))
    every = []
    for seed in range(first, last):
        for kind in names:
            start = time.process_time()
            for row in judged(kind, seed, detail, cells):
                every.append(row)
                told = [f"{x:8.3f}" for x in (*row.force, *row.torque)]
                told = f"F % {' '.join(told[:4])}   T mN m {' '.join(told[4:])}"
                spent = time.process_time() - start
                print(
                    f"{seed:3d} {kind:14s} {row.name} {told} {spent:4.0f} s {row.outside}",
                    flush=True,
                )
    for name in ("force", "torque"):
        a = np.array([getattr(row, name) for row in every])
        print(
            f"{name}: {np.sum(a[:, 1] <= a[:, 2])} of {len(a)} covered,"
            f" {np.sum(a[:, 1] <= a[:, 2] + a[:, 3])} with the truth's own bar;"
            f" bar over error {np.median(a[:, 2] / np.maximum(a[:, 1], 1e-12)):.1f} in the median"
        )


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], *(int(x) for x in sys.argv[3:6]))
