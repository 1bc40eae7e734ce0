"""One step of a blow at several contacts, solved by sweeps over its contact units.

The laws of the units and of friction, and what a step is, stand in `simultaneous_blows`. Each sweep
solves one contact after the other with the rest held, and passes what it changed on to those that
it acts on, by whole stretches of rows of W, which the machine takes several numbers at a time. The
axes of each contact's friction disk stay the same through a blow and are found once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.coulomb_cone import principal_axes, secular_root
from snapsim.numerics.compilation import bare, compiled

SWEEPS = 100
FEW = 12
"""Contacts up to which a step is solved to the last digits. For more, friction, which many contacts
that stick share among them in no one way, has `_RUBS` sweeps a step, each from where the last step
left it."""
_RUBS = 3
_COSINE, _SINE, _D1, _D2, _DETERMINANT = 0, 1, 2, 3, 4


class Units(NamedTuple):
    """Of c contact units: `restitution`, `friction`, `stiffness` k, `linear` (c,)."""

    restitution: Array
    friction: Array
    stiffness: Array
    linear: BoolArray


class CoupledContacts(NamedTuple):
    """W (3c, 3c) by what acts on what. Contact j acts on `near[first[j]:first[j + 1]]`, itself
    first, by the `block`s (3, 3) there. These are the columns from `low` to `high` of the runs
    `run[j]:run[j + 1]` of W's `rows`. `disk` (c, 5): cosine, sine, d1, d2 of the axes of its own
    tangential block, and the determinant of that, 0 where it is nearly singular."""

    first: IntArray
    near: IntArray
    block: Array
    rows: Array
    run: IntArray
    low: IntArray
    high: IntArray
    disk: Array


@compiled
def coupling_of(operator: Array) -> CoupledContacts:
    """Return W (3c, 3c) by its blocks."""
    count = operator.shape[0] // 3
    first, near = np.zeros(count + 1, dtype=np.int64), np.empty(count * count, dtype=np.int64)
    run = np.zeros(count + 1, dtype=np.int64)
    low, high = np.empty(count * count, dtype=np.int64), np.empty(count * count, dtype=np.int64)
    total, runs = 0, 0
    for j in range(count):
        near[total] = j
        total += 1
        for i in range(count):
            acts = i == j or _coupled(operator, 3 * j, 3 * i)
            if acts and i != j:
                near[total] = i
                total += 1
            if acts and runs > run[j] and high[runs - 1] == 3 * i:
                high[runs - 1] = 3 * i + 3
            elif acts:
                low[runs], high[runs] = 3 * i, 3 * i + 3
                runs += 1
        first[j + 1], run[j + 1] = total, runs
    block = np.empty((total, 3, 3))
    for j in range(count):
        for k in range(first[j], first[j + 1]):
            for x in range(3):
                for y in range(3):
                    block[k, x, y] = operator[3 * j + x, 3 * near[k] + y]
    return CoupledContacts(
        first, near[:total].copy(), block, operator, run, low[:runs].copy(), high[:runs].copy(),
        _disks(operator),
    )  # fmt: skip


@compiled
def _disks(operator: Array) -> Array:
    disk = np.empty((operator.shape[0] // 3, 5))
    for j in range(len(disk)):
        n = 3 * j + 1
        a, b, d = operator[n, n], operator[n, n + 1], operator[n + 1, n + 1]
        cosine, sine, d1, d2 = principal_axes(a, b, d)
        disk[j, _COSINE], disk[j, _SINE], disk[j, _D1], disk[j, _D2] = cosine, sine, d1, d2
        determinant = a * d - b * b
        regular = determinant > 1e-14 * (a + d) * (a + d)
        disk[j, _DETERMINANT] = determinant if regular else 0.0
    return disk


@bare
def _coupled(operator: Array, row: int, column: int) -> bool:
    """Tell whether an impulse at one contact is felt at the other."""
    for x in range(3):
        for y in range(3):
            if operator[row + x, column + y] != 0.0:
                return True
    return False


@bare
def sweeps(
    coupling: CoupledContacts,
    units: Units,
    u: Array,
    press: Array,
    gap: Array,
    step: float,
    theta: Array,
    scale: float,
    piece: Array,
    moved: Array,
) -> None:
    """Solve one step for `piece` by block Gauss-Seidel over the contacts, to and fro.

    Friction is left as it is once it is known well enough, and the normals settle to that.
    """
    count, rubs, rows = press.size, True, coupling.rows
    few = count <= FEW
    enough = (1e-13 if few else 1e-7) * scale
    for sweep in range(SWEEPS):
        change, rubbing = 0.0, 0.0
        for turn in range(count):
            j = turn if sweep % 2 == 0 else count - 1 - turn
            n = 3 * j
            w = rows[n, n]
            if w <= 0.0:
                continue
            a = u[n] + 0.5 * (moved[n] - w * piece[n])
            x = press[j]
            if x == 0.0 and piece[n] == 0.0 and a * step + gap[j] >= 0.0:
                continue
            p = _unit_impulse(
                a, 0.5 * w, x, gap[j], units.restitution[j], units.stiffness[j],
                units.linear[j], step,
            )  # fmt: skip
            d, d1, d2 = p - piece[n], 0.0, 0.0
            if rubs:
                d1, d2 = _rub(
                    rows, coupling.disk[j], u, n, moved, piece, d, units.friction[j], p, theta[j]
                )
            if d == 0.0 and d1 == 0.0 and d2 == 0.0:
                continue
            change = max(change, w * abs(d))
            rubbing = max(rubbing, rows[n + 1, n + 1] * abs(d1), rows[n + 2, n + 2] * abs(d2))
            piece[n] = p
            for r in range(coupling.run[j], coupling.run[j + 1]):
                _pass_on(rows, n, coupling.low[r], coupling.high[r], d, d1, d2, moved)
        rubs = rubs and rubbing > 100.0 * enough and (few or sweep < _RUBS)
        if change <= enough and not rubs:
            return


@bare
def _pass_on(
    rows: Array, n: int, low: int, high: int, d: float, d1: float, d2: float, moved: Array
) -> None:
    """Add what the three impulses of the contact at row n change, columns from `low` to `high`."""
    m, normal = moved[low:high], rows[n][low:high]
    if d1 == 0.0 and d2 == 0.0:
        for i in range(m.size):
            m[i] += normal[i] * d
        return
    first, second = rows[n + 1][low:high], rows[n + 2][low:high]
    for i in range(m.size):
        m[i] += normal[i] * d + first[i] * d1 + second[i] * d2


@bare
def _rub(
    rows: Array,
    disk: Array,
    u: Array,
    n: int,
    moved: Array,
    piece: Array,
    more: float,
    friction: float,
    normal: float,
    theta: float,
) -> tuple[float, float]:
    """Find the tangential impulse of one contact with everything else held, as `friction_disk`
    does; return its change. `more` is what its normal impulse has just grown by."""
    t1, t2, x1, x2 = piece[n + 1], piece[n + 2], 0.0, 0.0
    a, b, d = rows[n + 1, n + 1], rows[n + 1, n + 2], rows[n + 2, n + 2]
    radius = friction * normal
    if radius > 0.0 and a + d > 0.0:
        q1 = u[n + 1] / theta + moved[n + 1] - a * t1 - b * t2 + rows[n + 1, n] * more
        q2 = u[n + 2] / theta + moved[n + 2] - b * t1 - d * t2 + rows[n + 2, n] * more
        x1, x2 = _on_disk(a, b, d, disk, q1, q2, radius)
    piece[n + 1], piece[n + 2] = x1, x2
    return x1 - t1, x2 - t2


@bare
def _on_disk(
    a: float, b: float, d: float, disk: Array, q1: float, q2: float, radius: float
) -> tuple[float, float]:
    """Return what `friction_disk` does, whose axes are known."""
    determinant = disk[_DETERMINANT]
    if determinant > 0.0:
        x1, x2 = (b * q2 - d * q1) / determinant, (b * q1 - a * q2) / determinant
        if x1 * x1 + x2 * x2 <= radius * radius:
            return x1, x2
    c, s, d1, d2 = disk[_COSINE], disk[_SINE], disk[_D1], disk[_D2]
    b1, b2 = c * q1 - s * q2, s * q1 + c * q2
    root = secular_root(d1, d2, b1, b2, radius) + 1e-14 * (d1 + d2)
    x1, x2 = -b1 / (d1 + root), -b2 / (d2 + root)
    return c * x1 + s * x2, c * x2 - s * x1


@bare
def force(x: float, stiffness: float, linear: bool) -> float:
    """Return the force at a compression."""
    return stiffness * x if linear else float(stiffness * x * np.sqrt(x))


@bare
def stored(x: float, stiffness: float, linear: bool) -> float:
    """Return the work stored at a compression."""
    return 0.5 * stiffness * x * x if linear else float(0.4 * stiffness * x * x * np.sqrt(x))


@bare
def _mean_force(x: float, y: float, stiffness: float, linear: bool) -> float:
    """Return (E(y) - E(x))/(y - x), without cancellation."""
    if linear:
        return 0.5 * stiffness * (x + y)
    s, t = np.sqrt(x), np.sqrt(y)
    if s + t == 0.0:
        return 0.0
    top = t * t * t * t + t * t * t * s + t * t * s * s + t * s * s * s + s * s * s * s
    return float(0.4 * stiffness * top / (s + t))


@bare
def _unit_impulse(
    a: float,
    w: float,
    x: float,
    gap: float,
    e: float,
    stiffness: float,
    linear: bool,
    step: float,
) -> float:
    """Return p with mean velocity U = a + w p on the unit's own curve p(U), which falls with U."""
    if x == 0.0:
        return _closing_impulse(a, w, gap, stiffness, linear, step)
    full = step * force(x, stiffness, linear)
    if a + w * full <= 0.0:
        return step * _mean_force(
            x, _moved(a, w, x, stiffness, linear, step, step), stiffness, linear
        )
    if e == 0.0:
        return max(-a / w, 0.0)
    most = stored(x, stiffness, linear)
    due = e * e * most
    if a + w * most / x * step < x * e * e / step:
        y = _moved(a, w, x, stiffness, linear, step, step / (e * e))
        return step * _mean_force(x, y, stiffness, linear)
    root = float(np.sqrt(a * a + 4.0 * w * due))
    return 2.0 * due / (a + root) if a >= 0.0 else (root - a) / (2.0 * w)


