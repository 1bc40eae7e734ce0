"""`snapsim match`: synthetic footage made, laid over the motion, and what is refused."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

GIVEN = ("--fps", "240", "--scale", "10 px/mm", "--origin", "300, 500 px")
BALL = ("--point", "ball: 0, 0, 0 mm")


@pytest.fixture
def tracks(snap, falling):
    result = snap("match", falling, "t.csv", *GIVEN, *BALL, "--make-track", "--json")
    assert result.status == 0, result.err
    assert result.json["frames"] == 25
    return "t.csv"


def noise_in(file):
    """The robust deviation of a track's third differences, by its definition (Huber 1981)."""
    rows = [line.split(",")[1:] for line in Path(file).read_text().splitlines()[2:]]
    third = np.diff(np.array(rows, dtype=float), 3, axis=0)
    return np.median(np.abs(third)) / stats.norm.ppf(0.75) / np.sqrt(20)


def test_footage_made_from_a_scene_agrees_with_it(snap, falling, tracks, tmp_path):
    result = snap("match", falling, tracks, *GIVEN, *BALL, "-o", "out", "--json")
    assert result.status == 0, result.err
    found = result.json
    assert found["agreement"] == "within the noise"
    assert found["noise"]["standard_deviation"] == pytest.approx(noise_in(tracks), rel=1e-12)
    # 1 px was put in, and 50 numbers have it: their root mean square scatters by 10 %
    assert found["tracks"]["point 1"]["rms"] == pytest.approx(1, abs=0.25)
    assert found["first_blow_s"] == pytest.approx(0.0639, abs=1e-4)  # sqrt(2 x 20 mm / g)
    kept = json.loads((tmp_path / "out" / "match.json").read_text())
    assert (kept["schema"], kept["version"]) == ("snapsim match", 1)
    assert kept["track_as_read"] == (tmp_path / tracks).read_text()
    assert len((tmp_path / "out" / "residuals.csv").read_text().splitlines()) == 26
    for name in ("overlay.png", "residuals.png"):
        assert (tmp_path / "out" / name).stat().st_size > 10_000
    other = snap("match", falling, tracks, *GIVEN, *BALL, "--set", "contact.restitution=0.2")
    assert "not what was filmed" in " ".join(other.out.split())


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--point", "bal: 0, 0, 0 mm"), '"bal" is no body'),
        (("--scale", "10"), "is no scale"),
        (("--set", 'run.duration="50 ms"'), "tracks go on until 0.1 s after release"),
        (("--released", "3 s"), "before the release"),
    ],
)
def test_bad_input_is_refused_in_one_line(snap, falling, tracks, more, said):
    result = snap("match", falling, tracks, *GIVEN, *BALL, *more)
    assert result.status == 2
    assert said in result.err
    assert result.err.count("\n") == 1


def test_an_empty_file_and_one_that_is_not_there_are_refused(snap, falling, tmp_path):
    (tmp_path / "empty.csv").write_text("")
    assert "empty.csv: is empty" in snap("match", falling, "empty.csv", *GIVEN, *BALL).err
    assert "cannot be read" in snap("match", falling, "none.csv", *GIVEN, *BALL).err


def test_a_fit_gives_back_the_restitution_and_leaves_a_scene_and_a_study(
    snap, falling, tracks, tmp_path
):
    noted = (tmp_path / falling).read_text().replace('"20 mm" }', '"20 mm" } # as bought, 12 May')
    (tmp_path / falling).write_text(noted)
    asked = ("--fit", "contact.restitution=0.1..0.9", "-o", "out", "--json")
    wrong = ("--set", "contact.restitution=0.2")
    result = snap("match", falling, tracks, *GIVEN, *BALL, *asked, *wrong)
    assert result.status == 0, result.err
    found = result.json
    assert found["agreement"] == "within the noise"
    value = found["fit"]["values"]["contact.restitution"]
    assert value["low"] < 0.5 < value["high"]
    assert value["high"] - value["low"] < 0.05
    assert "spread" not in str(found["fit"]["warnings"])
    scene = tomllib.loads((tmp_path / "out" / "fitted.toml").read_text())
    assert scene["contact"]["restitution"] == value["value"]
    text = (tmp_path / "out" / "fitted.toml").read_text()
    assert "\nrestitution = " in text
    assert "# as bought, 12 May\n" in text  # what the author wrote beside it stays
    swept = snap("sweep", "out/fitted.study.toml", "-o", "swept", "--samples", "2", "--json")
    assert swept.status == 0, swept.err
    assert swept.json["statuses"] == {"done": 8}


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("contact.restitution", "KEY=FROM..TO"),
        ("contact.restitutio=0.1..0.9", "restitutio"),
        ("body.ball.density=1..2", "density"),
        ("contact.restitution=0.9..0.1", "lowest first"),
    ],
)
def test_a_fit_that_cannot_be_is_refused_in_one_line(snap, falling, tracks, asked, said):
    result = snap("match", falling, tracks, *GIVEN, *BALL, "--fit", asked)
    assert result.status == 2
    assert said in result.err
    assert result.err.count("\n") == 1
