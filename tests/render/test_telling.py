"""The film of a run: real time once with the hit in it, then slow where something happens; words
and captions at the times of their events, with the run's figures."""

import dataclasses
import itertools
import re

import numpy as np
import pytest

from snapsim.render import ClipOptions, write_captions
from snapsim.render.captions import story_cues
from snapsim.render.events import EventKind, find_events
from snapsim.render.film_words import set_in
from snapsim.render.lines import StoryLine, energy, force, line_of
from snapsim.render.show import plan
from snapsim.render.telling import AFTER, READING
from snapsim.render.timeline import VEIL, Timeline
from snapsim.simulation.reproducibility import Twins

WHOLE = ClipOptions()


@pytest.fixture(scope="module")
def pulled(trajectory):
    """The made-up run, pulled with 0.5 to 40 times its weight, and turning."""
    t, mass = trajectory.time, trajectory.system.bodies[1].mass
    force, spin = trajectory.force.copy(), trajectory.spin.copy()
    force[:, 1, 2] = 9.80665 * mass * (0.5 + 40 * np.minimum(t / 0.18, 1) ** 2)
    spin[:, 1, 1] = np.where(t < 0.16, 20 * np.sin(np.pi * t / 0.16) ** 4, 0.0)
    return dataclasses.replace(trajectory, force=force, spin=spin)


@pytest.fixture(scope="module")
def line(pulled) -> Timeline:
    return plan((pulled,), WHOLE)[0]


def test_the_hit_is_seen_in_real_time_first_and_for_a_while_after(line, pulled):
    blow = pulled.impacts[0].time
    told = [p for p in line.pieces if p.kind == "play"]
    assert [(p.first, p.last, p.sim) for p in told] == [(1.0, 1.0, 0.0)]
    at = line.clip_at(blow)
    assert at == pytest.approx(told[0].clip + blow)
    cut = min(c for c in line.cuts if c > at)
    assert cut - at >= AFTER + VEIL - 1e-9
    assert all(line.line_at(t) is None for t in np.linspace(told[0].clip, cut - 1e-6, 50))


def test_no_cut_within_three_tenths_of_a_second_of_a_blow(line, pulled):
    for shot in (0, 1):
        at = line.clip_at(pulled.impacts[0].time, shot)
        assert all(abs(cut - at) >= AFTER for cut in line.cuts)


def test_time_never_runs_backward_in_the_second_telling_and_misses_nothing(line, pulled):
    again = [p for p in line.pieces if p.shot == 1]
    for before, after in itertools.pairwise(again):
        assert after.clip == pytest.approx(before.until, abs=1e-12)
        assert after.sim == pytest.approx(before.sim_at(before.until), abs=1e-9)
    assert again[0].sim == 0.0
    assert again[-1].sim == pytest.approx(pulled.time[-1])


def test_slowest_in_the_approach_and_frozen_at_the_blow(line, pulled):
    blow = pulled.impacts[0].time
    near = line.piece_at(line.clip_at(blow - 0.01, 1))
    assert near.first == near.last == pytest.approx(0.01)
    freeze = next(p for p in line.pieces if p.kind == "freeze")
    assert freeze.sim == pytest.approx(blow, abs=1e-9)
    assert freeze.length == WHOLE.freeze


def test_each_line_begins_when_its_event_does_and_has_the_run_s_figure(line, pulled):
    events = {e.kind: e for e in find_events(pulled)}
    told = {said.about: said for said in line.lines}
    for kind in (EventKind.RESISTING, EventKind.RIGHTING, EventKind.APPROACH, EventKind.IMPACT):
        assert line.sim_at(told[kind].start + 1e-9) == pytest.approx(events[kind].start, abs=1e-6)
    blow = pulled.impacts[0]
    assert told[EventKind.IMPACT].number == energy(blow.kinetic_energy)
    assert f"{blow.closing_speed:.2f}" in told[EventKind.IMPACT].sentence
    heavy = pulled.system.bodies[1].mass * 9.80665
    assert told[EventKind.RESISTING].number == force(0.5 * heavy)
    assert force(heavy) in told[EventKind.RESISTING].sentence
    assert told[EventKind.REST].number.startswith("0.9")


def test_lines_can_be_read_and_never_overlap(line):
    for a, b in itertools.pairwise(line.lines):
        assert a.end <= b.start + 1e-9
    assert all(said.end - said.start >= READING - 1e-9 for said in line.lines)


