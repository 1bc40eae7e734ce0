"""Intervals hold the truth as often as they say, on motions with a closed form."""

import numpy as np
import pytest
from closed_forms import ClosedForm

from snapsim.footage.fit.fitting import with_intervals
from snapsim.footage.fit.staged import Settings, staged_fit

SCALE = 1000.0
G, HEIGHT, BACK = 9.80665, 0.3, 0.6
LOW, HIGH = np.array([8.0, 0.25, 0.2]), np.array([12.0, 0.35, 0.95])
TRUE = np.array([G, HEIGHT, BACK])


def blow(values):
    return np.sqrt(2 * values[1] / values[0])


def bouncing(values, times):
    """A ball let go at a height: z = h - g t^2/2, then v = e sqrt(2 g h) up, again and again."""
    g, h, e = values
    hit, speed = blow(values), e * np.sqrt(2 * g * h)
    z = np.where(times < hit, h - 0.5 * g * times**2, 0.0)
    for _ in range(6):
        since, lasts = times - hit, 2 * speed / g
        z = np.where((since >= 0) & (since < lasts), speed * since - 0.5 * g * since**2, z)
        hit, speed = hit + lasts, e * speed
    return np.stack([0 * z, SCALE * z], axis=1)


def made(seed, noise=1.0, wrong=0.0):
    chance = np.random.default_rng(seed)
    time = np.arange(0, 0.6, 1 / 120)
    time = time[chance.random(len(time)) > 0.05]
    place = bouncing(TRUE, time) + noise * chance.standard_normal((len(time), 2))
    lost = chance.random(len(time)) < wrong
    place[lost] += 30 * chance.standard_normal((lost.sum(), 2))
    return ClosedForm(bouncing, LOW, HIGH, time, place, blow)


def held(predictor, seed, confidence=0.95):
    fitted = staged_fit(predictor, Settings(8, seed, 1.0, 0.6))
    fitted, found = with_intervals(fitted, confidence)
    truth = (TRUE - LOW) / (HIGH - LOW)
    inside = [i.low <= t <= i.high for i, t in zip(found.intervals, truth, strict=True)]
    return np.array(inside), fitted, found


def test_intervals_of_95_percent_hold_gravity_height_and_restitution_that_often():
    share = np.mean([held(made(seed), seed)[0] for seed in range(200)], axis=0)
    # binomial of 200 at 0.95: a standard deviation of 0.0154; three of them, and no more than 1
    assert (share > 0.95 - 0.046).all(), share
    assert (share < 0.995).any(), share


def test_wrong_places_do_not_spoil_the_intervals():
    found = np.mean([held(made(seed, wrong=0.05), seed)[0] for seed in range(40)], axis=0)
    assert (found > 0.95 - 0.11).all(), found  # binomial of 40: 0.034, three of them


def test_half_the_confidence_gives_half_the_catch():
    share = np.mean([held(made(seed), seed, 0.5)[0] for seed in range(60)], axis=0)
    assert share.mean() == pytest.approx(0.5, abs=0.12)  # of 180: 0.037, three of them


def test_the_time_of_the_blow_is_found_between_the_frames():
    _, fitted, _ = held(made(3), 3)
    assert fitted.blow == pytest.approx(blow(TRUE), abs=1e-3)  # frames are 8.3 ms apart
    assert abs(fitted.delay[0]) < 4 * fitted.delay[1]
    assert fitted.delay[1] < 2e-3


def test_a_blow_that_comes_late_is_found_late_and_does_not_spoil_the_restitution():
    late = 4e-3
    predictor = made(5, noise=0.3)
    first = blow(TRUE)
    times = np.where(
        predictor.time < first + late, np.minimum(predictor.time, first), predictor.time - late
    )
    noise = 0.3 * np.random.default_rng(6).standard_normal(predictor.tracked.shape)
    predictor.tracked = bouncing(TRUE, times) + noise
    fitted = staged_fit(predictor, Settings(8, 1, 0.3, 0.3))
    assert fitted.delay[0] == pytest.approx(late, abs=5 * fitted.delay[1])
    assert 0 < fitted.delay[1] < 1e-3
