"""Blows at several contacts at once: elastic contact units followed in small steps of time.

The pose is fixed; each contact j has a compression x_j >= 0 [m], its force F = k x^(3/2) (curved or
pointed: Hertz) or F = k x (flat on flat, or along a line) and the stored work E = int F dx. It
yields as u_n says while it closes, and by more while it opens, so that e^2 of the stored work comes
back:

    dx/dt = -u_n  (u_n < 0, compression),      dx/dt = -u_n/e^2  (u_n > 0, restitution),
    du/dt = W (F, F f),     f: Coulomb's law with exact disks |f| <= mu, sticking where it can,

and a gap opens where x has gone to zero and closes before x rises again. Only ratios of impulses
matter, so k drops out for one contact, where this is Stronge's law; between contacts the ratio of
their k decides how a blow is shared. Steps obey the mean velocity U over the step: the impulse of a
unit is the discrete gradient of its work,

    p = h (E(y) - E(x))/(y - x),     y = x - h U  or  x - h U/e^2,

a monotone function of U with p U equal to the change of stored work exactly, so energy is never
gained, and is kept to rounding at e = 1, mu = 0. Steps are cut where u_n changes sign under load.
Friction acts on the mean velocity too, on the end velocity near stick; a step whose friction would
do positive work is repeated on the mean. A step is `fineness` over a bound of the highest frequency
that the units loaded or closing now can reach: with s = E'' at the deepest compression that a unit
would come to alone, max over i of sum_j |W_ij| sqrt(s_i s_j) >= omega^2 (Gershgorin). It ends when
what closes, and what stored work could give back, is slower than `quiet`, but no sooner than at
2 % of the first closing speed and no later than at a millionth of it; that rest is taken without
rebound.

Units: u (3c,) [m/s], W (3c, 3c) [1/kg], p (3c,) [kg m/s], k [N/m^(3/2)] or [N/m]. Second order in
the step. W enters by its blocks of contacts that share a body. Sources: Johnson, Contact Mechanics,
1985, eq. (4.23) for the force; units with a path back after Stronge, Impact Mechanics, 2nd ed.
2018, ch. 3 and 10; rows of balls: Falcon et al., Eur. Phys. J. B 5, 111 (1998); Liu, Zhao &
Brogliato, Proc. R. Soc. A 464, 3193 (2008); discrete gradients: Gonzalez, J. Nonlinear Sci. 6, 449
(1996) (all from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.coulomb_cone import friction_disk
from snapsim.numerics.compilation import bare, compiled

STEP = 0.05
"""Step times the highest frequency; the error of a blow is about STEP^2/20 of its speed."""
_SWEEPS = 100
_FEW = 12
"""Contacts up to which a step is solved to the last digits. For more the step is `_LONGER` times
as long (an error of about 1e-3), and friction, which many contacts that stick share among them in
no one way, has `_RUBS` sweeps a step, each from where the last step left it."""
_LONGER = 4.0
_RUBS = 3
_AT_AN_END = 0.1
_MOST_STEPS = 50_000
_QUIET = 1e-6
_LOUD = 2e-2


@compiled
def simultaneous_blows(
    operator: Array,
    start: Array,
    restitution: Array,
    friction: Array,
    stiffness: Array,
    linear: BoolArray,
    fineness: float,
    quiet: float,
) -> tuple[Array, Array, int]:
    """Return impulse (3c,), normal work, friction work and the most that was stored (3, c) [J], and
    the number of steps.

    `start` (3c,) is the contact velocity before; `stiffness` k (c,), of `linear` units [N/m];
    `fineness` the step (STEP is the usual one); `quiet` [m/s] what no rebound is followed below.
    Every contact counts as touching at the start. Ends with no contact closing.
    """
    count = restitution.size
    first, near, block = _neighbours(operator)
    press, gap = np.zeros(count), np.zeros(count)
    impulse, u = np.zeros(3 * count), start.copy()
    work, bend = np.zeros((3, count)), np.zeros(count)
    piece, moved, turn = np.zeros(3 * count), np.zeros(3 * count), np.zeros(count)
    scale = max(np.max(np.abs(start)), 1e-300)
    closing = _closing(start)
    least = max(min(quiet, _LOUD * closing), _QUIET * closing)
    steps, last = 0, 1.0
    while steps < _MOST_STEPS:
        if np.max(press) == 0.0 and (_closing(u) <= _QUIET * closing or not _fly(u, gap)):
            break
        if _is_quiet(first, near, block, u, press, restitution, stiffness, linear, least):
            break
        rate = _rate(first, near, block, u, press, gap, stiffness, linear, bend)
        step = (fineness if count <= _FEW else _LONGER * fineness) / rate
        for i in range(3 * count):
            piece[i] *= step / last
            moved[i] *= step / last
        last = _one_step(
            first, near, block, u, press, gap, restitution, friction, stiffness, linear, step,
            scale, piece, moved, turn,
        )  # fmt: skip
        impulse += piece
        jammed = _advance(first, near, block, u, piece, moved, work, turn)
        _note_stored(press, stiffness, linear, work[2])
        steps += 1
        if jammed <= _QUIET * last * rate * closing and _closing(u) <= _QUIET * closing:
            break
    _stop_closing(first, near, block, u, impulse, work, scale)
    return impulse, work, steps


@compiled
def _neighbours(operator: Array) -> tuple[IntArray, IntArray, Array]:
    """Return W by blocks: those of contact j are `block[first[j]:first[j + 1]]` (3, 3), with the
    contacts `near[...]`, itself first."""
    count = operator.shape[0] // 3
    first, near = np.zeros(count + 1, dtype=np.int64), np.empty(count * count, dtype=np.int64)
    total = 0
    for j in range(count):
        near[total] = j
        total += 1
        for i in range(count):
            if i != j and _coupled(operator, 3 * j, 3 * i):
                near[total] = i
                total += 1
        first[j + 1] = total
    block = np.empty((total, 3, 3))
    for j in range(count):
        for k in range(first[j], first[j + 1]):
            for x in range(3):
                for y in range(3):
                    block[k, x, y] = operator[3 * j + x, 3 * near[k] + y]
    return first, near[:total].copy(), block


@bare
def _coupled(operator: Array, row: int, column: int) -> bool:
    """Tell whether an impulse at one contact is felt at the other."""
    for x in range(3):
        for y in range(3):
            if operator[row + x, column + y] != 0.0:
                return True
    return False


@bare
def _closing(u: Array) -> float:
    """Return the largest closing speed [m/s]."""
    largest = 0.0
    for n in range(0, u.size, 3):
        largest = max(largest, -u[n])
    return largest


@bare
def _is_quiet(
    first: IntArray,
    near: IntArray,
    block: Array,
    u: Array,
    press: Array,
    restitution: Array,
    stiffness: Array,
    linear: BoolArray,
    least: float,
) -> bool:
    """Tell whether all that closes or could be given back is slower than `least` [m/s]."""
    for j in range(press.size):
        if -u[3 * j] > least:
            return False
        if press[j] > 0.0:
            back = 2.0 * block[first[j], 0, 0] * _stored(press[j], stiffness[j], linear[j])
            if restitution[j] * np.sqrt(back) > least:
                return False
    return True


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


@bare
def _rate(
    first: IntArray,
    near: IntArray,
    block: Array,
    u: Array,
    press: Array,
    gap: Array,
    stiffness: Array,
    linear: BoolArray,
    bend: Array,
) -> float:
    """Return a bound of the frequency [1/s]; `bend` (c,) is overwritten by the roots of E''."""
    for j in range(press.size):
        bend[j] = 0.0
        v, w = u[3 * j], block[first[j], 0, 0]
        if w <= 0.0 or (press[j] == 0.0 and v >= 0.0):
            continue
        if linear[j]:
            bend[j] = np.sqrt(stiffness[j])
        else:
            most = _stored(press[j], stiffness[j], False) + 0.5 * v * v / w
            deepest = (2.5 * most / stiffness[j]) ** 0.4
            bend[j] = np.sqrt(1.5 * stiffness[j] * np.sqrt(deepest))
    largest = 0.0
    for j in range(press.size):
        if bend[j] > 0.0:
            total = 0.0
            for k in range(first[j], first[j + 1]):
                total += abs(block[k, 0, 0]) * bend[near[k]]
            largest = max(largest, bend[j] * total)
    return float(np.sqrt(largest)) if largest > 0.0 else 1.0


@compiled
def _one_step(
    first: IntArray,
    near: IntArray,
    block: Array,
    u: Array,
    press: Array,
    gap: Array,
    restitution: Array,
    friction: Array,
    stiffness: Array,
    linear: BoolArray,
    step: float,
    scale: float,
    piece: Array,
    moved: Array,
    turn: Array,
) -> float:
    """Find the impulse of one step in `piece` and W `piece` in `moved`, update press and gap;
    return the step made."""
    theta = _friction_moments(u, turn)
    for attempt in range(12):
        _sweeps(
            first, near, block, u, press, gap, restitution, friction, stiffness, linear, step,
            theta, scale, piece, moved,
        )  # fmt: skip
        if attempt == 0 and _friction_gain(u, piece, moved) > 1e-13 * scale * scale:
            theta[:] = 0.5
            continue
        shorter = _crossing(u, press, restitution, moved, step, scale)
        if shorter >= step * (1.0 - 1e-12) or shorter < 1e-6 * step:
            break
        for i in range(piece.size):
            piece[i] *= shorter / step
            moved[i] *= shorter / step
        step = shorter
    _update_units(u, press, gap, restitution, stiffness, linear, step, piece, moved)
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
    first: IntArray,
    near: IntArray,
    block: Array,
    u: Array,
    press: Array,
    gap: Array,
    restitution: Array,
    friction: Array,
    stiffness: Array,
    linear: BoolArray,
    step: float,
    theta: Array,
    scale: float,
    piece: Array,
    moved: Array,
) -> None:
    """Solve one step for `piece` by block Gauss-Seidel over the contacts, to and fro.

    Friction is left as it is once it is known well enough, and the normals settle to that.
    """
    count, rubs = press.size, True
    few = count <= _FEW
    enough = (1e-13 if few else 1e-7) * scale
    for sweep in range(_SWEEPS):
        change, rubbing = 0.0, 0.0
        for turn in range(count):
            j = turn if sweep % 2 == 0 else count - 1 - turn
            n = 3 * j
            own = block[first[j]]
            if own[0, 0] <= 0.0:
                continue
            a = u[n] + 0.5 * (moved[n] - own[0, 0] * piece[n])
            if press[j] == 0.0 and piece[n] == 0.0 and a * step + gap[j] >= 0.0:
                continue
            p = _unit_impulse(
                a, 0.5 * own[0, 0], press[j], gap[j], restitution[j], stiffness[j], linear[j],
                step,
            )  # fmt: skip
            d = p - piece[n]
            t1, t2 = piece[n + 1], piece[n + 2]
            if rubs:
                t1, t2 = _friction_impulse(own, u, n, moved, piece, d, p, theta[j], friction[j])
            d1, d2 = t1 - piece[n + 1], t2 - piece[n + 2]
            if d == 0.0 and d1 == 0.0 and d2 == 0.0:
                continue
            change = max(change, own[0, 0] * abs(d))
            rubbing = max(rubbing, own[1, 1] * abs(d1), own[2, 2] * abs(d2))
            piece[n], piece[n + 1], piece[n + 2] = p, t1, t2
            for k in range(first[j], first[j + 1]):
                i, b = 3 * near[k], block[k]
                moved[i] += b[0, 0] * d + b[1, 0] * d1 + b[2, 0] * d2
                moved[i + 1] += b[0, 1] * d + b[1, 1] * d1 + b[2, 1] * d2
                moved[i + 2] += b[0, 2] * d + b[1, 2] * d1 + b[2, 2] * d2
        rubs = rubs and rubbing > 100.0 * enough and (few or sweep < _RUBS)
        if change <= enough and not rubs:
            return


@bare
def _friction_impulse(
    own: Array,
    u: Array,
    n: int,
    moved: Array,
    piece: Array,
    more: float,
    normal: float,
    theta: float,
    friction: float,
) -> tuple[float, float]:
    """Return the tangential impulse of one contact with everything else held; `more` is what its
    normal impulse has just grown by."""
    if friction == 0.0:
        return 0.0, 0.0
    a, b, d = own[1, 1], own[1, 2], own[2, 2]
    t1, t2 = piece[n + 1], piece[n + 2]
    q1 = u[n + 1] / theta + moved[n + 1] - a * t1 - b * t2 + own[1, 0] * more
    q2 = u[n + 2] / theta + moved[n + 2] - b * t1 - d * t2 + own[2, 0] * more
    return friction_disk(a, b, d, q1, q2, friction * normal)


@bare
def _force(x: float, stiffness: float, linear: bool) -> float:
    """Return the force at a compression."""
    return stiffness * x if linear else float(stiffness * x * np.sqrt(x))


@bare
def _stored(x: float, stiffness: float, linear: bool) -> float:
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
    full = step * _force(x, stiffness, linear)
    if a + w * full <= 0.0:
        return step * _mean_force(
            x, _moved(a, w, x, stiffness, linear, step, step), stiffness, linear
        )
    if e == 0.0:
        return max(-a / w, 0.0)
    stored = _stored(x, stiffness, linear)
    due = e * e * stored
    if a + w * stored / x * step < x * e * e / step:
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
        push = _stored(y, stiffness, linear) / speed
        rise = (_force(y, stiffness, linear) - push / step) / speed
        change = (speed + w * push + a) / (1.0 / step + w * rise)
        y = max(y - change, 0.0)
        if abs(change) <= 1e-15 * (y + gap):
            break
    return float(_stored(y, stiffness, linear) * step / (y + gap)) if y > 0.0 else 0.0


@bare
def _friction_gain(u: Array, piece: Array, moved: Array) -> float:
    """Return the work of friction over the step; positive means a gain."""
    total = 0.0
    for n in range(0, piece.size, 3):
        total += piece[n + 1] * (u[n + 1] + 0.5 * moved[n + 1])
        total += piece[n + 2] * (u[n + 2] + 0.5 * moved[n + 2])
    return total


@bare
def _crossing(
    u: Array, press: Array, restitution: Array, moved: Array, step: float, scale: float
) -> float:
    """Return the step after which the first loaded unit turns between its two stiffnesses.

    Of many contacts those that turn near an end of the step count as turning there.
    """
    earliest, least = step, 0.0 if press.size <= _FEW else _AT_AN_END
    for j in range(press.size):
        n = 3 * j
        if press[j] == 0.0 or restitution[j] == 1.0 or abs(u[n]) <= 1e-12 * scale:
            continue
        end = u[n] + moved[n]
        if u[n] * end < 0.0 and abs(end) > 1e-12 * scale:
            share = u[n] / (u[n] - end)
            if least < share < 1.0 - least:
                earliest = min(earliest, step * share)
    return earliest


@bare
def _update_units(
    u: Array,
    press: Array,
    gap: Array,
    restitution: Array,
    stiffness: Array,
    linear: BoolArray,
    step: float,
    piece: Array,
    moved: Array,
) -> None:
    """Carry every unit's compression and gap over the step just solved."""
    for j in range(press.size):
        n = 3 * j
        mean = u[n] + 0.5 * moved[n]
        p, x, e = piece[n], press[j], restitution[j]
        force = _force(x, stiffness[j], linear[j])
        if x == 0.0:
            loaded = p > 0.0
            press[j] = max(-mean * step - gap[j], 0.0) if loaded else 0.0
            gap[j] = 0.0 if loaded else max(gap[j] + mean * step, 0.0)
        elif e == 0.0 and p < force * step:
            press[j] = p / (step * stiffness[j])
            if not linear[j]:
                press[j] = press[j] ** (2.0 / 3.0)
            gap[j] = 0.0 if p > 0.0 else max(mean, 0.0) * step
        elif mean <= 0.0 or e == 0.0:
            press[j] = x - mean * step if mean < 0.0 else x
        else:
            press[j] = max(x - mean * step / (e * e), 0.0)
            spent = p * x / _stored(x, stiffness[j], linear[j])
            gap[j] = max(mean * (step - spent), 0.0) if press[j] == 0.0 else 0.0


