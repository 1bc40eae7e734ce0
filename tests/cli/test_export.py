"""`snapsim export` on the command line; what the files hold is looked at in tests/exchange."""

import pytest

import snapsim


@pytest.fixture
def stored(falling, tmp_path):
    """A run file of a part that falls for a moment."""
    run = snapsim.release(snapsim.load_scene(falling, ['run.duration="5 ms"']))
    snapsim.write_run(run, tmp_path / "run.h5")
    return run


def test_it_says_what_it_wrote_and_replaces_nothing_unasked(snap, stored):
    assert snap("export", "run.h5", "-o", "run.glb").out.strip() == "wrote run.glb"
    again = snap("export", "run.h5", "-o", "run.glb")
    assert (again.status, again.err.count("\n")) == (2, 1)
    assert "--force" in again.err
    assert snap("export", "run.h5", "-o", "run.glb", "--force", "--json").json["file"] == "run.glb"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("-o", "run.obj"), ".csv, .parquet"),
        (("-o", "run.csv", "--rows", "blows"), "frames, impacts, loads"),
        (("-o", "run.csv", "--set", "a=1"), "--set"),
    ],
)
def test_what_it_cannot_do_is_one_line(snap, stored, arguments, says):
    shown = snap("export", "run.h5", *arguments)
    assert (shown.status, shown.err.count("\n")) == (2, 1)
    assert says in shown.err


def test_a_surface_asks_whose(snap, falling):
    shown = snap("export", falling, "-o", "part.stl")
    assert (shown.status, shown.err.count("\n")) == (2, 1)
    assert "--body" in shown.err
