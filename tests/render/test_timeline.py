"""Clip time against simulated time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapsim.render import timeline

RUN = st.floats(0.05, 3.0)
SHARE = st.floats(0.0, 1.0)
SLOW = st.sampled_from([1.0, 2.0, 5.0, 20.0, 100.0])


@given(RUN, SHARE, SLOW)
def test_simulated_time_never_runs_backward_and_reaches_the_end(end, share, slow):
    line = timeline.build(end, share * end, slow)
    shown = np.array([line.sim_at(c) for c in np.linspace(0, line.duration, 700)])
    assert np.all(np.diff(shown) >= -1e-12)
    assert shown[0] == 0
    assert shown[-1] == pytest.approx(end, abs=1e-9)


@given(RUN, SHARE, SLOW)
def test_no_simulated_time_is_skipped_between_pieces(end, share, slow):
    line = timeline.build(end, share * end, slow)
    for before, after in zip(line.pieces, line.pieces[1:], strict=False):
        assert after.clip == pytest.approx(before.clip + before.length, abs=1e-12)
        assert after.sim == pytest.approx(before.sim_at(after.clip), abs=1e-9)


@given(RUN, SHARE, SLOW)
def test_rate_is_the_derivative_of_simulated_time(end, share, slow):
    line = timeline.build(end, share * end, slow)
    for piece in line.pieces:
        for u in (0.2, 0.5, 0.8):
            at, h = piece.clip + u * piece.length, 1e-5 * piece.length
            slope = (piece.sim_at(at + h) - piece.sim_at(at - h)) / (2 * h)
            assert slope == pytest.approx(piece.rate_at(at), rel=1e-4, abs=1e-9)


def test_an_impact_in_mid_run_plays_real_slow_real_with_the_window_slow():
    line = timeline.build(2.0, 1.0, 20.0, (0.1, 0.05))
    rates = [(p.first, p.last) for p in line.pieces]
    assert rates == [(0, 0), (1, 1), (1, 0.05), (0.05, 0.05), (0.05, 1), (1, 1), (0, 0)]
    slow = line.pieces[3]
    assert slow.sim == pytest.approx(0.9)
    assert slow.length == pytest.approx(0.15 * 20)
    ramps = 2 * timeline.RAMP
    held = timeline.OPENING_HOLD + timeline.CLOSING_HOLD
    real = 2.0 - 0.15 - ramps * (1 + 0.05) / 2
    assert line.duration == pytest.approx(held + real + ramps + 0.15 * 20)


def test_the_slow_part_is_labelled_with_its_factor_and_real_time_as_such():
    line = timeline.build(2.0, 1.0, 20.0, (0.1, 0.05))
    slow = line.pieces[3]
    assert line.label_at(slow.clip + 0.01) == "1/20 of real time"
    assert line.label_at(line.pieces[1].clip + 0.01) == "real time"
    assert line.label_at(0.0) == "release"
    assert line.label_at(line.duration - 0.01) == "end"
    half_way = line.pieces[2].clip + timeline.RAMP / 2
    assert line.label_at(half_way) == "1/1.9 of real time"  # (1 + 0.05) / 2 = 1 / 1.905


def test_without_an_impact_the_whole_clip_is_real_time():
    line = timeline.build(1.5, None, 20.0)
    assert line.slow_motion == 1.0
    assert {p.first for p in line.pieces} == {0.0, 1.0}


def test_automatic_slow_motion_grows_with_closing_speed():
    slow, fast = (timeline.automatic_slow_motion(v, 0.2) for v in (0.4, 4.0))
    assert (slow, fast) == (5.0, 50.0)


@given(RUN, SHARE, SLOW)
def test_frames_fill_the_clip(end, share, slow):
    line = timeline.build(end, share * end, slow)
    times = line.frame_times(60)
    assert abs(len(times) / 60 - line.duration) <= 0.5 / 60 + 1e-9
    assert line.sim_at(times[-1]) == pytest.approx(end, abs=1e-9)


def test_a_time_is_found_where_sums_of_pieces_miss_it_by_rounding():
    """The freeze begins at 0.17294948222540357 or an ulp beside it, whichever way one adds."""
    for impact in (0.17294948222540357, 0.1, 0.3, 1 / 3, 0.0639):
        line = timeline.build(0.9, impact, 20.0, None, timeline.Extras(2.6, 1.6, True, 3.6))
        freeze = next(p for p in line.pieces if p.kind == "freeze")
        for asked in (impact, np.nextafter(impact, 1.0), np.nextafter(impact, 0.0)):
            assert line.clip_at(float(asked)) == pytest.approx(freeze.clip, abs=1e-6)
