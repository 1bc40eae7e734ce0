"""Blows at several contacts at once: bilinear contact units followed in small steps of time.

The pose is fixed; each contact j carries a normal force F_j >= 0 that the same stiffness k builds
up and a steeper one takes down, so that e^2 of the stored work F^2/2k comes back:

    dF/dt = -k u_n  (u_n < 0, compression),      dF/dt = -(k/e^2) u_n  (u_n > 0, restitution),
    du/dt = W (F, F f),     f: Coulomb's law with exact disks |f| <= mu, sticking where it can,

and a gap opens where F has gone to zero and closes before F rises again. Only ratios of impulses
matter, so k drops out for one contact, where this is Stronge's law; between contacts k is taken
equal (an assumption: it decides how a blow is shared). Steps obey the mean velocity U over the
step (implicit midpoint): the impulse p of a unit is a monotone function of U with p U equal to the
change of stored work exactly, so energy is never gained, and is kept to rounding at e = 1, mu = 0.
Steps are cut where u_n changes sign under load. Friction acts on the mean velocity too, on the
end velocity near stick; a step whose friction would do positive work is repeated on the mean.

Units: u (3c,) [m/s], W (3c, 3c) [1/kg], p (3c,) [kg m/s]; time and force are scaled, with
k = 1/max eigenvalue of W_nn. Second order in the step. Sources: bilinear unit after Stronge,
Impact Mechanics, 2nd ed. 2018, ch. 3 and 10; Nguyen & Brogliato, Multiple Impacts in Dissipative
Granular Chains, 2014 (both from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.coulomb_cone import friction_disk
from snapsim.numerics.compilation import bare, compiled

STEP = 0.01
"""Step times the highest frequency; the error of a blow is about STEP^2."""
_SWEEPS = 100
_MOST_STEPS = 50_000
_QUIET = 1e-6


@compiled
def simultaneous_blows(
    operator: Array, start: Array, restitution: Array, friction: Array, fineness: float
) -> tuple[Array, Array, Array, int]:
    """Return impulse (3c,), normal and friction work (c,) [J], and the number of steps.

    `start` (3c,) is the contact velocity before, `fineness` the step (STEP is the usual one).
    Every contact counts as touching at the start. Ends with no contact closing.
    """
    count = restitution.size
    force, gap = np.zeros(count), np.zeros(count)
    impulse, u = np.zeros(3 * count), start.copy()
    work = np.zeros((2, count))
    piece, turn = np.zeros(3 * count), np.zeros(count)
    stiffness = 1.0 / _highest(operator)
    scale = max(np.max(np.abs(start)), 1e-300)
    closing = _closing(start)
    steps, last = 0, fineness
    while steps < _MOST_STEPS:
        if np.max(force) == 0.0 and (_closing(u) <= _QUIET * closing or not _fly(u, gap)):
            break
        piece *= fineness / last
        last = _one_step(
            operator, u, force, gap, restitution, friction, stiffness, fineness, scale, piece, turn
        )
        impulse += piece
        before = u
        u = _advance(operator, u, piece, work, turn)
        steps += 1
        if _jammed(before, u, closing, last):
            break
    _stop_closing(operator, u, impulse, work, scale)
    return impulse, work[0], work[1], steps


@compiled
def _highest(operator: Array) -> float:
    """Return the largest eigenvalue of W_nn within rounding of a Gershgorin-started power loop."""
    count = operator.shape[0] // 3
    x = np.ones(count)
    for j in range(count):
        x[j] += 0.1 * j / count
    size = 0.0
    for _ in range(60):
        y = np.zeros(count)
        for i in range(count):
            for j in range(count):
                y[i] += operator[3 * i, 3 * j] * x[j]
        size = np.max(np.abs(y))
        if size == 0.0:
            return 1.0
        x = y / size
    return size


@bare
def _closing(u: Array) -> float:
    """Return the largest closing speed [m/s]."""
    largest = 0.0
    for n in range(0, u.size, 3):
        largest = max(largest, -u[n])
    return largest


@bare
def _jammed(before: Array, u: Array, closing: float, step: float) -> bool:
    """Tell whether loaded contacts hold each other: nothing closes and nothing changes."""
    change = 0.0
    for i in range(u.size):
        change = max(change, abs(u[i] - before[i]))
    return change <= _QUIET * step * closing and _closing(u) <= _QUIET * closing


@bare
def _fly(u: Array, gap: Array) -> bool:
    """Let all gaps change until the first closes; False where none ever does."""
    time = np.inf
    for j in range(gap.size):
        if u[3 * j] < 0.0:
            time = min(time, gap[j] / -u[3 * j])
    if time == np.inf:
        return False
    for j in range(gap.size):
        gap[j] = max(gap[j] + u[3 * j] * time, 0.0)
    return True


@compiled
def _one_step(
    operator: Array,
    u: Array,
    force: Array,
    gap: Array,
    restitution: Array,
    friction: Array,
    stiffness: float,
    step: float,
    scale: float,
    piece: Array,
    turn: Array,
) -> float:
    """Find the impulse of one step in `piece`, update force and gap; return the step made."""
    theta = _friction_moments(u, turn)
    for attempt in range(12):
        _sweeps(
            operator, u, force, gap, restitution, friction, stiffness, step, theta, scale, piece
        )
        if attempt == 0 and _friction_gain(operator, u, piece) > 1e-13 * scale * scale:
            theta[:] = 0.5
            continue
        shorter = _crossing(operator, u, force, restitution, piece, step, scale)
        if shorter >= step * (1.0 - 1e-12) or shorter < 1e-6 * step:
            break
        piece *= shorter / step
        step = shorter
    _update_units(operator, u, force, gap, restitution, stiffness, step, piece)
    return step


@compiled
def _friction_moments(u: Array, turn: Array) -> Array:
    """Return per contact where in the step friction looks at slip: 1/2, or 1 near stick."""
    theta = np.ones(turn.size)
    for j in range(turn.size):
        if np.hypot(u[3 * j + 1], u[3 * j + 2]) > 4.0 * turn[j]:
            theta[j] = 0.5
    return theta


@bare
def _sweeps(
    operator: Array,
    u: Array,
    force: Array,
    gap: Array,
    restitution: Array,
    friction: Array,
    stiffness: float,
    step: float,
    theta: Array,
    scale: float,
    piece: Array,
) -> None:
    """Solve one step for `piece` by block Gauss-Seidel over the contacts."""
    for _ in range(_SWEEPS):
        change = 0.0
        for j in range(force.size):
            n = 3 * j
            if operator[n, n] <= 0.0:
                continue
            w = _row_products(operator, n, piece)
            a = u[n] + 0.5 * (w[0] - operator[n, n] * piece[n])
            p = _unit_impulse(
                a, 0.5 * operator[n, n], force[j], gap[j], restitution[j], stiffness, step
            )
            t1, t2 = _friction_impulse(operator, u, n, w, piece, p, theta[j], friction[j])
            change = max(change, operator[n, n] * abs(p - piece[n]))
            change = max(change, operator[n + 1, n + 1] * abs(t1 - piece[n + 1]))
            change = max(change, operator[n + 2, n + 2] * abs(t2 - piece[n + 2]))
            piece[n], piece[n + 1], piece[n + 2] = p, t1, t2
        if change <= 1e-14 * scale:
            return


@bare
def _row_products(operator: Array, n: int, piece: Array) -> tuple[float, float, float]:
    """Return the three entries from n on of W piece."""
    x, y, z = 0.0, 0.0, 0.0
    for i in range(piece.size):
        x += operator[n, i] * piece[i]
        y += operator[n + 1, i] * piece[i]
        z += operator[n + 2, i] * piece[i]
    return x, y, z


@bare
def _friction_impulse(
    operator: Array,
    u: Array,
    n: int,
    w: tuple[float, float, float],
    piece: Array,
    normal: float,
    theta: float,
    friction: float,
) -> tuple[float, float]:
    """Return the tangential impulse of one contact with everything else held."""
    a, b, d = operator[n + 1, n + 1], operator[n + 1, n + 2], operator[n + 2, n + 2]
    more = normal - piece[n]
    t1, t2 = piece[n + 1], piece[n + 2]
    q1 = u[n + 1] / theta + w[1] - a * t1 - b * t2 + operator[n + 1, n] * more
    q2 = u[n + 2] / theta + w[2] - b * t1 - d * t2 + operator[n + 2, n] * more
    return friction_disk(a, b, d, q1, q2, friction * normal)


@bare
def _unit_impulse(
    a: float, w: float, force: float, gap: float, e: float, stiffness: float, step: float
) -> float:
    """Return p with mean velocity U = a + w p on the unit's own curve p(U), which falls with U."""
    c = 0.5 * stiffness * step * step
    if force == 0.0:
        return _closing_impulse(a, w, gap, c, step)
    full = force * step
    if a + w * full <= 0.0:
        return (full - c * a) / (1.0 + c * w)
    if e == 0.0:
        return max(-a / w, 0.0)
    c /= e * e
    p = (full - c * a) / (1.0 + c * w)
    if p >= 0.5 * full:
        return p
    due = e * e * force * force / (2.0 * stiffness)
    root = float(np.sqrt(a * a + 4.0 * w * due))
    return 2.0 * due / (a + root) if a >= 0.0 else (root - a) / (2.0 * w)


