"""Storyboards: shots joined to one film of a given length; a fault in the file is one line."""

import dataclasses
import itertools
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from snapsim.cli.clip import parse_size
from snapsim.cli.story import board_of, leaning_less, leaves_room, ready_board
from snapsim.cli.story_file import moment_of, read_story
from snapsim.errors import InputError
from snapsim.render import render_story, write_story_captions
from snapsim.render.board import SHORTEST, Part
from snapsim.render.board_show import BoardShow, board_cues, segments_of, standing
from snapsim.render.events import EventKind, main_blow
from snapsim.render.flashes import luminance
from snapsim.render.show import plan

SCENES = Path(__file__).parents[2] / "scenarios"
BOARD = """
size = "320x240"
rate = "{rate}"
{length}
[[shot]]
run = ["a.h5"]
part = "{part}"
events = ["approach", "impact"]

[[shot]]
title = "Why?"

[[shot]]
still = "a.h5"
at = "impact"
number = "1 T"
words = "upright"
seconds = "2 s"

[[shot]]
picture = "p.png"

[[shot]]
pause = "1 s"

[[shot]]
caution = true
"""


@pytest.fixture
def board(tmp_path, trajectory):
    Image.new("RGB", (40, 90), "#808080").save(tmp_path / "p.png")

    def made(part="all", rate="10", length=""):
        file = tmp_path / "story.toml"
        file.write_text(BOARD.format(part=part, rate=rate, length=length))
        return read_story(str(file), parse_size, lambda _: trajectory)

    return made


@pytest.mark.parametrize("part", Part)
def test_shots_follow_each_other_and_a_part_of_a_telling_is_that_part(board, trajectory, part):
    found = segments_of(board(part))
    for a, b in itertools.pairwise(found):
        assert b.start == pytest.approx(a.start + a.length)
    line, _ = plan((trajectory,), found[0].shot.options)
    cut = next(p.clip for p in line.pieces if p.shot == 1)
    rest = next(p.until for p in line.pieces if p.kind == "rest")
    lengths = {Part.ALL: rest, Part.REAL: cut, Part.SLOW: rest - cut}
    assert found[0].length == pytest.approx(lengths[part])


ALONE = """
size = "480x240"
[[shot]]
still = "a.h5"
at = "{at}"
layers = []
alone = []
"""


def test_beside_a_still_stands_the_same_without_its_free_parts(tmp_path, trajectory, drawing):
    def halves(at):
        file = tmp_path / "story.toml"
        file.write_text(ALONE.format(at=at))
        (shot,) = read_story(str(file), parse_size, lambda _: trajectory).shots
        whole = np.asarray(standing(shot).convert("L"), dtype=int)
        return whole[80:160, :230], whole[:, -230:]  # between heading and caution

    (early, bare), (late, then) = halves("10 ms"), halves("160 ms")
    assert np.abs(early - late).max() > 60
    assert np.array_equal(bare, then)  # neither the part, nor its shadow, nor what holds it
    assert np.abs(early - bare[80:160]).max() > 60


@pytest.mark.parametrize("length", [20.0, 40.0, 60.0])
def test_what_stands_is_made_to_fit_and_runs_are_not(board, length):
    free, found = segments_of(board()), segments_of(board(length=f'length = "{length} s"'))
    assert found[-1].start + found[-1].length == pytest.approx(length)
    assert found[0].length == pytest.approx(free[0].length)
    assert min(s.length for s in found) >= SHORTEST - 1e-9


def test_a_length_that_cannot_be_had_says_what_can(board):
    with pytest.raises(InputError, match=r"length: is 3 s; these shots take \d+\.\d s or more"):
        segments_of(board(length='length = "3 s"'))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ('run = ["a.h5"]\nstill = "a.h5"', "shot 1.run: is of 2 kinds (run, still); give just one"),
        ('words = "x"', "shot 1.run: is of 0 kinds (none); give just one of run, still, picture"),
        ('run = ["a.h5"]\nspeed = 3', "shot 1.speed: is unknown; allowed are run, still, picture"),
        ('run = ["a.h5"]\npart = "half"', 'shot 1.part: "half" is unknown; allowed: all, real'),
        ('run = ["a.h5"]\nevents = ["bang"]', 'shot 1.events: "bang" is unknown; allowed: release'),
        ('run = ["a.h5"]\nlayers = ["haze"]', 'shot 1.layers: "haze" is no layer'),
        ('run = ["a.h5"]\ncamera = "crane"', 'shot 1.camera: "crane" is no camera; allowed: '),
        ('still = "a.h5"\nat = "parting"', 'shot 1.at: "parting" does not happen in this run'),
        ('still = "a.h5"\nat = "soon"', "shot 1.at: "),
        ('picture = "q.png"', "q.png: does not exist"),
        ('pause = "4 kg"', "shot 1.pause: "),
        ("run = []", "shot 1.run: "),
    ],
)  # fmt: skip
def test_a_fault_is_one_line_with_file_key_value_and_what_is_allowed(
    tmp_path, trajectory, wrong, said
):
    file = tmp_path / "story.toml"
    file.write_text(f"[[shot]]\n{wrong}\n")
    with pytest.raises(InputError) as caught:
        read_story(str(file), parse_size, lambda _: trajectory)
    assert said in str(caught.value)
    assert str(tmp_path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("key", "value"), [("rate", "31.5"), ("size", "big"), ("colour", "red")])
