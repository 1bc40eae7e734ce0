"""A blow at one contact: Stronge's energetic restitution along Keller's equations of slip.

The pose is fixed and the normal impulse p is the clock. With u = (u_n, u_t) the velocity of a
relative to b and W (3, 3) the Delassus block,

    du/dp = W (1, f),   f = -mu u_t/|u_t| while slipping;
    at u_t = 0:  f = -W_tt^-1 W_tn if |f| <= mu (stick), else slip starts along the unit s with
                 W_tn - mu W_tt s = l s, l > 0 (one such s exists).

Compression stores work E = -int u_n dp while u_n < 0; restitution gives back e^2 of it, so the
blow ends when int u_n dp over restitution has reached e^2 E. A part that joints leave one way to
move, and that stick holds there, keeps what is stored (W singular: u_n stops with u_t); so does
one for which the direction of slip is known only by rounding. Rewritten
with dp = |u_t| dt the slip equations are regular up to u_t = 0 and are integrated by extrapolation;
wherever the slip direction stays constant (planar blows, stick) the closed solution is used.
Units: u [m/s], p [kg m/s], W [1/kg], E [J]. Valid for 0 <= e <= 1, mu >= 0, W positive
semidefinite with u in its range.
Sources: Keller, J. Appl. Mech. 53, 1 (1986); Stronge, Impact Mechanics, 2nd ed. 2018, chapters
3-5 (both from memory).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.coulomb_cone import friction_disk, principal_axes, secular_root
from snapsim.numerics.compilation import bare, compiled
from snapsim.numerics.copying import copy

_TINY_SLIP = 1e-13
_LOCKED = 1e-9
_LEVELS = 7
_ENOUGH = 1e-14
_TURNINGS = 64
_MOST_STEPS = 100_000
_GOES_ON, _ENDED, _LEFT = 0, 1, 2


@compiled
def single_blow(block: Array, start: Array, restitution: float, friction: float) -> Array:
    """Return (p_n, p_t1, p_t2, work of p_n, left) of a blow with velocity `start` (3,) before it.

    All zero where the contact is not closing or nothing can move; `left` is 1 where the blow could
    not be followed to its end, else 0.
    """
    if start[0] >= 0.0 or block[0, 0] <= 0.0:
        return np.zeros(5)
    state = np.array([start[0], start[1], start[2], 0.0, 0.0, 0.0])  # u (3), p_n, E, work
    scale = np.sqrt(start[0] ** 2 + start[1] ** 2 + start[2] ** 2)
    kappa = np.inf if restitution == 0.0 else 1.0 / restitution**2
    stands = _GOES_ON
    for _ in range(_TURNINGS):
        slip = np.hypot(state[1], state[2])
        if slip <= _TINY_SLIP * scale:
            state[1], state[2] = 0.0, 0.0
        if slip <= _TINY_SLIP * scale or _steady(block, state, friction):
            stands = _ENDED if _straight(block, state, friction, kappa) else _GOES_ON
        else:
            stands = _curved(block, state, friction, kappa, scale)
        if stands != _GOES_ON:
            break
    return _impulse(block, start, state, 0.0 if stands == _ENDED else 1.0)


@compiled
def _impulse(block: Array, start: Array, state: Array, left: float) -> Array:
    """Return (p, work, left): the tangential impulse is what explains the change of slip."""
    if state[1] == start[1] and state[2] == start[2] and block[0, 1] == block[0, 2] == 0.0:
        return np.array([state[3], 0.0, 0.0, state[5], left])
    g1 = block[0, 1] * state[3] - (state[1] - start[1])
    g2 = block[0, 2] * state[3] - (state[2] - start[2])
    t1, t2 = friction_disk(block[1, 1], block[1, 2], block[2, 2], g1, g2, np.inf)
    return np.array([state[3], t1, t2, state[5], left])


@bare
def _steady(block: Array, state: Array, friction: float) -> bool:
    """Tell whether the slip direction does not turn."""
    if friction == 0.0:
        return True
    slip = np.hypot(state[1], state[2])
    s1, s2 = state[1] / slip, state[2] / slip
    r1 = block[0, 1] - friction * (block[1, 1] * s1 + block[1, 2] * s2)
    r2 = block[0, 2] - friction * (block[1, 2] * s1 + block[2, 2] * s2)
    size = abs(block[0, 1]) + abs(block[0, 2]) + friction * (block[1, 1] + block[2, 2])
    return bool(abs(s1 * r2 - s2 * r1) <= 4e-15 * size)


@bare
def _friction_direction(block: Array, state: Array, friction: float) -> tuple[float, float, bool]:
    """Return (f1, f2, stays): the tangential impulse per normal one, and whether u_t stays 0."""
    slip = np.hypot(state[1], state[2])
    if friction == 0.0:
        return 0.0, 0.0, False
    if slip > 0.0:
        return -friction * state[1] / slip, -friction * state[2] / slip, False
    a, b, d = block[1, 1], block[1, 2], block[2, 2]
    f1, f2 = friction_disk(a, b, d, block[0, 1], block[0, 2], np.inf)
    if np.hypot(f1, f2) <= friction:
        return f1, f2, True
    c, s, d1, d2 = principal_axes(a, b, d)
    b1, b2 = c * block[0, 1] - s * block[0, 2], s * block[0, 1] + c * block[0, 2]
    root = secular_root(friction * d1, friction * d2, b1, b2, 1.0)
    x1, x2 = -friction * b1 / (friction * d1 + root), -friction * b2 / (friction * d2 + root)
    return c * x1 + s * x2, c * x2 - s * x1, False


@compiled
def _straight(block: Array, state: Array, friction: float, kappa: float) -> bool:
    """Advance in closed form to the end of the blow (True) or to the moment slip stops."""
    f1, f2, stays = _friction_direction(block, state, friction)
    rate = np.empty(3)
    for i in range(3):
        rate[i] = block[i, 0] + block[i, 1] * f1 + block[i, 2] * f2
    slip = np.hypot(state[1], state[2])
    if stays:
        rate[1], rate[2] = 0.0, 0.0
    if slip == 0.0 and friction > 0.0 and rate[0] <= _LOCKED * block[0, 0]:
        state[0] = 0.0  # wedged: neither sticking nor slipping lets it part
        return True
    along = (rate[1] * state[1] + rate[2] * state[2]) / slip if slip > 0.0 else 0.0
    stop = slip / -along if along < 0.0 and friction > 0.0 else np.inf
    end = _remaining(state[0], rate[0], state[4], kappa)
    step = min(end, stop)
    _store(state, rate[0], step, kappa)
    state[1] += rate[1] * step
    state[2] += rate[2] * step
    if stop < end:
        state[1], state[2] = 0.0, 0.0
    return end <= stop


@bare
def _remaining(u_n: float, rate: float, stored: float, kappa: float) -> float:
    """Return the normal impulse left until all that was stored has been given back."""
    before = 0.0
    if u_n < 0.0:
        if rate <= 0.0:
            return np.inf
        before = -u_n / rate
        stored += 0.5 * u_n * u_n / rate
        u_n = 0.0
    due = stored / kappa
    if due <= 0.0:
        return before
    square = u_n * u_n + 2.0 * rate * due
    if square < 0.0:
        return np.inf
    return float(before + 2.0 * due / (u_n + np.sqrt(square)))


@bare
def _store(state: Array, rate: float, step: float, kappa: float) -> None:
    """Advance u_n, p_n, stored and done work over `step` of normal impulse at a constant rate."""
    left = step
    u = state[0]
    turn = -u / rate if u * rate < 0.0 else np.inf
    while left > 0.0:
        part = min(left, turn)
        work = (u + 0.5 * rate * part) * part
        share = 1.0 if work < 0.0 else kappa
        state[4] = max(state[4] - share * work, 0.0) if work != 0.0 else state[4]
        state[5] += work
        u = 0.0 if part == turn else u + rate * part
        left -= part
        turn = np.inf
    state[0] = u
    state[3] += step


@compiled
def _curved(block: Array, state: Array, friction: float, kappa: float, scale: float) -> int:
    """Integrate turning slip to the end of the blow, or to its stop or a steady line, from where it
    goes on; one that has used up its steps is left.

    Steps are cut where compression turns into restitution and back, and at the end.
    """
    speed = friction * (block[1, 1] + block[2, 2]) + np.hypot(block[0, 1], block[0, 2])
    full, enough = 0.5 / speed, _ENOUGH * scale
    step = full
    for _ in range(_MOST_STEPS):
        share = 1.0 if state[0] < 0.0 else kappa
        if state[0] >= 0.0 and (state[4] <= 0.0 or share == np.inf):
            state[4] = 0.0
            return _ENDED
        trial, error = _extrapolate(block, state, friction, share, step, enough)
        if error > 10.0 * enough and step > 1e-6 * full:
            step *= 0.5
            continue
        crossed = trial[0] * state[0] < 0.0 or trial[4] < 0.0
        if crossed:
            trial = _cut(block, state, friction, share, step, enough)
        copy(trial, state)
        slip = np.hypot(state[1], state[2])
        if slip <= _TINY_SLIP * scale or _steady(block, state, friction):
            return _GOES_ON
        step = min(full, 2.0 * step)
    return _LEFT


@compiled
def _cut(
    block: Array, state: Array, friction: float, share: float, step: float, enough: float
) -> Array:
    """Return the state where u_n or the store first reaches zero.

    By regula falsi in the Illinois variant (Dowell & Jarratt 1971, from memory) and halving.
    """
    low, high = 0.0, step
    which = 0 if state[0] < 0.0 else 4
    at_low, trial = state[which], state
    at_high = _extrapolate(block, state, friction, share, step, enough)[0][which]
    if which == 4 and at_high > 0.0:
        which, at_low = 0, state[0]
        at_high = _extrapolate(block, state, friction, share, step, enough)[0][which]
    rounding, kept = 2e-16 * (abs(at_low) + abs(at_high)), 0
    for turn in range(100):
        middle = low + (high - low) * at_low / (at_low - at_high)
        if turn % 4 == 3 or not low < middle < high:
            middle = 0.5 * (low + high)
        trial = _extrapolate(block, state, friction, share, middle, enough)[0]
        value = trial[which]
        if abs(value) <= rounding or high - low <= 1e-15 * step:
            break
        if value * at_low > 0.0:
            low, at_low = middle, value
            at_high, kept = (0.5 * at_high if kept < 0 else at_high), -1
        else:
            high, at_high = middle, value
            at_low, kept = (0.5 * at_low if kept > 0 else at_low), 1
    trial[which] = 0.0
    return trial


@bare
def _slope(block: Array, state: Array, friction: float, share: float, out: Array) -> None:
    """Write d(state)/dt with dp = |u_t| dt."""
    slip = np.hypot(state[1], state[2])
    f1, f2 = -friction * state[1], -friction * state[2]
    for i in range(3):
        out[i] = slip * block[i, 0] + block[i, 1] * f1 + block[i, 2] * f2
    out[3] = slip
    out[4] = -share * state[0] * slip if share < np.inf else 0.0
    out[5] = state[0] * slip


@compiled
def _extrapolate(
    block: Array, state: Array, friction: float, share: float, step: float, enough: float
) -> tuple[Array, float]:
    """Return the state after `step` and an error estimate [m/s]: Gragg-Bulirsch-Stoer.

    Modified midpoint rule with 2, 4, ..., 14 substeps, extrapolated to order 14 (Hairer, Norsett
    & Wanner, Solving Ordinary Differential Equations I, 2nd ed., section II.9; from memory). Ends
    where the last two orders differ by no more than `enough`.
    """
    column, fresh, old, rate = np.empty((_LEVELS, 6)), np.empty(6), np.empty(6), np.empty(6)
    error = np.inf
    for level in range(_LEVELS):
        _modified_midpoint(block, state, friction, share, step, 2 * (level + 1), fresh, old, rate)
        for k in range(level):
            ratio = ((level + 1.0) / (level - k)) ** 2
            for i in range(6):
                before = column[k, i]
                column[k, i] = fresh[i]
                fresh[i] += (fresh[i] - before) / (ratio - 1.0)
        if level > 0:
            error = 0.0
            for i in range(3):
                error = max(error, abs(fresh[i] - column[level - 1, i]))
            if error <= enough:
                break
        copy(fresh, column[level])
    return fresh, error


@bare
def _modified_midpoint(
    block: Array,
    state: Array,
    friction: float,
    share: float,
    step: float,
    count: int,
    new: Array,
    old: Array,
    rate: Array,
) -> None:
    """Fill in the state `new` after `step` by the modified midpoint rule with `count` substeps;
    `old` and `rate` (6,) are overwritten."""
    h = step / count
    _slope(block, state, friction, share, rate)
    for i in range(6):
        old[i], new[i] = state[i], state[i] + h * rate[i]
    for _ in range(count - 1):
        _slope(block, new, friction, share, rate)
        for i in range(6):
            old[i], new[i] = new[i], old[i] + 2.0 * h * rate[i]
    _slope(block, new, friction, share, rate)
    for i in range(6):
        new[i] = 0.5 * (new[i] + old[i] + h * rate[i])
