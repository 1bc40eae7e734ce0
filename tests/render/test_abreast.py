"""Runs shown abreast: one unit, one scale, and no pane says what happens in another."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.render import ClipOptions
from snapsim.render.job import ClipJob
from snapsim.render.pane import ENDED, HELD
from snapsim.render.readings import choose_scales
from snapsim.render.show import Show


@pytest.fixture(scope="module")
def late(trajectory):
    """The same run, begun 0.1 s later and ended 0.3 s earlier, at a hundredth of the energy."""
    blow = trajectory.impacts[0]
    few = trajectory.time <= trajectory.time[-1] - 0.4
    cut = {
        name: getattr(trajectory, name)[few]
        for name in ("position", "quaternion", "velocity", "spin", "force", "torque", "gap")
    }
    series = {
        name: {k: v[few] for k, v in getattr(trajectory, name).items()}
        for name in ("energy", "magnetisation")
    }
    series["energy"]["kinetic"] = series["energy"]["kinetic"] / 100
    time = trajectory.time[few] + 0.1
    time[0] = 0.0
    return replace(trajectory, time=time, impacts=(replace(blow, time=blow.time + 0.1),), **cut,
                   **series)  # fmt: skip


@pytest.fixture(scope="module")
def show(trajectory, late, drawing):
    with Show(ClipJob((trajectory, late), ClipOptions(640, 360, slow_motion=20.0))) as made:
        yield made


def paces(show, kind, shot=0):
    piece = next(p for p in show.timeline.pieces if p.kind == kind and p.shot == shot)
    middle = (piece.clip + piece.until) / 2
    return [pane._pace(middle, piece) for pane in show._panes]


def test_only_the_pane_whose_part_strikes_says_impact(show):
    assert paces(show, "freeze") == ["impact", HELD]


def test_a_run_that_is_over_says_so_while_the_other_goes_on(show):
    line = show.timeline
    clip = next(t for t in np.arange(0, line.duration, 0.01) if 0.7 < line.sim_at(t) < 0.9)
    piece = line.piece_at(clip)
    assert [pane._pace(clip, piece) == ENDED for pane in show._panes] == [False, True]


def test_energies_have_one_unit_in_all_panes(trajectory, late):
    both = choose_scales([trajectory, late], 20.0)
    assert both.energy == choose_scales([trajectory], 20.0).energy
    assert both.energy != choose_scales([late], 20.0).energy


def test_replays_have_one_scale(show):
    for pane in show._panes:
        pane._picture(1)
    scales = [
        pane._pictures[1][0].view.pixels_per_metre(pane._run.impacts[0].point)
        for pane in show._panes
    ]
    assert scales[0] == pytest.approx(scales[1], rel=0.03)  # the points lie at unlike depths


def test_films_abreast_have_one_view_and_say_the_caution_once(trajectory, late, drawing):
    with Show(ClipJob((trajectory, late), ClipOptions(640, 360))) as film:
        for shot in (0, 1):
            views = [pane._picture(shot)[0].view for pane in film._panes]
            assert views[0].eye == pytest.approx(views[1].eye)
            assert views[0].axes == pytest.approx(views[1].axes)
        shown = ["caution" in pane._picture(0)[1]._shown for pane in film._panes]
    assert shown == [True, False]