@bare
def _closing_impulse(a: float, w: float, gap: float, c: float, step: float) -> float:
    """Return the impulse of an unloaded unit, which must close `gap` first; c = k step^2/2."""
    if -a * step <= gap:
        return 0.0
    g = gap / step
    linear, square = -a + 2.0 * w * c * g, 1.0 + w * c
    speed = (linear + np.sqrt(max(linear * linear - 4.0 * square * w * c * g * g, 0.0))) / (
        2.0 * square
    )
    return c * (speed - g) ** 2 / speed if speed > g else 0.0


@bare
def _friction_gain(operator: Array, u: Array, piece: Array) -> float:
    """Return the work of friction over the step; positive means a gain."""
    total = 0.0
    for n in range(0, piece.size, 3):
        w = _row_products(operator, n, piece)
        total += piece[n + 1] * (u[n + 1] + 0.5 * w[1]) + piece[n + 2] * (u[n + 2] + 0.5 * w[2])
    return total


@bare
def _crossing(
    operator: Array,
    u: Array,
    force: Array,
    restitution: Array,
    piece: Array,
    step: float,
    scale: float,
) -> float:
    """Return the step after which the first loaded unit turns between its two stiffnesses."""
    earliest = step
    for j in range(force.size):
        n = 3 * j
        if force[j] == 0.0 or restitution[j] == 1.0 or abs(u[n]) <= 1e-12 * scale:
            continue
        end = u[n] + _row_products(operator, n, piece)[0]
        if u[n] * end < 0.0 and abs(end) > 1e-12 * scale:
            earliest = min(earliest, step * u[n] / (u[n] - end))
    return earliest


