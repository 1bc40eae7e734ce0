"""Gaps that close on fingers and hands, against free fall (Galilei)."""

import math
from dataclasses import replace

import numpy as np
import pytest

from snapsim.parts.shapes import Box, Sphere
from snapsim.run.release import release
from snapsim.simulation.closing_gaps import closes_at, closings, notice_of
from snapsim.simulation.system import Hand
from snapsim.words.answers import gap_sentence

G = 9.80665


@pytest.fixture
def fall(make_body, make_system, materials):
    """A ball that falls on a table from 0.3 m between the surfaces."""
    table = make_body("table", Box((1, 1, 0.02)), materials["oak"], fixed=True)
    ball = make_body("ball", Sphere(0.02), materials["oak"])
    return make_system([(table, (0, 0, -0.01)), (ball, (0, 0, 0.31))], duration=0.3)


def test_a_falling_ball_closes_its_gap_as_galilei_says(fall):
    (found,) = closings(release(fall))
    assert found.bodies == ("ball", "table")
    # gap h - g t^2/2; frames lie 5 ms apart and the gap is taken as linear between them
    times = [math.sqrt(2 * (0.3 - size) / G) for size in (0.1, 0.025)]
    assert found.closed == pytest.approx(times, abs=2e-4)
    assert found.shut == pytest.approx(math.sqrt(2 * 0.299 / G), abs=2e-4)
    assert found.speed == pytest.approx(math.sqrt(2 * G * 0.275), rel=0.02)
    assert found.notice == pytest.approx(times[1] - times[0], abs=6e-3)  # one frame at most
    assert "no time" in gap_sentence(found)


def test_a_gap_narrower_from_the_start_counts_as_closed_then(fall):
    low = replace(fall.start.pose, position=np.array([[0, 0, -0.01], [0, 0, 0.03]]))
    (found,) = closings(release(replace(fall, start=replace(fall.start, pose=low))))
    assert found.closed == (0.0, 0.0)
    assert found.notice == 0.0
    assert "less than 25 mm from the start" in gap_sentence(found)


def test_what_lies_and_stays_closes_on_nothing(fall):
    low = replace(fall.start.pose, position=np.array([[0, 0, -0.01], [0, 0, 0.01]]))
    assert (
        closings(release(replace(fall, start=replace(fall.start, pose=low), duration=0.05))) == ()
    )


def test_a_hand_in_the_world_is_closed_on_by_the_ball(fall):
    hand = Hand("a finger", None, np.array([0.0, 0.0, 0.0]), np.array([1e-3, 1e-3, 1e-4]), 0.025)
    found = closings(release(replace(fall, hands=(hand,))))[0]
    assert (found.place, found.bodies) == ("a finger", ("ball", ""))
    assert found.closed[0] == pytest.approx(math.sqrt(2 * 0.275 / G), abs=2e-4)


def test_a_leap_after_creeping_gives_no_notice():
    # creeps 50 mm in 1 s, then the last 50 mm go in 20 ms
    time = np.array([0.0, 0.5, 1.0, 1.005, 1.01, 1.015, 1.02])
    gap = np.array([0.1, 0.075, 0.05, 0.0375, 0.025, 0.0125, 0.0])
    assert closes_at(time, gap, 0.025) == pytest.approx(1.01)
    assert notice_of(time, gap, 0.025) == pytest.approx(0.01)
    # and one that creeps all the way gives all the time there is
    assert notice_of(np.array([0.0, 1.0, 2.0]), np.array([0.1, 0.05, 0.0]), 0.025) == 1.5
