"""A margin that the user breaks off keeps what was found, and says what was not looked at."""

from dataclasses import replace

import pytest

from snapsim.analysis.margins import margin_summary
from snapsim.scenario.loading import scene_from_text
from snapsim.study.confirmed_margin import confirmed_margin
from tests.landscape.test_rails import RAIL

LEANING = RAIL.replace('axis = "0, 0, 1"', 'axis = "1, 0, 1"').replace("0, 0, 5 mm", "0, 0, 30 mm")


def broken_off(at):
    """The margin of a part with two ways, interrupted at a stage's second way."""
    system = replace(scene_from_text(LEANING, "rail.toml", ()), detail="draft")

    def progress(what, done, of_all):
        if what.startswith(at) and done == 1:
            raise KeyboardInterrupt

    found = confirmed_margin(system, "part", progress)
    assert found.interrupted
    return found, margin_summary(found)


def test_ways_that_were_not_reached_are_named():
    found, told = broken_off("how far")
    assert len(found.thresholds) == 1
    assert told["search"] == {"interrupted": True, "ways_left_code": ["push"]}
    assert "1 push way not looked at, 1 not confirmed by releases" in told["answer"]


def test_ways_that_no_release_confirmed_are_counted():
    found, told = broken_off("letting go:")
    assert [t.confirmation is None for t in found.thresholds].count(True) == 1
    assert not told["search"]["ways_left_code"]
    assert "all ways were looked at, 1 not confirmed by releases" in told["answer"]


def test_what_is_interrupted_before_anything_was_found_ends():
    def progress(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        confirmed_margin(scene_from_text(LEANING, "rail.toml", ()), "part", progress)