def test_a_fault_above_the_shots_names_its_key(tmp_path, trajectory, key, value):
    file = tmp_path / "story.toml"
    file.write_text(f'{key} = "{value}"\n[[shot]]\ncaution = true\n')
    with pytest.raises(InputError, match=f"story.toml: {key}: "):
        read_story(str(file), parse_size, lambda _: trajectory)


def test_a_moment_is_named_by_its_event_or_a_time(trajectory):
    blow = main_blow(trajectory)
    assert moment_of("impact", trajectory) == blow.time
    assert moment_of("end", trajectory) == trajectory.time[-1]
    assert moment_of("20 ms", trajectory) == pytest.approx(0.02)
    assert moment_of("approach", trajectory) == pytest.approx(blow.time - 0.02)


def test_captions_of_a_board_are_its_films_at_their_times(board, trajectory, tmp_path):
    made = board("slow")
    first, found = segments_of(made)[0], board_cues(made)
    struck = next(s for s in first.line.lines if s.about == EventKind.IMPACT)
    cue = next(c for c in found if struck.text in c.text)
    assert cue.start == pytest.approx(struck.start - first.inner)
    assert [c.text for c in found if c.start >= first.length][:2] == ["Why?", "1 T: upright"]
    assert [p.suffix for p in write_story_captions(made, tmp_path / "f.mp4")] == [".srt", ".vtt"]


def test_a_ready_board_reads_back_and_leaves_room(tmp_path, trajectory):
    import tomli_w

    leaning = dataclasses.replace(trajectory.system, extra={"changes": "body.blank.angle=38 deg"})
    other = dataclasses.replace(trajectory, system=leaning)
    file = tmp_path / "story.toml"
    file.write_text(tomli_w.dumps(ready_board((trajectory, other))))
    made = read_story(str(file), parse_size, lambda n: other if "what-if" in n else trajectory)
    kinds = [shot.kind for shot in made.shots]
    assert kinds[:2] == ["run", "title"]
    assert kinds[-3:] == ["title", "run", "caution"]
    assert "38 deg" in made.shots[-3].words
    assert not leaves_room(made)  # by itself it is far from a minute
    stretched = [dataclasses.replace(s, seconds=8.0) if s.stands else s for s in made.shots]
    assert leaves_room(dataclasses.replace(made, shots=tuple(stretched)))


def test_a_what_if_leans_less():
    told = {"body": [{"name": "m", "fixed": True, "rotation": {"angle": "9 deg"}},
                     {"name": "a b", "rotation": {"angle": "50 deg"}}]}  # fmt: skip
    assert leaning_less(told) == ['body."a b".rotation.angle="38 deg"']
    assert leaning_less({"body": [{"name": "a"}]}) == []


def test_a_film_of_a_board_is_drawn_and_gets_dark_at_its_cuts(board, tmp_path, drawing):
    made = board("real")
    made = dataclasses.replace(
        made, options=dataclasses.replace(made.options, supersample=False, fps=5)
    )
    with BoardShow(made) as show:
        cut = show.segments[3].start
        light = [luminance(show.frame(t)).mean() for t in (cut - 1e-6, cut + 0.6)]
    assert light[0] < 0.4 * light[1]
    report = render_story(made, tmp_path / "film.mp4")
    assert report.frames == round(5 * show.duration)
    import av

    with av.open(str(tmp_path / "film.mp4")) as file:
        pictures = [f.to_ndarray(format="rgb24") for f in file.decode(video=0)]
    assert len(pictures) == report.frames
    assert np.std(pictures[-6]) > 5


def test_a_what_if_that_cannot_be_is_refused_before_anything_is_released(tmp_path, monkeypatch):
    monkeypatch.setattr("snapsim.release", lambda *_: pytest.fail("released"))
    scene = str(SCENES / "two-blanks-under-one-pole.toml")
    with pytest.raises(InputError, match=r"right string.*length"):
        board_of(
            scene,
            str(tmp_path / "f.mp4"),
            ['body."right blank".position.x="45 mm"'],
            False,
            parse_size,
        )
    assert not list(tmp_path.iterdir())