@bare
def _advance(
    first: IntArray,
    near: IntArray,
    block: Array,
    u: Array,
    piece: Array,
    moved: Array,
    work: Array,
    turn: Array,
) -> float:
    """Take the step: change `u`, book the work and how far the slip has turned; `moved` is made
    anew. Return the largest change of a velocity [m/s]."""
    largest = 0.0
    for j in range(turn.size):
        n = 3 * j
        x, y, z = 0.0, 0.0, 0.0
        for k in range(first[j], first[j + 1]):
            i, b = 3 * near[k], block[k]
            x += b[0, 0] * piece[i] + b[0, 1] * piece[i + 1] + b[0, 2] * piece[i + 2]
            y += b[1, 0] * piece[i] + b[1, 1] * piece[i + 1] + b[1, 2] * piece[i + 2]
            z += b[2, 0] * piece[i] + b[2, 1] * piece[i + 1] + b[2, 2] * piece[i + 2]
        moved[n], moved[n + 1], moved[n + 2] = x, y, z
        work[0, j] += piece[n] * (u[n] + 0.5 * x)
        work[1, j] += piece[n + 1] * (u[n + 1] + 0.5 * y) + piece[n + 2] * (u[n + 2] + 0.5 * z)
        turn[j] = np.hypot(y, z)
        u[n] += x
        u[n + 1] += y
        u[n + 2] += z
        largest = max(largest, abs(x), abs(y), abs(z))
    return largest