@bare
def _moved(
    a: float, w: float, x: float, stiffness: float, linear: bool, step: float, reach: float
) -> float:
    """Return the compression y = x - reach (a + w p) at the end of a step, p = step mean force.

    Newton on a convex, rising function of y: from the right it cannot overshoot.
    """
    y = x
    for _ in range(40):
        mean = _mean_force(x, y, stiffness, linear)
        if linear:
            slope = 0.5 * stiffness
        elif abs(y - x) > 1e-6 * x:
            slope = (stiffness * y * np.sqrt(y) - mean) / (y - x)
        else:
            slope = 0.75 * stiffness * np.sqrt(x)
        misfit = y - x + reach * (a + w * step * mean)
        change = misfit / (1.0 + reach * w * step * slope)
        y = max(y - change, 0.0)
        if abs(change) <= 1e-15 * (x + y):
            break
    return y


@bare
def _closing_impulse(
    a: float, w: float, gap: float, stiffness: float, linear: bool, step: float
) -> float:
    """Return the impulse of an unloaded unit, which must close `gap` before it is compressed.

    With y the compression at the end, v = (y + gap)/step is how fast it closes, and p v = E(y).
    """
    y = -a * step - gap
    if y <= 0.0:
        return 0.0
    for _ in range(60):
        speed = (y + gap) / step
        push = stored(y, stiffness, linear) / speed
        rise = (force(y, stiffness, linear) - push / step) / speed
        change = (speed + w * push + a) / (1.0 / step + w * rise)
        y = max(y - change, 0.0)
        if abs(change) <= 1e-15 * (y + gap):
            break
    return float(stored(y, stiffness, linear) * step / (y + gap)) if y > 0.0 else 0.0
