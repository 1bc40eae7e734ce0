"""The gap where a hand could be."""

import numpy as np
import pytest

from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.hands import hand_gaps
from snapsim.study.outcome import outcome_of

SCENE = """
title = "A ball falls towards a finger on a table"
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "20 mm" }
material = "aluminium"
position = "0, 0, 60 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "200 x 200 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[[hand]]
name = "finger"
body = "table"
face = "+z"
gap = "25 mm"
[[hand]]
name = "in the air"
point = "0, 0, 5 mm"
gap = "1 mm"
[[hand]]
name = "below"
body = "table"
face = "-z"
gap = "5 mm"
[contact]
restitution = 0.0
[run]
duration = "0.12 s"
detail = "draft"
"""


def test_a_gap_closes_to_a_finger_when_free_fall_says():
    run = release(scene_from_text(SCENE, "hand.toml"))
    found = outcome_of(run)
    # h = g t^2 / 2 from a gap of 50 mm to 25 mm, and from 45 to 1 mm over the point; frames are
    # joined by straight lines: within a frame's 1/2 g dt^2/4, far below 1 %
    assert found["hands"]["finger"]["start_m"] == pytest.approx(0.05, abs=3e-6)
    assert found["hands"]["finger"]["closed_s"] == pytest.approx((0.05 / 9.80665) ** 0.5, rel=0.01)
    assert found["hands"]["in the air"]["closed_s"] == pytest.approx(
        (2 * 0.044 / 9.80665) ** 0.5, rel=0.01
    )
    assert found["hands"]["below"]["closed_s"] is None
    assert found["flags"]["pinch"] is True
    assert all(np.isfinite(g.gap).all() for g in hand_gaps(run))
