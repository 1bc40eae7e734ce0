"""Margins over a range of a key: shifted with the magnet, and rows for what cannot be."""

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from snapsim.analysis.continuation import (
    continuation_csv,
    continuation_summary,
    continuation_table,
    limit_of,
)
from snapsim.errors import InputError
from snapsim.scenario.spans import read_span
from snapsim.study.continuation import Against, continuation

SCENES = Path(__file__).parents[1] / "scenes"
BALL = (SCENES / "iron-ball-under-magnet.toml").read_text().replace("0, 0, 80 mm", "0, 0, 100 mm")


def along(values, steps, **more):
    span = read_span(f"body.magnet.position.z={values}", "--against")
    more = {"quick": True, **more}
    return continuation(Against(BALL, "ball.toml", span, steps, ("lift",), **more))


@pytest.fixture(scope="module")
def raised():
    """The magnet at 100, 110 and 120 mm."""
    return along("100..120 mm", 2)


def lifts(found):
    return [limit_of(row, "lift toward +z")[0] for row in continuation_summary(found)["rows"]]


def test_critical_lift_grows_as_the_magnet_is_raised_millimetre_for_millimetre(raised):
    """Pull and weight balance at one gap, wherever the magnet is: physics is the same everywhere.
    Halving ends at 0.1 mm on either mesh, and extrapolation carries that on by up to two."""
    assert np.diff(lifts(raised)) == pytest.approx([10.0, 10.0], abs=0.3)
    assert [row.fate for row in raised.rows] == ["stays"] * 3


def test_processes_give_the_same_rows(raised):
    span = read_span("body.magnet.position.z=100..120 mm", "--against")
    again = continuation(Against(BALL, "ball.toml", span, 2, ("lift",), quick=True), workers=2)
    assert continuation_summary(again) == continuation_summary(raised)


def test_values_where_the_part_touches_overlaps_or_snaps_are_rows_that_say_so():
    """At 35 mm the pole is at the ball's top, at 20 mm inside it; at 45 mm it is 10 mm away."""
    found = along("20..45 mm", 5)
    assert [row.fate for row in found.rows[:1] + found.rows[3:4] + found.rows[-1:]] == [
        "none",
        "touches",
        "snaps",
    ]
    assert "overlap" in found.rows[0].problem


def test_csv_has_a_line_a_value_and_way(raised):
    rows = list(csv.reader(io.StringIO(continuation_csv(continuation_summary(raised)))))
    assert rows[0] == ["body.magnet.position.z [mm]", "fate", "way", "limit", "error", "unit"]
    assert [float(r[3]) * 1e3 for r in rows[1:]] == pytest.approx(lifts(raised))
    assert continuation_table(continuation_summary(raised)) is not None


def test_a_key_that_is_not_there_is_refused_by_name():
    span = read_span("body.magnet.hue=1..2 mm", "--against")
    with pytest.raises(InputError, match="hue"):
        continuation(Against(BALL, "ball.toml", span, 2, ("lift",)))
