"""The command line itself: help with examples, how much is said, `-`, completion, errors as JSON.

That every table fits every terminal is looked at wherever a test here prints one (`conftest`).
"""

import json
import os
import random
import shlex
import subprocess
import sys

import pytest
from jsonschema import Draft202012Validator
from rich.console import Group
from rich.table import Table

from snapsim.analysis.json_objects import VERSIONS
from snapsim.cli.entry import _commands, run
from snapsim.cli.usage import EXAMPLES
from snapsim.guide import output_schema

WIDTHS = (60, 80, 120)
COMMANDS = sorted(_commands().commands)
SCENE = "scenarios/gear-blank.toml"
KEPT = "tests/references/kept/0.1.0/run.h5"


@pytest.mark.parametrize("name", COMMANDS)
def test_help_ends_with_examples_that_the_command_takes(name, capsys):
    assert run([name, "--help"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for example in EXAMPLES[name]:
        assert example in said
        program, command, *arguments = shlex.split(example.partition(" > ")[0])
        assert (program, command) == ("snapsim", name)
        _commands().commands[name].make_context(name, arguments)


def test_no_command_is_without_quiet_and_verbose():
    for name in COMMANDS:
        options = {o for p in _commands().commands[name].params for o in p.opts}
        assert {"--quiet", "--verbose"} <= options, name


PRINTING = {
    "check": ["check", SCENE],
    "materials": ["materials"],
    "material": ["materials", "grey cast iron"],
    "force": ["force", SCENE, "--set", "run.detail=draft"],
    "between": ["force", "scenarios/two-magnets.toml", "--no-accuracy"],
    "along": ["force", SCENE, "--along", "z", "--points", "3", "--between"],
    "plane": ["force", SCENE, "--plane", "xz", "--points", "2"],
    "examples": ["examples"],
}


@pytest.mark.parametrize("asked", PRINTING.values(), ids=PRINTING)
def test_tables_are_as_wide_as_the_terminal_and_no_number_is_cut(asked, capsys, monkeypatch):
    for width in WIDTHS:
        monkeypatch.setenv("COLUMNS", str(width))
        assert run(asked) == 0
        lines = capsys.readouterr().out.splitlines()
        assert max(len(line.rstrip()) for line in lines) <= width


@pytest.mark.parametrize("seed", range(40))
def test_drawn_tables_fit(seed, terminal):
    draw = random.Random(seed)
    columns = draw.randint(1, 9)
    table = Table(*(" ".join(["heading"] * draw.randint(1, 3)) for _ in range(columns)), title="t")
    for _ in range(draw.randint(1, 4)):
        cells = (
            draw.choice(
                [
                    f"{draw.uniform(-1e4, 1e4):.4g}",
                    "  ".join(f"{draw.gauss(0, 1):.3g}" for _ in range(3)),
                    f"{draw.random():.3g} to {draw.random():.3g} after {draw.randint(1, 99)} tries",
                    "",
                ]
            )
            for _ in range(columns)
        )
        table.add_row(*cells)
    terminal.assert_fits(Group("said before", table))


def test_a_number_that_would_be_cut_is_noticed(terminal):
    table = Table("a", "b", title="t")
    table.add_row("1.23456", "  ".join(["2.34567"] * 8))
    for column in table.columns:
        column.width = 4  # as the library itself narrows them
    with pytest.raises(AssertionError):
        terminal.assert_fits(_AsItIs(table))


class _AsItIs:
    """A table that the layout does not know as one."""

    def __init__(self, table):
        self.table = table

    def __rich_console__(self, console, options):
        yield self.table


def test_narrow_tables_are_told_by_row(terminal):
    table = Table("body", "force x y z\nN")
    table.add_row("blank", "-2.269  1.234  -6.193  7.777  8.888  9.999")
    assert "blank" in terminal.rendered(table, 40)
    assert "force x y z N:" in terminal.rendered(table, 40)
    assert "\u2503" not in terminal.rendered(table, 40)


def test_quiet_says_nothing_but_does_all(snap, falling, tmp_path):
    done = snap("release", falling, "-o", "run.h5", "--quiet", "--twins", "0")
    assert (done.status, done.out, done.err) == (0, "", "")
    assert (tmp_path / "run.h5").exists()
    assert snap("check", falling, "-q", "--json").json["bodies"]
    assert snap("check", "missing.toml", "-q").err.count("\n") == 1
    assert snap("check", falling, "-q", "--verbose").status == 2


def test_verbose_tells_versions_stages_and_cost_on_standard_error(snap, falling):
    told = snap("release", falling, "--twins", "0", "--json", "--verbose")
    assert told.json["impacts"]
    assert told.err.startswith("snapsim 0.1.0\nPython ")
    assert "release: " in told.err
    assert "s of processor time" in told.err.splitlines()[-1]
    assert snap("check", falling).err == ""  # the next command is as it was


def test_the_version_says_what_matters(snap):
    said = snap("--version").out
    assert said.startswith("snapsim 0.1.0\nPython 3.")
    for name in ("numpy", "numba", "h5py", "[clip] pyvista", "[cluster] dask"):
        assert name in said


@pytest.mark.parametrize(
    ("arguments", "code", "key"),
    [
        (["check", "missing.toml"], "InputError", None),
        (["check", "falling.toml", "--set", "run.detail=fin"], "InputError", "run.detail"),
        (["check", "falling.toml", "--nonsense"], "UsageError", None),
        (["export", "falling.toml", "-o", "none/a.stl", "--body", "ball"], "OutputError", None),
    ],
)
def test_an_error_is_an_object_too(snap, falling, arguments, code, key):
    found = snap(*arguments, "--json")
    assert found.status == 2
    assert (found.json["error_code"], found.json["exit_status"]) == (code, 2)
    assert found.json["key"] == key or code == "UsageError"
    assert found.err == f"snapsim: {found.json['message']}\n"


@pytest.mark.parametrize("what", VERSIONS)
def test_every_object_has_a_published_schema_of_its_version(what, snap):
    """Objects themselves are validated wherever a test reads one (`conftest.Result.json`)."""
    found = json.loads(snap("guide", "--schema", what).out)
    Draft202012Validator.check_schema(found)
    assert found["properties"]["schema"] == {"const": f"snapsim {what}"}
    assert found["properties"]["version"] == {"const": VERSIONS[what]}
    assert not Draft202012Validator(found).is_valid({"schema": f"snapsim {what}", "version": 0})


def test_a_wrong_kind_of_value_is_noticed():
    validator = Draft202012Validator(output_schema("force"))
    body = {"mass_kg": 1.0, "force_N": [0.0, 0.0, 1.0]}
    sound = {"bodies": {"blank": body}}
    assert not [
        e
        for e in validator.iter_errors(sound)
        if list(e.path)[:1] == ["bodies"] and e.validator == "type"
    ]
    for wrong in ("heavy", [1.0]):
        broken = {"bodies": {"blank": body | {"mass_kg": wrong}}}
        assert [e for e in validator.iter_errors(broken) if e.validator == "type"]


def _snapsim(folder, *arguments, given=None, **environment):
    return subprocess.run(
        [sys.executable, "-m", "snapsim", *arguments],
        cwd=folder,
        input=given,
        capture_output=True,
        check=False,
        env={**os.environ, **environment},
    )


def test_a_dash_is_standard_input_and_output(falling, tmp_path):
    scene = (tmp_path / falling).read_bytes()
    run_file = _snapsim(tmp_path, "release", "-", "-o", "-", "--twins", "0", given=scene)
    assert run_file.returncode == 0
    assert b"struck" in run_file.stderr or b"Impacts" in run_file.stderr
    (tmp_path / "run.h5").write_bytes(run_file.stdout)
    table = _snapsim(tmp_path, "export", "run.h5", "--rows", "impacts", "-o", "-")
    assert table.stdout.startswith(b"body,against,time_s")
    both = _snapsim(tmp_path, "release", falling, "-o", "-", "--json")
    assert both.returncode == 2
    assert json.loads(both.stdout)["key"] == "-"
    assert not (tmp_path / "-").exists()


@pytest.mark.parametrize(
    ("words", "at", "completed"),
    [
        ("snapsim rel", 1, "release"),
        ("snapsim release --tw", 2, "--twins"),
        ("snapsim examples gear", 2, "gear-blank"),
        ("snapsim guide tut", 2, "tutorial"),
    ],
)
def test_a_shell_completes_commands_options_and_names(tmp_path, words, at, completed):
    done = _snapsim(
        tmp_path, _SNAPSIM_COMPLETE="complete_bash", COMP_WORDS=words, COMP_CWORD=str(at)
    )
    assert completed in done.stdout.decode().split()


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_completion_of_a_shell_can_be_shown(tmp_path, shell):
    done = _snapsim(tmp_path, "--show-completion", shell)
    assert b"_SNAPSIM_COMPLETE" in done.stdout
