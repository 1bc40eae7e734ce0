"""Which column is which, frames to seconds, and one line for each thing that is wrong."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.footage.building import unit_of, view_of
from snapsim.footage.fit.unknowns import unknowns_of
from snapsim.footage.match_file import load_match, match_from
from snapsim.footage.matching import read_footage
from snapsim.footage.reading import footage_from
from snapsim.footage.table import table_from
from snapsim.scenario import toml_text

BODIES = ("ball", "table")


def read(text, match):
    return footage_from(table_from(text, "tracks.csv"), match, BODIES)


def test_long_and_wide_tables_give_the_same_tracks(filmed):
    two = filmed(track=[{"point": "a", "body": "ball"}, {"point": "b", "body": "ball"}])
    wide = read("frame,a x,a y,b_x,b_y\n0,1,2,3,4\n1,5,,7,8\n3,9,10,,12\n", two)
    long = read("frame;point;x;y\n0;a;1;2\n0;b;3;4\n1;a;5;\n1;b;7;8\n3;a;9;10\n3;b;;12\n", two)
    for one, other in zip(wide.tracks, long.tracks, strict=True):
        assert one.point == other.point
        np.testing.assert_array_equal(one.time, other.time)
        np.testing.assert_array_equal(one.place, other.place)
    np.testing.assert_allclose(wide.tracks[0].time, [0, 0.01, 0.03])
    assert np.isnan(wide.tracks[0].place[1]).all()  # half a place is none
    assert [t.seen for t in wide.tracks] == [2, 2]
    assert wide.last == 0.03


def test_times_come_from_units_of_the_heading_before_the_frame_rate(filmed):
    found = read("t [ms],x,y\n0,1,2\n2.5,1,3\n", filmed())
    np.testing.assert_allclose(found.tracks[0].time, [0, 2.5e-3])


def test_lengths_in_the_headings_are_the_scale(filmed):
    table = table_from("t [s],x [mm],y [mm]\n0,1,2\n1,2,3\n", "tracks.csv")
    match = filmed(view={})
    assert unit_of(table) == "mm"
    view = view_of(match, "match.toml", "mm")
    np.testing.assert_allclose(view.project(np.array([0.5, 9.0, 0.25])), [500, 250])


@pytest.mark.parametrize(
    ("text", "tables", "said"),
    [
        ("frame,x,y\n0,1,2\n1,2,3\n", {"time": {}}, 'time.frame_rate: column "frame" counts'),
        ("t,x,y\n0,1,2\n1,2,3\n", {"time": {}}, 'time.unit: column "t" has no unit'),
        ("t [h],x,y\n0,1,2\n1,2,3\n", {}, '"h" is no unit of time'),
        ("u,x,y\n0,1,2\n1,2,3\n", {}, "no column of times or frames is known"),
        ("frame,x,y\n0,1,2\n2,1,2\n1,2,3\n", {}, 'line 4: times of "point" do not increase'),
        ("frame,x,y\n0,1,2\n0,2,3\n", {}, "do not increase"),
        ("frame,x,y\n0,1,2\n,2,3\n", {}, 'line 3, column "frame": is a gap'),
        ("frame,x,y\n0,,2\n1,2,\n", {}, "is lost in all frames; at least 2"),
        ("frame,x,y\n0,1,2\n1,,\n", {}, "is seen in one frame only; at least 2"),
        ("frame,x,y\n0,1,2\n", {}, "is seen in one frame only; at least 2"),
        ("frame,x,y\n0,1,2\n1,1,2\n", {"track": [{"body": "bal"}]}, '"bal" is no body'),
        (
            "frame,rim x,rim y\n0,1,2\n1,1,2\n",
            {"track": [{"point": "rom", "body": "ball"}]},
            'no point of tracks.csv; did you mean "rim"',
        ),
        ("frame,a x,a y,b x,b y\n0,1,2,3,4\n1,1,2,3,4\n", {}, "names no point"),
        ("frame,x,y\n0,1,2\n1,1,2\n", {"track": []}, "says of no point what it follows"),
    ],
)
def test_bad_tracks_are_refused_in_one_line(filmed, text, tables, said):
    with pytest.raises(InputError) as caught:
        read(text, filmed(**tables))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("view", "said"),
    [
        ({"origin": "0, 0 px"}, "view.scale: units are missing"),
        ({"scale": "2 px/mm"}, "view.origin: is missing"),
        ({"scale": "2 px/mm", "origin": "0, 0 px", "up": "x"}, "not square"),
        ({"kind": "pinhole", "position": "0, 0, 0 m", "focal_length": "900 px",
          "look_at": "0, 0, 1 m"}, "looks along its own up"),
    ],
)  # fmt: skip
def test_a_view_that_says_too_little_is_refused(filmed, view, said):
    with pytest.raises(InputError, match=said):
        view_of(filmed(view=view), "match.toml")


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({"view": {"scale": "4"}}, '"4" is no scale; write pixels per length'),
        ({"view": {"scale": "4 px/s"}}, "is not a unit of a length"),
        ({"view": {"colour": "red"}}, "view.colour: is not a known key"),
        ({"time": {"frame_rate": 240}}, "has no unit"),
        ({"view": {"kind": "fisheye"}}, "is not known"),
        ({"view": {"kind": "pinhole", "position": "0, 0, 0 m", "focal_length": "9 px"}},
         "needs look_at or direction"),
        ({"fit": {"contact.friction": {"between": ["1 mm", "2 px"]}}}, ""),
    ],
)  # fmt: skip
def test_what_a_match_file_may_not_say_is_refused_in_one_line(filmed, tables, said):
    if not said:
        filmed(**tables)  # units of what is fitted are checked against the scene
        return
    with pytest.raises(InputError, match=said) as caught:
        filmed(**tables)
    assert "\n" not in str(caught.value)


def test_the_demonstration_reads_as_its_match_file_says():
    scenes = Path(__file__).parents[2] / "scenarios"
    match = match_from(load_match(str(scenes / "gear-blank.match.toml")), "match.toml")
    track = str(scenes / "gear-blank.tracks.csv")
    filmed = read_footage(track, match, "match.toml", ["magnet", "blank", "table"])
    assert [len(t.time) for t in filmed.footage.tracks] == [73, 73]
    assert unknowns_of(match.fit, "match.toml")[0].unit == "T"
    again = match_from(tomllib.loads(toml_text.write(match.model_dump())), "again.toml")
    assert again.model_dump() == match.model_dump()
