"""Whatever goes wrong: one line on standard error, the right exit status, nothing lost."""

import json
import os
import signal
import subprocess
import sys

import pytest


def command(*arguments, **options):
    """Run snapsim in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "snapsim", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=120,
        **options,
    )


def one_line(result):
    """The single line of complaint of a command that failed on bad input."""
    assert result.status == 2
    assert result.out == "" or result.json["message"] == result.err[len("snapsim: ") : -1]
    assert result.err.startswith("snapsim: ")
    assert result.err.count("\n") == 1
    return result.err


@pytest.mark.parametrize("name", ["check", "force", "release"])
def test_bad_input_names_file_and_key(name, snap, falling, tmp_path):
    text = (tmp_path / falling).read_text().replace('"20 mm"', "20")
    (tmp_path / "bad.toml").write_text(text)
    line = one_line(snap(name, "bad.toml", "--json"))
    assert line.startswith("snapsim: bad.toml: body.ball.shape.diameter: the number 20 has no unit")


@pytest.mark.parametrize("name", ["check", "force", "release"])
def test_overlap_at_the_start_names_both_bodies_and_the_depth(name, snap, falling):
    line = one_line(snap(name, falling, "--set", "body.ball.position=0, 0, 7 mm"))
    assert '"ball"' in line
    assert '"table"' in line
    assert "overlap by 3 mm" in line
    assert "falling.toml: body." in line


def test_closer_than_the_air_gap_is_said_so(snap, falling):
    inside = ["--set", "body.ball.position=0, 0, 10.1 mm", "--set", "contact.air_gap=0.3 mm"]
    line = one_line(snap("check", falling, *inside))
    assert '"ball" and "table" are 0.1 mm apart, less than their air_gap 0.3 mm' in line


def test_fixed_bodies_without_magnetisation_may_run_into_each_other_and_that_is_said(snap, falling):
    built_in = ["--set", "body.ball.position=0, 0, 7 mm", "--set", "body.ball.fixed=true"]
    shown = snap("check", falling, *built_in)
    assert shown.status == 0
    assert '"ball" and "table" are both fixed and overlap by 3 mm' in shown.out
    assert "nothing overlaps" not in shown.out
    (pair,) = snap("check", falling, *built_in, "--json").json["overlaps"]
    assert pair == {"bodies": ["ball", "table"], "depth_m": pytest.approx(0.003, abs=1e-9)}


def test_fixed_magnets_in_one_place_are_refused(snap, falling):
    magnets = [
        *("--set", "body.ball.position=0, 0, 7 mm", "--set", "body.ball.fixed=true"),
        *("--set", "body.ball.material=NdFeB N42", "--set", "body.ball.magnetised=+z"),
        *("--set", "body.table.material=grey cast iron"),
    ]
    assert "both are magnetised" in one_line(snap("check", falling, *magnets))


def test_touching_is_no_overlap(snap, falling):
    assert snap("check", falling, "--set", "body.ball.position=0, 0, 10 mm").status == 0


def test_an_unknown_key_in_set_is_named(snap, falling):
    assert 'did you mean "ball"?' in one_line(
        snap("check", falling, "--set", "body.bal.fixed=true")
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ["chek"],
        ["check", "--nonsense"],
        ["release"],
        ["check"],
        ["clip", "run.h5"],
        ["clip", "run.h5", "-o", "a.mp4", "--fps", "many"],
    ],
)
def test_wrong_usage_is_one_line(arguments, snap):
    assert "snapsim" in one_line(snap(*arguments))


def test_what_a_file_says_commands_no_terminal(snap, falling, tmp_path):
    # control sequences of ECMA-48 begin with ESC; none may come from a scene's text
    text = (tmp_path / falling).read_text()
    (tmp_path / "esc.toml").write_text(f'"\\u001b[31mRED\\u0007" = 1\n{text}')
    line = one_line(snap("check", "esc.toml"))
    assert '"\\x1b[31mRED\\x07": is not a known key' in line
    named = snap("check", falling, "--set", 'title="\\u001b]0;mine\\u0007stage"')
    assert named.status == 0
    assert "\x1b" not in named.out
    assert named.out.startswith("\\x1b]0;mine")


def test_a_complaint_is_of_sensible_length(snap, falling):
    line = one_line(snap("check", falling, "--set", f"{'x' * 100_000}=1"))
    assert len(line) < 2100


def test_an_existing_run_is_refused_before_anything_is_computed(
    snap, falling, tmp_path, monkeypatch
):
    (tmp_path / "run.h5").write_text("precious")

    def never(*_):
        raise AssertionError("computed")

    monkeypatch.setattr("snapsim.release", never)
    assert "exists already" in one_line(snap("release", falling, "-o", "run.h5"))
    assert (tmp_path / "run.h5").read_text() == "precious"


def test_a_directory_that_is_not_there_is_refused_before_anything_is_computed(
    snap, falling, monkeypatch
):
    monkeypatch.setattr("snapsim.release", None)
    assert "does not exist" in one_line(snap("release", falling, "-o", "none/run.h5"))


def test_a_full_disk_costs_the_run_file_but_not_the_result(snap, falling, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    result = snap("release", falling, "-o", "run.h5", "--json")
    assert result.status == 3
    assert result.json["impacts"]
    assert "run.h5: cannot be written: No space left on device" in result.err


def test_a_stopped_run_is_written_and_leaves_with_status_3(snap, falling, tmp_path, monkeypatch):
    import dataclasses

    import snapsim
    from snapsim.mechanics.ending import EndReason, ended

    whole = snapsim.release

    def stopped(*arguments):
        return dataclasses.replace(whole(*arguments), ending=ended(EndReason.STEP_LIMIT, 9))

    monkeypatch.setattr("snapsim.release", stopped)
    result = snap("release", falling, "-o", "run.h5", "--json")
    assert result.status == 3
    assert "stopped at 0.1 s: the limit of 9 steps was reached" in result.err
    assert (result.json["outcome"], result.json["reason_code"]) == ("stopped", "step_limit")
    assert snapsim.read_run(tmp_path / "run.h5").outcome == "stopped"


def test_a_clip_of_what_is_no_run_is_one_line(snap, tmp_path):
    (tmp_path / "run.h5").write_text("no run")
    assert "run.h5: is no HDF5 file" in one_line(snap("clip", "run.h5", "-o", "a.mp4"))


def test_a_clip_of_a_run_cut_short_is_one_line(snap, falling, tmp_path):
    snap("release", falling, "-o", "run.h5")
    data = (tmp_path / "run.h5").read_bytes()
    (tmp_path / "run.h5").write_bytes(data[: len(data) // 2])
    assert "run.h5: is cut short" in one_line(snap("clip", "run.h5", "-o", "a.mp4"))


def test_a_clip_size_that_is_none_is_one_line(snap):
    assert "1280x720" in one_line(snap("clip", "run.h5", "-o", "a.mp4", "--size", "big"))


def test_an_unexpected_fault_is_one_line_with_a_hint(snap, falling, monkeypatch):
    def fault(*_):
        raise ZeroDivisionError("first line\nsecond line")

    monkeypatch.setattr("snapsim.load_scene", fault)
    monkeypatch.delenv("SNAPSIM_DEBUG", raising=False)
    result = snap("force", falling)
    assert result.status == 3
    assert result.err.count("\n") == 1
    assert "ZeroDivisionError: first line" in result.err
    assert "SNAPSIM_DEBUG=1" in result.err
    monkeypatch.setenv("SNAPSIM_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        snap("force", falling)


def test_a_developer_gets_the_traceback(tmp_path):
    # a library that breaks on import is a fault nobody planned for
    (tmp_path / "tomllib.py").write_text("raise RuntimeError('broken')")
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    (tmp_path / "a.toml").write_text("")
    quiet = command("check", tmp_path / "a.toml", env={**environment, "SNAPSIM_DEBUG": ""})
    assert quiet.returncode == 3
    assert quiet.stderr.count("\n") == 1
    loud = command("check", tmp_path / "a.toml", env={**environment, "SNAPSIM_DEBUG": "1"})
    assert "Traceback" in loud.stderr


def test_a_reader_who_leaves_early_is_no_error():
    process = subprocess.Popen(
        [sys.executable, "-m", "snapsim", "materials", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait(timeout=60) == 0


def test_an_interrupt_leaves_with_status_130_and_no_traceback(tmp_path):
    os.mkfifo(tmp_path / "scene.toml")
    process = subprocess.Popen(
        [sys.executable, "-m", "snapsim", "check", tmp_path / "scene.toml"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with open(tmp_path / "scene.toml", "w"):  # opens when the command begins to read
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out, err) == (130, "", "")


BROKEN_OFF = """
import os, signal
try:
    os.kill(os.getpid(), signal.{number})
