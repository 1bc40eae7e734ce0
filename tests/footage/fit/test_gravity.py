"""Tracks from closed forms, fitted by releases of a scene, give back gravity within its interval.

Fall: z = h - g t^2/2. Pendulum let go at rest at theta_0: sin(theta/2) = k cd(w t, k), with
k = sin(theta_0/2) and w^2 = m g l/I (Jacobi's functions; Whittaker, Analytical Dynamics, 4th ed.,
section 44, from memory; functions from scipy).
"""

import numpy as np
import pytest
from scipy.special import ellipj

from snapsim.footage.fit.fitting import fit_footage, laid
from snapsim.footage.fit.written import fitted_scene, fitted_study
from snapsim.footage.match_file import match_from
from snapsim.footage.matching import read_footage
from snapsim.footage.verdict import verdict

G = 9.79
FALL = """
title = "A ball falls"
gravity = "0, 0, -9.7 m/s^2"
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "20 mm" }
material = "aluminium"
position = "0, 0, 1 m"
[run]
duration = "0.5 s"
"""
ROD, WIDTH, ANGLE = 0.3, 0.01, 60.0
SWING = f"""
title = "A rod swings"
[[body]]
name = "rod"
shape = {{ kind = "box", size = "10 x 10 x 300 mm" }}
material = "aluminium"
position = "-129.903810567666, 0, -75 mm"
rotation = {{ axis = "y", angle = "{ANGLE} deg" }}
[[joint]]
name = "pin"
kind = "hinge"
between = ["rod", "world"]
at = ["0, 0, 150 mm", "0, 0, 0 mm"]
axis = "y"
[run]
duration = "1.5 s"
"""
SCALE, ORIGIN = 1000.0, (500.0, 100.0)


def fit(tmp_path, scene, table, body, at, more=None):
    (tmp_path / "scene.toml").write_text(scene)
    (tmp_path / "tracks.csv").write_text(table)
    document = {
        "time": {"frame_rate": "100 Hz"},
        "view": {"scale": "1 px/mm", "origin": "500, 100 px"},
        "track": [{"body": body, "at": at}],
        "fit": {"gravity.z": {"between": ["-11 m/s^2", "-9 m/s^2"]}} | (more or {}),
        "fitting": {"starts": 2, "noise": "0.5 px"},
    }
    match = match_from(document, "match.toml")
    filmed = read_footage(str(tmp_path / "tracks.csv"), match, "match.toml", [body])
    found = fit_footage(str(tmp_path / "scene.toml"), filmed, match, "match.toml")
    assert verdict(laid(found, filmed, match), found.predictor.size).agreement == "within the noise"
    return found


def table(place, seed):
    noisy = place + 0.5 * np.random.default_rng(seed).standard_normal(place.shape)
    rows = [f"{k},{x:.4f},{y:.4f}" for k, (x, y) in enumerate(noisy)]
    return "frame,x,y\n" + "\n".join(rows) + "\n"


def ends(found, k=0):
    unknown, interval = found.unknowns[k], found.intervals.intervals[k]
    return unknown.value(interval.low), unknown.value(interval.high)


def test_a_fall_gives_back_gravity_and_the_moment_of_release(tmp_path):
    late = 0.013
    t = np.maximum(np.arange(0, 0.45, 0.01) - late, 0)
    place = np.stack([500 + 0 * t, 100 - SCALE * (1 - 0.5 * G * t**2)], axis=1)
    more = {"time.release": {"between": ["-50 ms", "50 ms"]}}
    found = fit(tmp_path, FALL, table(place, 2), "ball", "0, 0, 0 mm", more)
    low, high = ends(found)
    assert low < -G < high
    assert high - low < 0.1  # half a pixel in 900, and the moment of release
    low, high = ends(found, 1)
    assert low < 1e3 * late < high
    study = fitted_study(found, "tracks.csv")
    assert "time.release" not in study  # what the camera has is nothing to vary
    assert 'gravity = "0, 0, -9.' in fitted_scene(found, tmp_path, "tracks.csv").replace(
        "0.0,", "0,"
    )


def test_a_pendulum_gives_back_gravity(tmp_path):
    t = np.arange(0, 0.6, 0.01)
    lever, inertia = ROD / 2, ROD**2 / 3 + WIDTH**2 / 12  # about the pin, of 1 kg
    k = np.sin(np.radians(ANGLE) / 2)
    _, cn, dn, _ = ellipj(np.sqrt(G * lever / inertia) * t, k**2)
    theta = 2 * np.arcsin(k * cn / dn)
    x, z = -ROD * np.sin(theta), -ROD * np.cos(theta)
    place = np.stack([500 + SCALE * x, 100 - SCALE * z], axis=1)
    found = fit(tmp_path, SWING, table(place, 5), "rod", "0, 0, -150 mm")
    low, high = ends(found)
    assert low < -G < high
    assert high - low < 0.03


def test_what_cannot_be_fitted_is_refused_in_one_line(tmp_path):
    from snapsim.errors import InputError

    line = "frame,x,y\n" + "".join(f"{k},500,{-900 + k}\n" for k in range(9))
    for key, bounds, said in (
        ("gravty", ["-11 m/s^2", "-9 m/s^2"], 'did you mean "gravity"'),
        ("gravity.z", ["-9 m/s^2", "-11 m/s^2"], "lowest first"),
        ("gravity.z", ["-11 m", "-9 m"], "m/s"),
        ("view.zoom", [1, 2], "cannot be fitted; allowed: time.release"),
        ("view.scale", [1, 2], "is no scale"),
        ("body.bal.position.z", ["1 mm", "2 mm"], 'did you mean "ball"'),
    ):
        with pytest.raises(InputError, match=said) as caught:
            fit(tmp_path, FALL, line, "ball", "0, 0, 0 mm", {key: {"between": bounds}})
        assert "\n" not in str(caught.value)


def test_an_interrupt_ends_the_fit_and_a_run_that_stops_is_a_failure(monkeypatch):
    from dataclasses import replace

    import snapsim.run.release as module
    from snapsim.footage.fit.simulated import ReleaseRequest, run_job
    from snapsim.mechanics.ending import EndReason, ended
    from snapsim.scenario.loading import scene_from_text

    job = ReleaseRequest(FALL, "scene.toml", ('run.duration="10 ms"',), (), True)
    run = module.release(scene_from_text(FALL, "scene.toml", job.changes))
    lost = replace(run, ending=ended(EndReason.STEP_LIMIT, 7))
    monkeypatch.setattr(module, "release", lambda *a, **k: lost)
    assert "the limit of 7 steps was reached" in run_job(job)
    gone = replace(run, ending=ended(EndReason.INTERRUPTED))
    monkeypatch.setattr(module, "release", lambda *a, **k: gone)
    with pytest.raises(KeyboardInterrupt):
        run_job(job)