def test_captions_are_the_lines_at_their_times(line, pulled, tmp_path):
    found = story_cues(line, ["one"], "Caution.")
    for said in line.lines:
        cue = next(c for c in found if c.start == said.start)
        assert said.text in cue.text
    assert found[-1].text == "Caution."
    srt, _ = write_captions(pulled, tmp_path / "clip.mp4", WHOLE)
    stamps = re.findall(r"(\d\d):(\d\d):(\d\d),(\d{3}) -->", srt.read_text(encoding="utf-8"))
    read = [3600 * int(h) + 60 * int(m) + int(s) + int(ms) / 1e3 for h, m, s, ms in stamps]
    assert read == pytest.approx([c.start for c in found], abs=5.1e-4)


def test_runs_abreast_freeze_at_each_own_blow_and_say_their_own(pulled):
    blow = pulled.impacts[0]
    early = dataclasses.replace(pulled, impacts=(dataclasses.replace(blow, time=0.1),))
    line, lags = plan((pulled, early), WHOLE)
    assert lags == [0.0, 0.0]
    assert [p.sim for p in line.pieces if p.kind == "freeze"] == pytest.approx([0.1, blow.time])
    struck = [s for s in line.lines if s.about == EventKind.IMPACT]
    assert sorted(s.run for s in struck) == [0, 1]
    together, lags = plan((pulled, early), dataclasses.replace(WHOLE, align="impact"))
    assert lags == pytest.approx([0.0, blow.time - 0.1])
    assert len([p for p in together.pieces if p.kind == "freeze"]) == 1


def test_a_long_rattle_is_left_out_and_its_time_said(pulled):
    late = np.append(pulled.time, 5.0)
    doubled = {
        n: np.concatenate([getattr(pulled, n), getattr(pulled, n)[-1:]])
        for n in ("position", "quaternion", "velocity", "spin", "force", "torque", "gap")
    }
    series = {n: {k: np.concatenate([v, v[-1:]]) for k, v in getattr(pulled, n).items()}
              for n in ("energy", "magnetisation")}  # fmt: skip
    run = dataclasses.replace(pulled, time=late, **doubled, **series)
    line, _ = plan((run,), WHOLE)
    rest = next(p for p in line.pieces if p.kind == "rest")
    assert any(abs(cut - rest.clip) < 1e-9 for cut in line.cuts)
    shown = max(p.sim_at(p.until) for p in line.pieces if p.shot == 1 and p.kind == "replay")
    said = next(s for s in line.lines if s.about == EventKind.REST)
    assert f"{5.0 - shown:.2g} s left out" in said.sentence


@pytest.mark.parametrize("replay", [None, WHOLE.replay])
@pytest.mark.parametrize("cards", [True, False])
def test_one_frame_no_blow_and_nothing_free_make_a_film(trajectory, one_frame, replay, cards):
    options = dataclasses.replace(WHOLE, replay=replay, cards=cards)
    for run in (one_frame, dataclasses.replace(trajectory, impacts=())):
        line, _ = plan((run,), options)
        assert line.pieces[-1].until == line.duration > 2.0
        assert [p for p in line.pieces if p.kind == "freeze"] == []
        assert len(line.frame_times(30)) == round(30 * line.duration)


def test_a_telling_can_be_kept_to_some_kinds(pulled):
    few = dataclasses.replace(WHOLE, events=frozenset({EventKind.APPROACH, EventKind.IMPACT}))
    about = [s.about for s in plan((pulled,), few)[0].lines]
    assert about == [None, EventKind.APPROACH, EventKind.IMPACT, EventKind.REST]


@pytest.mark.parametrize(("size", "least"), [((1280, 720), 14.0), ((1080, 1920), 14.0)])
def test_number_and_sentence_are_fourteen_pixels_where_the_picture_is_390_wide(size, least):
    from snapsim.render.layout import lay_out_film

    layout = lay_out_film(*size)
    left, top, right, bottom = layout.words
    said = StoryLine(0, 1, "7.6\u00a0J", "left magnet strikes right magnet at 11.05\u00a0m/s")
    for row in set_in(said, right - left, bottom - top, layout.unit):
        assert row.points * 390 / size[0] >= least


def test_what_comes_after_the_twins_have_parted_is_told_as_one_of_several_courses(pulled):
    """A figure that a run begun a millionth otherwise does not repeat is not told as if known."""
    rest, at = next((e, e.start) for e in find_events(pulled) if e.kind == EventKind.REST)
    blow = next(e for e in find_events(pulled) if e.kind == EventKind.IMPACT)

    def said(apart, event):
        twins = Twins(1, 0, 1e-6, apart, 1, {}, {})
        return line_of(event, dataclasses.replace(pulled, twins=twins))[1]

    for event, time in ((rest, at), (blow, blow.blow.time)):
        assert "one of several courses" in said(0.5 * time, event)
        assert "one of several courses" not in said(np.inf, event)
        assert "one of several courses" not in line_of(event, pulled)[1]