except BaseException:
    pass
raise ImportError("initialization failed")
"""


@pytest.mark.parametrize("number", ["SIGINT", "SIGTERM"])
def test_a_request_to_end_that_a_library_makes_another_fault_of_is_an_interrupt(tmp_path, number):
    # compiled modules that an interrupt reaches while they begin say that they are broken
    text = BROKEN_OFF.format(number=number)
    (tmp_path / "tomllib.py").write_text(text)
    (tmp_path / "a.toml").write_text("")
    done = command("check", tmp_path / "a.toml", env={**os.environ, "PYTHONPATH": str(tmp_path)})
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


@pytest.mark.parametrize("arguments", [["--help"], ["new", "a.toml"], ["materials"]])
def test_light_commands_load_nothing_heavy(arguments, tmp_path):
    # what makes a command slow to start is what it imports
    code = (
        "import sys, json; from snapsim.cli.entry import run; run(sys.argv[1:]);"
        "print(json.dumps(sorted(m for m in sys.modules if '.' not in m)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=True,
    )
    loaded = set(json.loads(done.stderr.splitlines()[-1]))
    assert not loaded & {"numba", "scipy", "magpylib", "pyvista", "vtk", "matplotlib", "h5py"}


def test_check_schema_starts_without_compiled_physics():
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from snapsim.cli.entry import run; run(['check', '--schema']);"
            "assert not {'numba', 'scipy', 'h5py', 'pyvista'} & set(sys.modules)",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--layer", "moon"], '"moon" is no layer; layers are stage,'),
        (["--without", "trial"], "did you mean trail?"),
        (
            ["--camera", "crane"],
            "cameras are near, fixed, orbit, follow, close-up, or a file of shots",
        ),
        (["--camera", "none.toml"], "none.toml: cannot be read"),
        (["--replay", "moon"], '--replay: "moon" is no camera'),
        (["--view", "3"], "azimuth and elevation in degrees, like -60,20"),
        (["--align", "never"], "must be release or impact"),
        (["--freeze", "0.1"], "must be 0 (none) or 0.5 to 60 seconds"),
        (["--fps", "0"], "write a whole number of 1 to 240, or one of 23.976, 29.97"),
        (["-o", "a.avi"], "must end in .mp4, .webm, .gif or .mov"),
        (["-o", "no/a.mp4"], "no/a.mp4: folder no does not exist"),
        (["--still", "end"], "a.mp4: the name must end in .png"),
    ],
)
def test_a_clip_that_cannot_be_drawn_is_one_line(snap, options, said):
    assert said in one_line(snap("clip", "run.h5", "-o", "a.mp4", *options))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[shot]]\ncamera = "orbit"\nturns = "3 deg"', "shot.1.turns: is unknown; allowed are"),
        ('[[shot]]\ncamera = "orbit"\nturn = 3', "shot.1.turn: the number 3 has no unit"),
        ('[[shot]]\ncamera = "crane"', 'shot 1.camera: "crane" is no camera'),
        ('[[shot]]\nview = ["1 deg", "2 deg"]', "shot.1.camera: is missing"),
        ("[[shot]", "is no valid TOML"),
    ],
)
def test_a_wrong_file_of_shots_is_one_line(snap, tmp_path, text, said):
    (tmp_path / "shots.toml").write_text(text)
    line = one_line(snap("clip", "run.h5", "-o", "a.mp4", "--camera", "shots.toml"))
    assert "shots.toml: " in line
    assert said in line


def test_a_scene_with_nothing_free_says_so(snap, falling):
    still = ["--set", "body.ball.fixed=true"]
    assert "every body is fixed: nothing will move" in snap("check", falling, *still).out
    run = snap("release", falling, *still, "--json")
    assert (run.json["outcome"], run.json["reason_code"]) == ("settled", "nothing_free")
    assert "every body is fixed: nothing could move" in snap("release", falling, *still).out


STUDY = 'scene = "falling.toml"\nsamples = 4\n[vary]\n"contact.friction" = {spread}\n'


@pytest.mark.parametrize(
    ("spread", "said"),
    [
        ("{ unifrom = [0.2, 0.4] }", 'did you mean "uniform"? allowed: uniform, normal,'),
        ("{ uniform = [0.2] }", "uniform[2]: is missing"),
        ("{ uniform = [[1], 2] }", '[1] is no number; write 0.3, or "5 mm"'),
        ("{ uniform = [true, false] }", 'true is no number; write 0.3, or "5 mm"'),
        ("{ uniform = [0.1, 0.2, 0.3] }", "uniform: has 3 entries; at most 2 allowed"),
        ('{ uniform = ["1e999 mm", "2 mm"] }', "is not finite"),
        ("{ uniform = 3 }", "uniform: 3: must be a list"),
        ("3", "is no table"),
    ],
)
def test_a_spread_that_is_none_says_what_is_due(spread, said, snap, falling, tmp_path):
    (tmp_path / "s.toml").write_text(STUDY.format(spread=spread))
    line = one_line(snap("sweep", "s.toml", "-o", "out"))
    assert 's.toml: vary."contact.friction"' in line
    assert said in line
    assert "valid integer" not in line
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a = " + b"[" * 5000 + b"]" * 5000, "more than 32 deep"),
        (b'standard = "caf\xe9"', "is no text file; limits are TOML in UTF-8"),
        (b"standard = 3", "standard: 3: must be text in quotes"),
    ],
)
def test_a_house_limit_is_read_within_the_same_bounds(content, said, snap, tmp_path):
    (tmp_path / "house.toml").write_bytes(content)
    assert said in one_line(snap("rank", "none", "--limits", "house.toml"))


@pytest.mark.parametrize(
    ("folder", "said"),
    [
        ("9" * 300, "is no folder's name: File name too long"),
        ("falling.toml/out", "is no folder's name: Not a directory"),
        ("falling.toml", "is no folder's name: Not a directory"),
    ],
)
@pytest.mark.parametrize(
    "command", [["examples", "gear-blank", ""], ["match", "none.h5", "none.csv", "-o", ""]]
)
def test_a_folder_that_cannot_be_is_refused_before_any_work(command, folder, said, snap, falling):
    line = one_line(snap(*command[:-1], folder))
    assert line.startswith(f"snapsim: {folder}: ")
    assert said in line