@bare
def _update_units(
    operator: Array,
    u: Array,
    force: Array,
    gap: Array,
    restitution: Array,
    stiffness: float,
    step: float,
    piece: Array,
) -> None:
    """Carry every unit's force and gap over the step just solved."""
    for j in range(force.size):
        n = 3 * j
        mean = u[n] + 0.5 * _row_products(operator, n, piece)[0]
        p = piece[n]
        if force[j] == 0.0:
            loaded = p > 0.0
            force[j] = max(stiffness * (-mean * step - gap[j]), 0.0) if loaded else 0.0
            gap[j] = 0.0 if loaded else max(gap[j] + mean * step, 0.0)
        elif restitution[j] == 0.0 and p < force[j] * step:
            force[j] = p / step
            gap[j] = 0.0 if p > 0.0 else max(mean, 0.0) * step
        elif p >= 0.5 * force[j] * step:
            force[j] = max(2.0 * p / step - force[j], 0.0)
        else:
            gap[j] = max(mean, 0.0) * (step - 2.0 * p / force[j])
            force[j] = 0.0


@compiled
def _advance(operator: Array, u: Array, piece: Array, work: Array, turn: Array) -> Array:
    """Return the velocity after the step; book the work and how far the slip has turned."""
    after = np.empty(u.size)
    for j in range(turn.size):
        n = 3 * j
        w = _row_products(operator, n, piece)
        for i in range(3):
            after[n + i] = u[n + i] + w[i]
        work[0, j] += piece[n] * (u[n] + 0.5 * w[0])
        work[1, j] += piece[n + 1] * (u[n + 1] + 0.5 * w[1])
        work[1, j] += piece[n + 2] * (u[n + 2] + 0.5 * w[2])
        turn[j] = np.hypot(w[1], w[2])
    return after


@compiled
def _stop_closing(operator: Array, u: Array, impulse: Array, work: Array, scale: float) -> None:
    """Take the last, tiny closing speeds away without rebound or friction."""
    count = u.size // 3
    piece = np.zeros(u.size)
    for _ in range(20 * _SWEEPS):
        change = 0.0
        for j in range(count):
            n = 3 * j
            if operator[n, n] <= 0.0:
                continue
            now = u[n] + _row_products(operator, n, piece)[0]
            p = max(piece[n] - now / operator[n, n], 0.0)
            change = max(change, operator[n, n] * abs(p - piece[n]))
            piece[n] = p
        if change <= 1e-15 * scale:
            break
    if np.max(piece) > 0.0:
        impulse += piece
        u[:] = _advance(operator, u, piece, work, np.zeros(count))
