"""Random scenes from a seed: shapes of every kind, poses, joints, surfaces, magnets and iron.

Invented throughout. A scene has a table, perhaps guard walls, one to four free bodies that overlap
nothing at the start (some just above the table, so that they land soon), perhaps joints to the
world, to the table or to each other, perhaps a magnet that is fixed or free, perhaps iron. The
same seed gives the same scene; the meshes are coarse, since the runs are about motion.
"""

from dataclasses import dataclass

import numpy as np

from snapsim.magnetics.cells import mesh
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.joints import STILL, WORLD, Side, String, hinge, hold, slide
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Compound, Cylinder, HexNut, Piece, Prism, Ring, Sphere
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.simulation.system import System

WOOD = Material("test wood", 700.0)
IRON = Material("test iron", 7800.0, MagnetisationCurve(300.0, 1.8))
MAGNET = Material("test magnet", 7500.0, remanence=1.2)
CELLS = 24
"""Cells of an iron part: enough for a force that depends on the pose as a part's does."""


@dataclass(frozen=True)
class RandomScene:
    """A system, the cells of its iron by body number, and what kind of scene it is."""

    system: System
    meshes: dict
    kind: str


def random_scene(seed: int) -> RandomScene:
    """Return the scene of a seed."""
    rng = np.random.default_rng(seed)
    pull = rng.choice(["none", "none", "fixed magnet", "free magnets"])
    rows = _surroundings(rng)
    if pull == "fixed magnet":
        rows.append(_fixed_magnet(rng))
    fixed = len(rows)
    rows += _free_bodies(rng, rows, pull)
    bodies, start = tuple(row[0] for row in rows), _state(rng, rows, fixed)
    joints = _joints(rng, bodies, start, fixed)
    system = System(
        f"random scene {seed}",
        "",
        bodies,
        start,
        _surfaces(rng, len(bodies)),
        np.array([0.0, 0.0, -9.80665]),
        float(rng.uniform(0.2, 0.5)),
        "draft",
        joints=joints,
    )
    meshes = {i: mesh(b.shape, CELLS) for i, b in enumerate(bodies) if b.is_soft}
    kinds = ", ".join(sorted(type(j).__name__.lower() for j in joints)) or "no joints"
    shapes = " ".join(b.shape.kind for b in bodies[fixed:])
    return RandomScene(system, meshes, f"{pull}; {kinds}; {shapes}")


# -- bodies --------------------------------------------------------------------------------------


def _surroundings(rng):
    """The table, its top at z = 0, and perhaps two guard walls and a ceiling over it."""
    rows = [_row("table", Box((0.6, 0.6, 0.04)), WOOD, (0, 0, -0.02), fixed=True)]
    if rng.random() < 0.4:
        wall = Box((0.02, 0.6, 0.3))
        for name, x in (("left wall", -0.16), ("right wall", 0.16)):
            rows.append(_row(name, wall, WOOD, (x, 0, 0.15), fixed=True))
    if rng.random() < 0.15:
        rows.append(_row("ceiling", Box((0.3, 0.3, 0.02)), WOOD, (0, 0, 0.31), fixed=True))
    return rows


def _fixed_magnet(rng):
    shapes = [Box((0.06, 0.05, 0.03)), Cylinder(0.06, 0.03), Ring(0.06, 0.02, 0.03)]
    place = (*rng.uniform(-0.03, 0.03, 2), rng.uniform(0.19, 0.25))
    turn = _turn(rng) if rng.random() < 0.5 else None
    shape = shapes[rng.integers(3)]
    return _row("magnet", shape, MAGNET, place, turn, magnetised=(0, 0, -1), fixed=True)


def _free_bodies(rng, rows, pull):
    """One to four bodies that overlap nothing, set down at random or just above the table."""
    found = []
    for number in range(1, 1 + int(rng.choice([1, 2, 3, 4], p=[0.35, 0.3, 0.2, 0.15]))):
        for _ in range(200):
            row = _free_body(rng, f"part {number}", pull, number == 1)
            if _clear([*rows, *found, row]):
                found.append(row)
                break
    return found


