"""Blows at several contacts at once: Hertzian contact units followed in small steps of time.

The pose is fixed; each contact j has a compression x_j >= 0, its force F = k x^(3/2) and the stored
work E = (2/5) k x^(5/2). It yields as u_n says while it closes, and by more while it opens, so that
e^2 of the stored work comes back:

    dx/dt = -u_n  (u_n < 0, compression),      dx/dt = -u_n/e^2  (u_n > 0, restitution),
    du/dt = W (F, F f),     f: Coulomb's law with exact disks |f| <= mu, sticking where it can,

and a gap opens where x has gone to zero and closes before x rises again. Only ratios of impulses
matter, so k drops out for one contact, where this is Stronge's law; between contacts k is taken
equal (an assumption: it decides how a blow is shared; a row of equal balls obeys it). Steps obey
the mean velocity U over the step: the impulse of a unit is the discrete gradient of its work,

    p = h (E(y) - E(x))/(y - x),     y = x - h U  or  x - h U/e^2,

a monotone function of U with p U equal to the change of stored work exactly, so energy is never
gained, and is kept to rounding at e = 1, mu = 0. Steps are cut where u_n changes sign under load.
Friction acts on the mean velocity too, on the end velocity near stick; a step whose friction would
do positive work is repeated on the mean.

Units: u (3c,) [m/s], W (3c, 3c) [1/kg], p (3c,) [kg m/s]; time and compression are scaled: at the
compression that the largest eigenvalue of W_nn and the largest closing speed would give alone, the
frequency is 1. Second order in the step. Sources: Johnson, Contact Mechanics, 1985, eq. (4.23) for
the force; units with a path back after Stronge, Impact Mechanics, 2nd ed. 2018, ch. 3 and 10; rows
of balls: Falcon et al., Eur. Phys. J. B 5, 111 (1998); Liu, Zhao & Brogliato, Proc. R. Soc. A 464,
3193 (2008); discrete gradients: Gonzalez, J. Nonlinear Sci. 6, 449 (1996) (all from memory).
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
    press, gap = np.zeros(count), np.zeros(count)
    impulse, u = np.zeros(3 * count), start.copy()
    work = np.zeros((2, count))
    piece, turn = np.zeros(3 * count), np.zeros(count)
    scale = max(np.max(np.abs(start)), 1e-300)
    closing = _closing(start)
    stiffness = _stiffness(_highest(operator), closing)
    steps, last = 0, fineness
    while steps < _MOST_STEPS:
        if np.max(press) == 0.0 and (_closing(u) <= _QUIET * closing or not _fly(u, gap)):
            break
        piece *= fineness / last
        last = _one_step(
            operator, u, press, gap, restitution, friction, stiffness, fineness, scale, piece, turn
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
    press: Array,
    gap: Array,
    restitution: Array,
    friction: Array,
    stiffness: float,
    step: float,
    scale: float,
    piece: Array,
    turn: Array,
) -> float:
    """Find the impulse of one step in `piece`, update press and gap; return the step made."""
    theta = _friction_moments(u, turn)
    for attempt in range(12):
        _sweeps(
            operator, u, press, gap, restitution, friction, stiffness, step, theta, scale, piece
        )
        if attempt == 0 and _friction_gain(operator, u, piece) > 1e-13 * scale * scale:
            theta[:] = 0.5
            continue
        shorter = _crossing(operator, u, press, restitution, piece, step, scale)
        if shorter >= step * (1.0 - 1e-12) or shorter < 1e-6 * step:
            break
        piece *= shorter / step
        step = shorter
    _update_units(operator, u, press, gap, restitution, stiffness, step, piece)
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
    press: Array,
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
        for j in range(press.size):
            n = 3 * j
            if operator[n, n] <= 0.0:
                continue
            w = _row_products(operator, n, piece)
            a = u[n] + 0.5 * (w[0] - operator[n, n] * piece[n])
            p = _unit_impulse(
                a, 0.5 * operator[n, n], press[j], gap[j], restitution[j], stiffness, step
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
def _stiffness(yielding: float, closing: float) -> float:
    """Return k for a frequency of 1 at the deepest compression d of one unit that closes alone.

    `yielding` W [1/kg]: (2/5) W k d^(5/2) = v^2/2 and (3/2) W k d^(1/2) = 1 give d^2 = 15/8 v^2.
    """
    deepest = np.sqrt(1.875) * max(closing, 1e-300)
    return float(2.0 / (3.0 * yielding * np.sqrt(deepest)))


@bare
def _stored(x: float, stiffness: float) -> float:
    """Return the work stored at a compression."""
    return float(0.4 * stiffness * x * x * np.sqrt(x))


@bare
def _mean_force(x: float, y: float, stiffness: float) -> float:
    """Return (E(y) - E(x))/(y - x), without cancellation."""
    s, t = np.sqrt(x), np.sqrt(y)
    if s + t == 0.0:
        return 0.0
    top = t * t * t * t + t * t * t * s + t * t * s * s + t * s * s * s + s * s * s * s
    return float(0.4 * stiffness * top / (s + t))


@bare
def _unit_impulse(
    a: float, w: float, x: float, gap: float, e: float, stiffness: float, step: float
) -> float:
    """Return p with mean velocity U = a + w p on the unit's own curve p(U), which falls with U."""
    if x == 0.0:
        return _closing_impulse(a, w, gap, stiffness, step)
    full = step * stiffness * x * np.sqrt(x)
    if a + w * full <= 0.0:
        return step * _mean_force(x, _moved(a, w, x, stiffness, step, step), stiffness)
    if e == 0.0:
        return max(-a / w, 0.0)
    due = e * e * _stored(x, stiffness)
    if a + w * 0.4 * full < x * e * e / step:
        y = _moved(a, w, x, stiffness, step, step / (e * e))
        return step * _mean_force(x, y, stiffness)
    root = float(np.sqrt(a * a + 4.0 * w * due))
    return 2.0 * due / (a + root) if a >= 0.0 else (root - a) / (2.0 * w)


