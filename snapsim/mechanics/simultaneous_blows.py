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

from snapsim.arrays import Array, BoolArray
from snapsim.mechanics.unit_sweeps import (
    FEW,
    SWEEPS,
    CoupledContacts,
    Units,
    coupling_of,
    force,
    stored,
    sweeps,
)
from snapsim.numerics.compilation import bare, compiled

STEP = 0.05
"""Step times the highest frequency; the error of a blow is about STEP^2/20 of its speed."""
_LONGER = 4.0
"""How much longer a step of more than `FEW` contacts is (an error of about 1e-3)."""
_AT_AN_END = 0.1
MOST_STEPS = 50_000
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
    slip: float,
) -> tuple[Array, Array, int]:
    """Return impulse (3c,), normal work, friction work and the most that was stored (3, c) [J], and
    the number of steps.

    `start` (3c,) is the contact velocity before; `stiffness` k (c,), of `linear` units [N/m];
    `fineness` the step (STEP is the usual one); `quiet` [m/s] what no rebound is followed below.
    Every contact counts as touching at the start. Ends with no contact closing. `slip` [m/s], where
    it is not zero, is that of a slide that jams: nothing closes faster than a nudge at first, what
    closes later is measured by the slip.
    """
    count = restitution.size
    coupling = coupling_of(operator)
    units = Units(restitution, friction, stiffness, linear)
    press, gap = np.zeros(count), np.zeros(count)
    impulse, u = np.zeros(3 * count), start.copy()
    work, bend = np.zeros((3, count)), np.zeros(count)
    piece, moved, turn = np.zeros(3 * count), np.zeros(3 * count), np.zeros(count)
    scale = max(np.max(np.abs(start)), 1e-300)
    closing, heard = max(_closing(start), slip), slip == 0.0
    least = max(min(quiet, _LOUD * closing), _QUIET * closing)
    steps, last = 0, 1.0
    while steps < MOST_STEPS:
        if np.max(press) == 0.0 and (_closing(u) <= _QUIET * closing or not _fly(u, gap)):
            break
        heard = heard or _closing(u) > 2.0 * least
        if heard and _is_quiet(coupling.rows, u, press, units, least):
            break
        rate = _rate(coupling, u, press, units, bend)
        step = (fineness if count <= FEW else _LONGER * fineness) / rate
        for i in range(3 * count):
            piece[i] *= step / last
            moved[i] *= step / last
        last = _one_step(coupling, units, u, press, gap, step, scale, piece, moved, turn)
        impulse += piece
        jammed = _advance(coupling, u, piece, moved, work, turn)
        _note_stored(press, units, work[2])
        steps += 1
        if jammed <= _QUIET * last * rate * closing and _closing(u) <= _QUIET * closing:
            break
    _stop_closing(coupling, u, impulse, work, scale)
    return impulse, work, steps


@bare
def _closing(u: Array) -> float:
    """Return the largest closing speed [m/s]."""
    largest = 0.0
    for n in range(0, u.size, 3):
        largest = max(largest, -u[n])
    return largest


@bare
def _is_quiet(rows: Array, u: Array, press: Array, units: Units, least: float) -> bool:
    """Tell whether all that closes or could be given back is slower than `least` [m/s]."""
    for j in range(press.size):
        if -u[3 * j] > least:
            return False
        if press[j] > 0.0:
            back = 2.0 * rows[3 * j, 3 * j] * stored(press[j], units.stiffness[j], units.linear[j])
            if units.restitution[j] * np.sqrt(back) > least:
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
def _rate(coupling: CoupledContacts, u: Array, press: Array, units: Units, bend: Array) -> float:
    """Return a bound of the frequency [1/s]; `bend` (c,) is overwritten by the roots of E''."""
    first, near, rows = coupling.first, coupling.near, coupling.rows
    for j in range(press.size):
        bend[j] = 0.0
        v, w, stiffness = u[3 * j], rows[3 * j, 3 * j], units.stiffness[j]
        if w <= 0.0 or (press[j] == 0.0 and v >= 0.0):
            continue
        if units.linear[j]:
            bend[j] = np.sqrt(stiffness)
        else:
            most = stored(press[j], stiffness, False) + 0.5 * v * v / w
            deepest = (2.5 * most / stiffness) ** 0.4
            bend[j] = np.sqrt(1.5 * stiffness * np.sqrt(deepest))
    largest = 0.0
    for j in range(press.size):
        if bend[j] > 0.0:
            total = 0.0
            for k in range(first[j], first[j + 1]):
                total += abs(rows[3 * j, 3 * near[k]]) * bend[near[k]]
            largest = max(largest, bend[j] * total)
    return float(np.sqrt(largest)) if largest > 0.0 else 1.0