def _free_body(rng, name, pull, first):
    shape = _shape(rng)
    material, direction = WOOD, None
    if pull == "fixed magnet" and (first or rng.random() < 0.6):
        material = IRON
    if pull == "free magnets" and (first or rng.random() < 0.5):
        material = IRON if rng.random() < 0.3 and not first else MAGNET
    if material is MAGNET:
        shape = [Box((0.03, 0.02, 0.012)), Cylinder(0.024, 0.014), Sphere(0.022)][rng.integers(3)]
        direction = [(0, 0, 1.0), (1.0, 0, 0)][rng.integers(2)]
    low = rng.random() < 0.5
    turn = _turn(rng)
    if low and rng.random() < 0.6:  # flat on one of its faces
        quarter = [(1, 0, 0), (0, 1, 0), (0, 0, 1)][rng.integers(3)]
        turn = rotations.from_axis_angle(quarter, 0.5 * np.pi * rng.integers(4))
    place = np.array([*rng.uniform(-0.11, 0.11, 2), rng.uniform(0.05, 0.2)])
    if low:
        place[2] = _lowest(shape, turn) + [1e-7, 1e-4, 1e-3][rng.integers(3)]
    return _row(name, shape, material, place, turn, magnetised=direction)


def _shape(rng):
    """A solid of some 15 to 60 mm, of any kind."""
    a, b, c = rng.uniform(0.015, 0.06, 3)
    kind = rng.integers(8)
    if kind == 0:
        return Box((a, b, c))
    if kind == 1:
        return Cylinder(a, b)
    if kind == 2:
        return Ring(max(a, 0.02), 0.45 * max(a, 0.02), 0.5 * b)
    if kind == 3:
        return Sphere(0.7 * a)
    if kind == 4:
        return HexNut(max(a, 0.02), 0.5 * max(a, 0.02), 0.4 * b)
    if kind == 5:
        return Prism(((0, 0), (a, 0), (0.3 * a, b)), c)
    if kind == 6:  # an angle, re-entrant
        t = 0.35 * min(a, b)
        return Prism(((0, 0), (a, 0), (a, t), (t, t), (t, b), (0, b)), 0.7 * c)
    head, grip = Box((0.4 * a, 0.8 * a, 0.3 * c)), Box((b, 0.25 * a, 0.3 * c))
    return Compound((Piece(head), Piece(grip, np.array([0.2 * a + 0.5 * b, 0, 0]))))


def _turn(rng):
    return rotations.normalise(rng.normal(size=4))


def _lowest(shape, turn):
    """How far the shape reaches below its centre [m]."""
    corners = shape.surface(24)[0] if shape.kind != "sphere" else None
    if corners is None:
        return float(shape.extents[2])
    return float(-rotations.rotate(turn[None], corners)[:, 2].min()) + 5e-6


def _row(name, shape, material, place, turn=None, magnetised=None, fixed=False):
    direction = None if magnetised is None else np.array(magnetised, dtype=float)
    quaternion = rotations.IDENTITY if turn is None else turn
    return Body(name, shape, material, direction, fixed), np.array(place, float), quaternion


def _clear(rows):
    """Does the last body overlap none of the others, and keep 1 mm from all but the table?"""
    pose = Pose(np.array([row[1] for row in rows]), np.array([row[2] for row in rows]))
    geometry = ContactGeometry([row[0] for row in rows], SurfaceRules())
    last = len(rows) - 1
    mine = np.any(geometry.pairs == last, axis=1)
    least = np.where(np.any(geometry.pairs[mine] == 0, axis=1), 0.0, 1e-3)
    return bool(np.all(geometry.gaps(pose)[mine] > least))