@bare
def _note_stored(press: Array, stiffness: Array, linear: BoolArray, most: Array) -> None:
    """Keep the most work that each unit has stored (c,)."""
    for j in range(press.size):
        if press[j] > 0.0:
            most[j] = max(most[j], _stored(press[j], stiffness[j], linear[j]))


@compiled
def _stop_closing(
    first: IntArray,
    near: IntArray,
    block: Array,
    u: Array,
    impulse: Array,
    work: Array,
    scale: float,
) -> None:
    """Take the last, small closing speeds away without rebound or friction."""
    count = u.size // 3
    piece, moved = np.zeros(u.size), np.zeros(u.size)
    for _ in range(20 * _SWEEPS):
        change = 0.0
        for j in range(count):
            n, own = 3 * j, block[first[j], 0, 0]
            if own <= 0.0:
                continue
            p = max(piece[n] - (u[n] + moved[n]) / own, 0.0)
            d = p - piece[n]
            if d == 0.0:
                continue
            change = max(change, own * abs(d))
            piece[n] = p
            for k in range(first[j], first[j + 1]):
                moved[3 * near[k]] += block[k, 0, 0] * d
        if change <= 1e-15 * scale:
            break
    if np.max(piece) > 0.0:
        impulse += piece
        _advance(first, near, block, u, piece, moved, work, np.zeros(count))