@bare
def _moved(a: float, w: float, x: float, stiffness: float, step: float, reach: float) -> float:
    """Return the compression y = x - reach (a + w p) at the end of a step, p = step mean force.

    Newton on a convex, rising function of y: from the right it cannot overshoot.
    """
    y = x
    for _ in range(40):
        mean = _mean_force(x, y, stiffness)
        if abs(y - x) > 1e-6 * x:
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
def _closing_impulse(a: float, w: float, gap: float, stiffness: float, step: float) -> float:
    """Return the impulse of an unloaded unit, which must close `gap` before it is compressed.

    With y the compression at the end, v = (y + gap)/step is how fast it closes, and p v = E(y).
    """
    y = -a * step - gap
    if y <= 0.0:
        return 0.0
    for _ in range(60):
        speed = (y + gap) / step
        push = _stored(y, stiffness) / speed
        rise = (stiffness * y * np.sqrt(y) - push / step) / speed
        change = (speed + w * push + a) / (1.0 / step + w * rise)
        y = max(y - change, 0.0)
        if abs(change) <= 1e-15 * (y + gap):
            break
    return float(_stored(y, stiffness) * step / (y + gap)) if y > 0.0 else 0.0


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
    press: Array,
    restitution: Array,
    piece: Array,
    step: float,
    scale: float,
) -> float:
    """Return the step after which the first loaded unit turns between its two stiffnesses."""
    earliest = step
    for j in range(press.size):
        n = 3 * j
        if press[j] == 0.0 or restitution[j] == 1.0 or abs(u[n]) <= 1e-12 * scale:
            continue
        end = u[n] + _row_products(operator, n, piece)[0]
        if u[n] * end < 0.0 and abs(end) > 1e-12 * scale:
            earliest = min(earliest, step * u[n] / (u[n] - end))
    return earliest


@bare
def _update_units(
    operator: Array,
    u: Array,
    press: Array,
    gap: Array,
    restitution: Array,
    stiffness: float,
    step: float,
    piece: Array,
) -> None:
    """Carry every unit's compression and gap over the step just solved."""
    for j in range(press.size):
        n = 3 * j
        mean = u[n] + 0.5 * _row_products(operator, n, piece)[0]
        p, x, e = piece[n], press[j], restitution[j]
        force = stiffness * x * np.sqrt(x)
        if x == 0.0:
            loaded = p > 0.0
            press[j] = max(-mean * step - gap[j], 0.0) if loaded else 0.0
            gap[j] = 0.0 if loaded else max(gap[j] + mean * step, 0.0)
        elif e == 0.0 and p < force * step:
            press[j] = (p / (step * stiffness)) ** (2.0 / 3.0)
            gap[j] = 0.0 if p > 0.0 else max(mean, 0.0) * step
        elif mean <= 0.0 or e == 0.0:
            press[j] = x - mean * step if mean < 0.0 else x
        else:
            press[j] = max(x - mean * step / (e * e), 0.0)
            gap[j] = max(mean * (step - 2.5 * p / force), 0.0) if press[j] == 0.0 else 0.0


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
