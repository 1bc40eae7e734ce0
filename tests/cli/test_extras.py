"""What an extra brings may be missing: then one line says what to install, and the rest works."""

import sys
import tomllib
from pathlib import Path

import pytest

import snapsim
from snapsim.cli.entry import run
from snapsim.errors import MissingExtra
from snapsim.extras import EXTRAS

SCENE = "scenarios/gear-blank.toml"
KEPT = "tests/references/kept/0.1.0/run.h5"
PROJECT = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRA = PROJECT["optional-dependencies"]


def bare(requirement):
    return requirement.partition(">")[0]


@pytest.mark.parametrize("extra", EXTRAS)
def test_the_table_of_extras_is_what_the_package_declares(extra):
    declared = {bare(r) for r in EXTRA[extra]}
    if "snapsim[clip]" in declared:
        declared |= {bare(r) for r in EXTRA["clip"]}
    assert set(EXTRAS[extra].values()) <= declared


def test_all_brings_every_extra():
    assert EXTRA["all"] == [f"snapsim[{','.join(EXTRAS)}]"]


@pytest.fixture
def lean(monkeypatch):
    """An installation of the core alone."""
    for libraries in EXTRAS.values():
        for library in libraries:
            loaded = [m for m in sys.modules if m == library or m.startswith(library + ".")]
            for name in (library, *loaded):
                monkeypatch.setitem(sys.modules, name, None)


@pytest.mark.parametrize(
    ("arguments", "package", "extra"),
    [
        (["clip", KEPT, "-o", "a.mp4"], "pyvista", "clip"),
        (["clip", KEPT, "--still", "end", "-o", "a.png"], "pyvista", "clip"),
        (["clip", "--story", SCENE, "-o", "a.mp4"], "pyvista", "clip"),
        (["page", SCENE], "pyvista", "page"),
        (["page", KEPT, "-o", "a.html"], "pyvista", "page"),
        (["export", KEPT, "-o", "a.glb"], "pyvista", "export"),
        (["export", SCENE, "-o", "a.usdc"], "pyvista", "export"),
        (["export", KEPT, "-o", "a.pvd"], "pyvista", "export"),
        (["export", KEPT, "-o", "a.parquet"], "pyarrow", "export"),
        (["rank", "nowhere", "-o", "a.parquet"], "pyarrow", "export"),
        (["match", SCENE, "a.csv", "--clip", "a.mp4"], "pyvista", "clip"),
    ],
)
def test_one_line_says_what_to_install(lean, tmp_path, capsys, arguments, package, extra):
    arguments = [str(tmp_path / a) if a.startswith("a.") else a for a in arguments]
    assert run(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    line = f'needs {package}, which is not installed: pip install "snapsim[{extra}]"\n'
    assert said.err.endswith(line)
    assert said.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_one_library_of_an_extra_may_be_missing(monkeypatch, tmp_path, capsys):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    assert run(["clip", KEPT, "-o", str(tmp_path / "a.mp4")]) == 2
    assert "needs imageio-ffmpeg, which" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("ask", "extra"),
    [
        (lambda r: r.to_dataframe(), "notebook"),
        (lambda r: r.to_xarray(), "notebook"),
        (snapsim.view, "notebook"),
        (lambda r: snapsim.export(r, "a.glb"), "export"),
        (lambda r: snapsim.render_clip(r, "a.mp4"), "clip"),
    ],
)
def test_python_users_get_an_error_of_their_own(lean, ask, extra):
    with pytest.raises(MissingExtra, match=rf"snapsim\[{extra}\]"):
        ask(snapsim.read_run(KEPT))


def test_the_core_computes_and_plots(lean, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(snapsim, "render", snapsim.render)  # put back with its module's record
    for name in [m for m in sys.modules if m.startswith(("snapsim.render", "snapsim.footage"))]:
        monkeypatch.delitem(sys.modules, name)  # else they would hold what is hidden
    for arguments in (
        ["check", SCENE],
        ["force", SCENE, "--along", "z", "--points", "3", "-o", str(tmp_path / "along.png")],
        ["plot", KEPT, "-o", str(tmp_path / "run.png")],
        ["export", KEPT, "-o", str(tmp_path / "run.csv")],
        ["export", SCENE, "--body", "blank", "-o", str(tmp_path / "blank.stl")],
    ):
        assert run(arguments) == 0, capsys.readouterr().err
