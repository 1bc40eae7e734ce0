"""Noise from tracks alone, synthetic footage, residuals and what is said of them."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from snapsim.footage import robust_loss
from snapsim.footage.match_file import MakeDescription
from snapsim.footage.noise import track_noise
from snapsim.footage.overlay import overlay
from snapsim.footage.synthetic import made_tracks
from snapsim.footage.tracks import Footage, Track
from snapsim.footage.verdict import drift_chance, runs_chance, trimmed_rms, verdict
from snapsim.footage.views import PlaneView

X, Z = np.array([1.0, 0, 0]), np.array([0.0, 0, 1])
VIEW = PlaneView((1000.0, 1000.0), 0.0, 0.0, True, X, Z, 1000.0, (100.0, 990.0))
POINTS = [Track("a", "ball", np.zeros(3), np.empty(0), np.empty((0, 2)))]


def made(falls, **given):
    make = MakeDescription.model_construct(
        **{"noise": 1.0, "dropped": 0.0, "outliers": 0.0, "seed": 1, "until": None} | given
    )
    return made_tracks(falls, VIEW, POINTS, 240.0, 0.0, make)


def test_noise_is_found_from_tracks_of_a_fall_whatever_is_dropped_or_wrong(falls):
    found = [
        track_noise(made(falls, noise=0.7, dropped=0.05, outliers=0.02, seed=s)) for s in range(40)
    ]
    # third differences of a fall vanish; 170 of them with 5 % gaps and 2 % wrong places
    assert np.mean(found) == pytest.approx(0.7, rel=0.12)


def test_synthetic_footage_has_the_noise_and_gaps_that_were_asked_for(falls):
    tracks = [made(falls, noise=0.5, dropped=0.1, seed=s)[0] for s in range(60)]
    exact = made(falls, noise=0.0)[0].place
    error = np.array([t.place - exact for t in tracks])
    lost = np.isnan(error[..., 0]).mean()
    assert np.nanstd(error) == pytest.approx(0.5, rel=0.02)  # 10 000 numbers: 0.7 %
    assert lost == pytest.approx(0.1, abs=0.012)  # 5820 places: 0.004
    np.testing.assert_array_equal(
        tracks[3].place, made(falls, noise=0.5, dropped=0.1, seed=3)[0].place
    )


def laid(falls, tracks, noise=None):
    return overlay(Footage(tuple(tracks), "tracks.csv", ""), VIEW, falls, (), 0.0, noise)


def test_footage_of_the_same_motion_agrees_and_that_of_another_does_not(falls):
    good = verdict(laid(falls, made(falls, dropped=0.05)))
    assert good.agreement == "within the noise"
    assert good.ratio == pytest.approx(1, abs=0.25)  # 170 dependent differences: 10 % or so
    slower = 1 - (1 - falls.position) * np.array([0, 0, 0.98]) - np.array([1, 1, 0])
    other = replace(falls, position=slower, velocity=0.98 * falls.velocity)
    off = verdict(laid(other, made(falls)))
    assert off.agreement in ("close", "off")
    assert off.persistence > 0.5


def test_a_motion_that_is_off_only_after_a_blow_is_off(falls):
    late = np.where(np.arange(len(falls.time)) > 25, 0.01, 0)[:, None, None] * np.array([1, 0, 0])
    other = replace(falls, position=falls.position + late)
    assert verdict(laid(other, made(falls))).agreement == "off"


def test_the_trimmed_rms_is_that_of_normal_noise_and_knows_the_unknowns():
    z = 2.0 * np.random.default_rng(1).standard_normal(100_000)
    assert trimmed_rms(z) == pytest.approx(2.0, rel=0.01)
    assert trimmed_rms(z[:20], 10) == pytest.approx(np.sqrt(2) * trimmed_rms(z[:20]))


def test_a_slow_drift_below_the_noise_is_no_agreement(falls):
    drift = 1.2e-3 * np.sin(9 * falls.time)[:, None, None] * np.array([1, 0, 1])  # 1.2 px
    other = replace(falls, position=falls.position + drift)
    found = verdict(laid(other, made(falls, noise=0.5), 1.0))
    assert found.ratio < 1.1
    assert found.persistence > 0.5
    assert found.agreement == "close"


def test_runs_of_one_sign_are_as_rare_as_wald_and_wolfowitz_say():
    chance = np.random.default_rng(3)
    found = np.array([runs_chance(chance.standard_normal(60)) for _ in range(4000)])
    for level in (0.05, 0.01):  # a discrete statistic: near the level, 4 standard errors of 4000
        assert np.mean(found < level) == pytest.approx(level, abs=0.4 * level + 0.006)
    # n = 20 of each sign in 2 runs: mean 21, variance 20 * 19 / 39, so 5.9 deviations
    few = runs_chance(np.repeat([1.0, -1.0], 20))
    assert few == pytest.approx(stats.norm.cdf(-18.5 / math.sqrt(20 * 19 / 39)), rel=1e-3)
    assert runs_chance(np.ones(30)) < 1e-8


def test_independent_residuals_seldom_drift():
    chance = np.random.default_rng(4)
    found = [drift_chance(chance.standard_normal(80)) for _ in range(4000)]
    assert np.mean(np.array(found) < 0.01) < 0.015
    assert drift_chance(chance.standard_normal(80) + 1.0) < 1e-6


def test_small_residuals_that_keep_their_sign_do_not_agree(falls):
    drift = 6e-4 * np.sin(9 * falls.time)[:, None, None] * np.array([1, 0, 1])  # 0.6 px
    other = replace(falls, position=falls.position + drift)
    found = verdict(laid(other, made(falls, noise=0.5), 0.7))
    assert found.ratio < 1.1
    assert found.persistence < 0.5
    assert found.agreement == "systematic"
    assert "do not agree" in found.sentence


def test_a_first_blow_at_another_time_is_no_agreement(falls):
    tracks = made(falls, noise=0.5)
    assert verdict(laid(falls, tracks, 0.5), delay=(3e-4, 1e-4)).agreement == "within the noise"
    late = verdict(laid(falls, tracks, 0.5), delay=(5e-4, 1e-4))
    assert late.agreement == "systematic"
    assert "another time" in late.sentence


def test_a_given_noise_is_taken_at_its_word(falls):
    tracks = made(falls, noise=1.0)
    assert verdict(laid(falls, tracks, 1.0)).agreement == "within the noise"
    assert verdict(laid(falls, tracks, 0.5)).agreement == "close"
    assert verdict(laid(falls, tracks, 0.2)).agreement == "off"


def test_the_scale_of_residuals_is_consistent_and_hardly_moved_by_wrong_places():
    chance = np.random.default_rng(5)
    z = 3.0 * chance.standard_normal(20_000)
    assert robust_loss.scale(z, 0) == pytest.approx(3.0, rel=0.015)
    z[:400] += 500
    assert robust_loss.scale(z, 0) == pytest.approx(3.0, rel=0.08)


def test_the_expectations_of_hubers_loss_are_those_of_a_normal_variable():
    z = np.linspace(-12, 12, 400_001)
    step = z[1] - z[0]
    psi = np.clip(z, -robust_loss.K, robust_loss.K)
    wanted = float(np.sum(psi**2 * stats.norm.pdf(z)) * step)
    assert pytest.approx(wanted, rel=1e-8) == robust_loss._PSI2
