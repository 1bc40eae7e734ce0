"""Mobility: what impulses do to bodies at a pose, with the joints' rows taken out.

    u' - u = W' g,    W' = W - R K R^T,    R = W J^T,    K = (J W J^T)^+

u (6n,) velocities and spins, g impulses, W the inverse masses and inertias in world axes, J (m, 6n)
the rows that joints keep (`linkage`). Without joints m = 0 and W' = W: bodies that are free are
those of a linkage of no joints, and what is reckoned with W' below is reckoned once for all.

One-sided rows G are contacts, in their own axes, and then strings and stops, each a row with two
idle axes that nothing rubs along:

    G W' G^T = G W G^T - (G R) K (G R)^T

The first part is made of blocks of the two bodies of each row (`delassus`). Where joints hold what
a row would move, to the share `HELD`, its rows and columns are zero: nothing can move there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.delassus import (
    apply_impulse,
    contact_frames,
    contact_jacobian,
    delassus_operator,
    impulse_response,
)
from snapsim.mechanics.linkage import HELD, Elimination, Linkage, Stack, inverse_mass_matrix
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics.compilation import compiled

HeldRows = tuple[Array, Array, Array]
"""J (m, 6n), R (6n, m) and K (m, m)."""

Lines = tuple[IntArray, Array]
"""One-sided rows of joints: their bodies (k, 2) and coefficients (k, 2, 6)."""

NO_LINES: Final[Lines] = (np.zeros((0, 2), dtype=np.int64), np.zeros((0, 2, 6)))
"""No such row."""

NO_ROOM: Final = np.zeros(0)
"""A number for each of no rows."""


@dataclass(frozen=True)
class Mobility:
    """W' at a pose: `inverse_mass` (n,), `inverse_inertia` (n, 3, 3) in world axes, and the rows
    `held`."""

    inverse_mass: Array
    inverse_inertia: Array
    held: HeldRows

    def yielding(self, position: Array, contacts: ContactSet) -> Array:
        """Return n W' n (c, 2) [1/kg] along the normals of contacts, and n W n."""
        return _yielding(
            position, self.inverse_mass, self.inverse_inertia, self.held, contacts.places
        )


def mobility(bodies: RigidBodies, quaternion: Array, held: Stack | None = None) -> Mobility:
    """Return W' at a pose with the rows `held` taken out."""
    inertia = bodies.inverse_inertia_world(quaternion)
    if held is None or not len(held):
        return Mobility(bodies.inverse_mass, inertia, nothing_held(len(inertia)))
    found = Elimination(held.jacobian, inverse_mass_matrix(bodies, quaternion))
    rows = held.jacobian, np.ascontiguousarray(found.response), found.inverse
    return Mobility(bodies.inverse_mass, inertia, rows)


def nothing_held(count: int) -> HeldRows:
    """Return the rows of no joint on `count` bodies."""
    return np.zeros((0, 6 * count)), np.zeros((6 * count, 0)), np.zeros((0, 0))


def lines(linkage: Linkage, stack: Stack) -> Lines:
    """Return the one-sided rows of a stack with their two bodies; the world moves with none."""
    ends, rows = np.zeros((len(stack), 2), dtype=np.int64), np.zeros((len(stack), 2, 6))
    for k, joint in enumerate(stack.joint.tolist()):
        for side, body in enumerate(linkage.joints[joint].bodies):
            if body >= 0:
                ends[k, side] = body
                rows[k, side] = stack.jacobian[k, 6 * body : 6 * body + 6]
    return ends, rows


@compiled
def assembled(
    position: Array,
    inverse_mass: Array,
    inverse_inertia: Array,
    held: tuple[Array, Array, Array],
    contacts: tuple[IntArray, Array, Array],
    limits: tuple[IntArray, Array],
) -> tuple[Array, IntArray, Array, Array, Array, Array]:
    """Return frames (c, 3, 3) of the contacts (pair, point, normal), then bodies, G and W G^T by
    blocks, G W' G^T and G R of these and of `limits` (bodies, coefficients)."""
    pair, point, normal = contacts
    frame = contact_frames(normal)
    rows = contact_jacobian(position, pair, point, frame)
    if len(limits[0]) > 0:
        pair, rows = _with_lines(pair, rows, limits[0], limits[1])
    response = impulse_response(inverse_mass, inverse_inertia, pair, rows)
    operator = delassus_operator(pair, rows, response)
    coupling = np.zeros((3 * len(pair), len(held[0])))
    if len(held[0]) > 0 or len(limits[0]) > 0:
        _take_out(operator, pair, rows, held[1], held[2], len(normal), coupling)
    return frame, pair, rows, response, operator, coupling