@compiled
def _one_step(
    coupling: CoupledContacts,
    units: Units,
    u: Array,
    press: Array,
    gap: Array,
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
        sweeps(coupling, units, u, press, gap, step, theta, scale, piece, moved)
        if attempt == 0 and _friction_gain(u, piece, moved) > 1e-13 * scale * scale:
            theta[:] = 0.5
            continue
        shorter = _crossing(u, press, units.restitution, moved, step, scale)
        if shorter >= step * (1.0 - 1e-12) or shorter < 1e-6 * step:
            break
        for i in range(piece.size):
            piece[i] *= shorter / step
            moved[i] *= shorter / step
        step = shorter
    _update_units(u, press, gap, units, step, piece, moved)
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
    earliest, least = step, 0.0 if press.size <= FEW else _AT_AN_END
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
    units: Units,
    step: float,
    piece: Array,
    moved: Array,
) -> None:
    """Carry every unit's compression and gap over the step just solved."""
    for j in range(press.size):
        n = 3 * j
        mean = u[n] + 0.5 * moved[n]
        p, x, e = piece[n], press[j], units.restitution[j]
        stiffness, linear = units.stiffness[j], units.linear[j]
        full = step * force(x, stiffness, linear)
        if x == 0.0:
            loaded = p > 0.0
            press[j] = max(-mean * step - gap[j], 0.0) if loaded else 0.0
            gap[j] = 0.0 if loaded else max(gap[j] + mean * step, 0.0)
        elif e == 0.0 and p < full:
            press[j] = p / (step * stiffness)
            if not linear:
                press[j] = press[j] ** (2.0 / 3.0)
            gap[j] = 0.0 if p > 0.0 else max(mean, 0.0) * step
        elif mean <= 0.0 or e == 0.0:
            press[j] = x - mean * step if mean < 0.0 else x
        else:
            press[j] = max(x - mean * step / (e * e), 0.0)
            spent = p * x / stored(x, stiffness, linear)
            gap[j] = max(mean * (step - spent), 0.0) if press[j] == 0.0 else 0.0


@bare
def _advance(
    coupling: CoupledContacts,
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
        for k in range(coupling.first[j], coupling.first[j + 1]):
            i, b = 3 * coupling.near[k], coupling.block[k]
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
def _note_stored(press: Array, units: Units, most: Array) -> None:
    """Keep the most work that each unit has stored (c,)."""
    for j in range(press.size):
        if press[j] > 0.0:
            most[j] = max(most[j], stored(press[j], units.stiffness[j], units.linear[j]))


@compiled
def _stop_closing(
    coupling: CoupledContacts,
    u: Array,
    impulse: Array,
    work: Array,
    scale: float,
) -> None:
    """Take the last, small closing speeds away without rebound or friction."""
    count = u.size // 3
    piece, moved = np.zeros(u.size), np.zeros(u.size)
    for _ in range(20 * SWEEPS):
        change = 0.0
        for j in range(count):
            n, own = 3 * j, coupling.rows[3 * j, 3 * j]
            if own <= 0.0:
                continue
            p = max(piece[n] - (u[n] + moved[n]) / own, 0.0)
            d = p - piece[n]
            if d == 0.0:
                continue
            change = max(change, own * abs(d))
            piece[n] = p
            for k in range(coupling.first[j], coupling.first[j + 1]):
                i = 3 * coupling.near[k]
                moved[i] += coupling.rows[n, i] * d
        if change <= 1e-15 * scale:
            break
    if np.max(piece) > 0.0:
        impulse += piece
        _advance(coupling, u, piece, moved, work, np.zeros(count))
