"""Signorini's and Coulomb's laws at many contacts at once, on velocities.

Find p (3c,) with u = W p + q and, at every contact with axes (n, t1, t2),

    0 <= p_n  perpendicular to  u_n >= 0,    |p_t| <= mu p_n,    p_t = -mu p_n u_t/|u_t| if u_t != 0

the exact circular cone and the true, non-associated sliding law (nothing lifts off by sliding).
W (3c, 3c) symmetric positive semidefinite [1/kg], singular where contacts are redundant; q (3c,)
[m/s], p [N s], mu >= 0 (c,). Block Gauss-Seidel, each contact solved exactly, alternates with
semi-smooth Newton steps on the projection form

    p_n = max(z_n, 0),   p_t = projection of z_t on |.| <= mu max(z_n, 0),   z = p - r u,   r ~ 1/W

whose misfit, as a velocity, is the residual. Where contacts are redundant many p serve; proximal
rounds from zero choose the one that equal, stiff springs at all contacts would share out, so the
result depends neither on the order of contacts nor on the guess. Sources: Alart & Curnier, Comput.
Methods Appl. Mech. Eng. 92, 353 (1991); Acary, Bremond & Huber, On solving contact problems with
Coulomb friction, 2018 (both from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.coulomb_cone import SEPARATED, SLIDING, STICKING, solve_cone
from snapsim.mechanics.linear_system import solve_in_place
from snapsim.numerics.compilation import bare, compiled, part_of_caller
from snapsim.numerics.copying import copy

_CYCLES = 8
_FIRST_SWEEPS = 6
_NEWTON = 12
_PROXIMAL = 1e-4
_ROUNDS = 8


@compiled
def solve_contacts(
    operator: Array, q: Array, friction: Array, guess: Array, tolerance: float
) -> tuple[Array, float]:
    """Return the impulse (3c,) and its residual [m/s]; the best found where that exceeds tolerance.

    `tolerance` is a velocity [m/s]; `guess` (3c,) is where to start. Proximal rounds: W gains a
    small diagonal D and q loses D times the last round's p, so that each round is well posed.
    """
    shifted, shift, spans = operator.copy(), np.zeros(q.size), spans_of(operator)
    for k in range(friction.size):
        r = _scale(operator, 3 * k)
        for n in range(3 * k, 3 * k + 3):
            shift[n] = _PROXIMAL / r if r > 0.0 and friction.size > 1 else 0.0
            shifted[n, n] += shift[n]
    centre, best, least = np.zeros(q.size), guess.copy(), np.inf
    p, started = guess, bool(np.any(guess != 0.0))
    for turn in range(_ROUNDS):
        p = _solve_shifted(
            shifted, spans, q - shift * centre, friction, p, 0.1 * tolerance, started or turn > 0
        )
        before = least
        least = _keep(operator, spans, q, friction, p, best, least)
        if least <= tolerance or least > 0.9 * before:
            break
        centre = p
    return best, least


@part_of_caller
def _solve_shifted(
    operator: Array,
    spans: IntArray,
    q: Array,
    friction: Array,
    guess: Array,
    tolerance: float,
    near: bool,
) -> Array:
    """Return the impulse of one well-posed problem; Newton goes first where the guess is near."""
    p, best = guess.copy(), guess.copy()
    least = contact_residual(operator, spans, q, friction, p)
    sweeps = _FIRST_SWEEPS
    for cycle in range(_CYCLES):
        if least <= tolerance:
            break
        if cycle > 0 or not near:
            for _ in range(sweeps):
                if _sweep(operator, spans, q, friction, p) <= 0.1 * tolerance:
                    break
            least = _keep(operator, spans, q, friction, p, best, least)
            sweeps *= 2
        least = _newton(operator, spans, q, friction, p.copy(), best, least, tolerance)
    return best


@part_of_caller
def _newton(
    operator: Array,
    spans: IntArray,
    q: Array,
    friction: Array,
    p: Array,
    best: Array,
    least: float,
    tolerance: float,
) -> float:
    """Make Newton steps from `p`, keep the best point in `best`; return its residual."""
    idle = 0
    for _ in range(_NEWTON):
        if least <= tolerance or not _newton_step(operator, spans, q, friction, p):
            break
        before = least
        least = _keep(operator, spans, q, friction, p, best, least)
        idle = 0 if least < before else idle + 1
        if idle > 0 and least <= 100.0 * tolerance:
            return tolerance
    return least


@bare
def _keep(
    operator: Array, spans: IntArray, q: Array, friction: Array, p: Array, best: Array, least: float
) -> float:
    """Copy `p` to `best` if it is better; return the smaller residual."""
    residual = contact_residual(operator, spans, q, friction, p)
    if residual < least:
        copy(p, best)
        return residual
    return least


@bare
def _velocity(
    operator: Array, spans: IntArray, q: Array, p: Array, n: int
) -> tuple[float, float, float]:
    """Return the three velocities of the contact whose rows start at n."""
    x, y, z = q[n], q[n + 1], q[n + 2]
    for i in range(spans[n // 3, 0], spans[n // 3, 1]):
        x += operator[n, i] * p[i]
        y += operator[n + 1, i] * p[i]
        z += operator[n + 2, i] * p[i]
    return x, y, z


@compiled
def spans_of(operator: Array) -> IntArray:
    """Return between which columns (c, 2) the rows of each contact have other numbers than zero."""
    count, size = operator.shape[0] // 3, operator.shape[0]
    spans = np.empty((count, 2), dtype=np.int64)
    for k in range(count):
        n, low, high = 3 * k, 0, size
        while low < n and _are_zero(operator, n, low):
            low += 1
        while high > n + 3 and _are_zero(operator, n, high - 1):
            high -= 1
        spans[k, 0], spans[k, 1] = low, high
    return spans


@bare
def _are_zero(operator: Array, n: int, i: int) -> bool:
    """Tell whether three numbers of a column are zero, from row n on."""
    return bool(operator[n, i] == 0.0 and operator[n + 1, i] == 0.0 and operator[n + 2, i] == 0.0)


@bare
def _scale(operator: Array, n: int) -> float:
    """Return r = 1/(largest diagonal entry of the contact's block), 0 between fixed bodies."""
    size = max(operator[n, n], operator[n + 1, n + 1], operator[n + 2, n + 2])
    return 1.0 / size if size > 0.0 else 0.0


@bare
def contact_residual(
    operator: Array, spans: IntArray, q: Array, friction: Array, p: Array
) -> float:
    """Return the largest misfit of the projection form over all contacts [m/s]."""
    worst = 0.0
    for k in range(friction.size):
        n = 3 * k
        r = _scale(operator, n)
        if r == 0.0:
            continue
        u = _velocity(operator, spans, q, p, n)
        z_n = max(p[n] - r * u[0], 0.0)
        z1, z2 = p[n + 1] - r * u[1], p[n + 2] - r * u[2]
        length = np.hypot(z1, z2)
        factor = friction[k] * z_n / length if length > friction[k] * z_n else 1.0
        misfit = abs(p[n] - z_n) + np.hypot(p[n + 1] - factor * z1, p[n + 2] - factor * z2)
        worst = max(worst, misfit / r)
    return worst


@compiled
def _sweep(operator: Array, spans: IntArray, q: Array, friction: Array, p: Array) -> float:
    """Solve every contact once, the others held; return the largest change [m/s]."""
    change = 0.0
    local, fresh = np.empty(3), np.empty(3)
    for k in range(friction.size):
        n = 3 * k
        block = operator[n : n + 3, n : n + 3]
        u = _velocity(operator, spans, q, p, n)
        for i in range(3):
            local[i] = u[i] - block[i, 0] * p[n] - block[i, 1] * p[n + 1] - block[i, 2] * p[n + 2]
        solve_cone(block, local, friction[k], fresh)
        for i in range(3):
            change = max(change, block[i, i] * abs(fresh[i] - p[n + i]))
            p[n + i] = fresh[i]
    return change


@part_of_caller
def _newton_step(operator: Array, spans: IntArray, q: Array, friction: Array, p: Array) -> bool:
    """Move `p` by one semi-smooth Newton step; False where the linear system is singular."""
    active = np.empty(friction.size, dtype=np.int64)
    count = 0
    for k in range(friction.size):
        n = 3 * k
        r = _scale(operator, n)
        if r > 0.0 and p[n] - r * _velocity(operator, spans, q, p, n)[0] > 0.0:
            active[count] = k
            count += 1
    _clear_others(p, active, count)
    matrix, right = np.zeros((3 * count, 3 * count)), np.empty(3 * count)
    for i in range(count):
        _newton_rows(operator, spans, q, friction, p, active, count, i, matrix, right)
    if not solve_in_place(matrix, right):
        return False
    for i in range(count):
        for axis in range(3):
            p[3 * active[i] + axis] += right[3 * i + axis]
    return True


@part_of_caller
def _clear_others(p: Array, active: IntArray, count: int) -> None:
    """Set the impulse of all contacts but the first `count` of `active` to zero."""
    i = 0
    for k in range(active.size):
        if i < count and active[i] == k:
            i += 1
        else:
            p[3 * k : 3 * k + 3] = 0.0


@part_of_caller
def _newton_rows(
    operator: Array,
    spans: IntArray,
    q: Array,
    friction: Array,
    p: Array,
    active: IntArray,
    count: int,
    i: int,
    matrix: Array,
    right: Array,
) -> None:
    """Fill the three rows of the i-th active contact: u_n = 0, and stick or slip."""
    n, row = 3 * active[i], 3 * i
    mu, r = friction[active[i]], _scale(operator, n)
    u = _velocity(operator, spans, q, p, n)
    z_n, z1, z2 = p[n] - r * u[0], p[n + 1] - r * u[1], p[n + 2] - r * u[2]
    length = np.hypot(z1, z2)
    _velocity_rows(operator, active, count, row, n, matrix)
    right[row] = -u[0]
    if length <= mu * max(z_n, 0.0):
        for axis in range(1, 3):
            right[row + axis] = -u[axis]
        return
    s1, s2 = z1 / length, z2 / length
    bend, limit = mu * z_n / length, mu * z_n
    a, b, d = bend * (1.0 - s1 * s1), -bend * s1 * s2, bend * (1.0 - s2 * s2)
    for j in range(3 * count):
        w_n, w1, w2 = matrix[row, j], matrix[row + 1, j], matrix[row + 2, j]
        matrix[row + 1, j] = mu * s1 * w_n + a * w1 + b * w2
        matrix[row + 2, j] = mu * s2 * w_n + b * w1 + d * w2
    matrix[row + 1, row] -= mu * s1 / r
    matrix[row + 2, row] -= mu * s2 / r
    matrix[row + 1, row + 1] += (1.0 - a) / r
    matrix[row + 1, row + 2] -= b / r
    matrix[row + 2, row + 1] -= b / r
    matrix[row + 2, row + 2] += (1.0 - d) / r
    right[row + 1] = (limit * s1 - p[n + 1]) / r
    right[row + 2] = (limit * s2 - p[n + 2]) / r


@part_of_caller
def _velocity_rows(
    operator: Array, active: IntArray, count: int, row: int, n: int, matrix: Array
) -> None:
    """Copy three rows of W, columns of the active contacts only."""
    for axis in range(3):
        for j in range(count):
            for other in range(3):
                matrix[row + axis, 3 * j + other] = operator[n + axis, 3 * active[j] + other]


@compiled
def contact_status(u: Array, p: Array, friction: Array, tolerance: float) -> IntArray:
    """Return SEPARATED, STICKING or SLIDING for each contact (c,)."""
    status = np.empty(friction.size, dtype=np.int64)
    for k in range(friction.size):
        n = 3 * k
        slip, tangential = np.hypot(u[n + 1], u[n + 2]), np.hypot(p[n + 1], p[n + 2])
        if p[n] <= 0.0:
            status[k] = SEPARATED
        elif slip <= tolerance or tangential < friction[k] * p[n] * (1.0 - 1e-9):
            status[k] = STICKING
        else:
            status[k] = SLIDING
    return status