@compiled
def _with_lines(
    pair: IntArray, rows: Array, ends: IntArray, coefficients: Array
) -> tuple[IntArray, Array]:
    count, more = len(pair), len(ends)
    bodies = np.empty((count + more, 2), dtype=np.int64)
    whole = np.zeros((count + more, 2, 3, 6))
    for k in range(count + more):
        for side in range(2):
            bodies[k, side] = pair[k, side] if k < count else ends[k - count, side]
            for x in range(6):
                if k >= count:
                    whole[k, side, 0, x] = coefficients[k - count, side, x]
                    continue
                for axis in range(3):
                    whole[k, side, axis, x] = rows[k, side, axis, x]
    return bodies, whole


@compiled
def _take_out(
    operator: Array,
    pair: IntArray,
    rows: Array,
    response: Array,
    inverse: Array,
    contacts: int,
    coupling: Array,
) -> None:
    """Take the joints out of `operator` in place, fill in `coupling`, and give idle axes the
    diagonal of their row."""
    size, held = len(operator), len(inverse)
    loose = np.empty(size)
    for i in range(size):
        loose[i] = operator[i, i]
        for side in range(2):
            body = pair[i // 3, side]
            for j in range(held):
                for x in range(6):
                    coupling[i, j] += rows[i // 3, side, i % 3, x] * response[6 * body + x, j]
    weighed = np.zeros((size, held))
    for i in range(size):
        for j in range(held):
            for m in range(held):
                weighed[i, j] += coupling[i, m] * inverse[m, j]
    for i in range(size):
        for k in range(i + 1):
            taken = 0.0
            for j in range(held):
                taken += 0.5 * (weighed[i, j] * coupling[k, j] + weighed[k, j] * coupling[i, j])
            operator[i, k] -= taken
            operator[k, i] = operator[i, k]
    for n in range(3 * contacts, size, 3):
        operator[n + 1, n + 1] = operator[n + 2, n + 2] = operator[n, n]
        loose[n + 1] = loose[n + 2] = operator[n, n]
    for i in range(size):
        if not operator[i, i] > HELD * loose[i]:
            for k in range(size):
                operator[i, k] = operator[k, i] = 0.0


@compiled
def apply_impulses(
    velocity: Array,
    spin: Array,
    pair: IntArray,
    response: Array,
    impulse: Array,
    coupling: Array,
    held: tuple[Array, Array, Array],
) -> Array:
    """Add W' G^T p to `velocity` and `spin` (n, 3) in place; return impulses (m,) of rows held."""
    apply_impulse(velocity, spin, pair, response, impulse)
    pushed = np.zeros(len(held[0]))
    for j in range(len(pushed)):
        for i in range(len(impulse)):
            pushed[j] += coupling[i, j] * impulse[i]
    return give_held(velocity, spin, held, -pushed)


@compiled
def give_held(
    velocity: Array, spin: Array, held: tuple[Array, Array, Array], change: Array
) -> Array:
    """Change the rates of the rows held by `change` (m,) in place; return their impulses (m,)."""
    impulse = np.zeros(len(change))
    for j in range(len(change)):
        for m in range(len(change)):
            impulse[j] += held[2][j, m] * change[m]
    for body in range(len(velocity)):
        for j in range(len(change)):
            for i in range(3):
                velocity[body, i] += held[1][6 * body + i, j] * impulse[j]
                spin[body, i] += held[1][6 * body + 3 + i, j] * impulse[j]
    return impulse


@compiled
def held_rates(velocity: Array, spin: Array, rows: Array) -> Array:
    """Return J u (m,) of rows (m, 6n)."""
    rates = np.zeros(len(rows))
    for j in range(len(rows)):
        for body in range(len(velocity)):
            for i in range(3):
                rates[j] += rows[j, 6 * body + i] * velocity[body, i]
                rates[j] += rows[j, 6 * body + 3 + i] * spin[body, i]
    return rates


@compiled
def _yielding(
    position: Array,
    inverse_mass: Array,
    inverse_inertia: Array,
    held: tuple[Array, Array, Array],
    contacts: tuple[IntArray, Array, Array],
) -> Array:
    pair, point, normal = contacts
    rows = contact_jacobian(position, pair, point, contact_frames(normal))
    response = impulse_response(inverse_mass, inverse_inertia, pair, rows)
    found, coupling = np.zeros((len(pair), 2)), np.empty(len(held[0]))
    for c in range(len(pair)):
        coupling[:] = 0.0
        for side in range(2):
            for x in range(6):
                found[c, 1] += rows[c, side, 0, x] * response[c, side, 0, x]
                for j in range(len(coupling)):
                    coupling[j] += rows[c, side, 0, x] * held[1][6 * pair[c, side] + x, j]
        found[c, 0] = found[c, 1]
        for j in range(len(coupling)):
            for m in range(len(coupling)):
                found[c, 0] -= coupling[j] * held[2][j, m] * coupling[m]
    return found