def _state(rng, rows, fixed):
    pose = Pose(np.array([row[1] for row in rows]), np.array([row[2] for row in rows]))
    velocity, spin = np.zeros((len(rows), 3)), np.zeros((len(rows), 3))
    for i in range(fixed, len(rows)):
        if rng.random() < 0.6:
            velocity[i] = rng.normal(scale=0.6, size=3)
            spin[i] = rng.normal(scale=6.0, size=3)
    return State(pose, velocity, spin)


def _surfaces(rng, count):
    """A default pair and an exception; some without friction or bounce, some with much."""

    def pair():
        restitution = float(rng.choice([0.0, 0.2, 0.5, 0.8]))
        return SurfacePair(restitution, float(rng.choice([0.0, 0.1, 0.35, 0.8])))

    return SurfaceRules(pair(), {(0, count - 1): pair()} if count > 1 else {})


# -- joints --------------------------------------------------------------------------------------


def _joints(rng, bodies, start, fixed):
    """None for half of the scenes, else one or two; two free bodies may hang on each other."""
    if rng.random() < 0.5 or fixed == len(bodies):
        return ()
    joints = [_joint(rng, bodies, start, fixed, fixed)]
    if len(bodies) - fixed > 1 and rng.random() < 0.5:
        joints.append(_joint(rng, bodies, start, fixed + 1, fixed))
    return tuple(joints)


def _joint(rng, bodies, start, body, fixed):
    """A joint of `body` to the world, to the table or to the free body before it."""
    others = [WORLD, 0] if body == fixed else [WORLD, body - 1]
    other = int(rng.choice(others))
    a, b = _side(start, body), _side(start, other)
    reach = float(np.linalg.norm(bodies[body].shape.extents))
    point = rng.uniform(-1, 1, 3) * bodies[body].shape.extents
    world = a.position + a.turn @ point
    kind = rng.choice(["string", "hinge", "slide", "hold"])
    name = f"{kind} of {bodies[body].name}"
    if kind == "string":
        anchor = world + rng.normal(size=3) * 0.05 + [0, 0, 0.06]
        length = float(np.linalg.norm(anchor - world)) * float(rng.choice([1.0, 1.1, 1.5]))
        points = np.array([point, b.turn.T @ (anchor - b.position)])
        limit = float(rng.choice([np.inf, np.inf, 5.0]))
        bounce = float(rng.choice([0.0, 0.0, 0.5, 1.0]))
        return String(
            name, (body, other), points, force_limit=limit, restitution=bounce, length=length
        )
    points = np.array([point, b.turn.T @ (world - b.position)])
    axis = rotations.normalise(np.append(rng.normal(size=3), 0.0))[:3]
    bounce = float(rng.choice([0.0, 0.5]))
    if kind == "hinge":
        stops = (-0.4, 0.9) if rng.random() < 0.5 else None
        rubs = float(rng.choice([0.0, 1e-3]))
        return hinge(
            name, (body, other), points, axis, a, b,
            stops=stops, friction_torque=rubs, restitution=bounce,
        )  # fmt: skip
    if kind == "slide":
        stops = (-0.02, 0.03) if rng.random() < 0.5 else None
        rubs = float(rng.choice([0.0, 0.3]))
        return slide(
            name, (body, other), points, axis, a, b,
            stops=stops, friction=rubs, restitution=bounce,
        )  # fmt: skip
    place = b.turn.T @ (a.position - b.position) + [*rng.uniform(-0.02, 0.02, 2), 0.3 * reach]
    turn = rotations.multiply(rotations.conjugate(b.quaternion), a.quaternion)
    path = ((0.1, place, turn),) if rng.random() < 0.6 else ()
    return hold(
        name, (body, other), points, a, b,
        path=path, until=float(rng.uniform(0.05, 0.25)), force_limit=float(rng.choice([5.0, 50.0])),
    )  # fmt: skip


def _side(start, number):
    if number == WORLD:
        return STILL
    q = start.pose.quaternion[number]
    return Side(
        start.pose.position[number],
        q,
        rotations.matrix(q),
        start.velocity[number],
        start.spin[number],
    )
