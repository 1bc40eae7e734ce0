"""What a command loads: nothing is timed, but what takes long to load is not loaded in vain."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

SCENES = Path(__file__).parents[2] / "scenarios"
SCENE = str(SCENES / "gear-blank.toml")
SLOW = ("numba", "scipy", "pint", "h5py", "matplotlib", "pyvista", "trame", "trimesh", "jinja2")
"""A quarter of a second and more, together over three. What is no TOML needs no models either."""

LOADED = """
import json, sys
from snapsim.cli.entry import run
status = run(sys.argv[2:])
found = [name for name in sys.argv[1].split() if name in sys.modules]
print(json.dumps([status, found]))
"""


def loaded(folder, *arguments):
    """Exit status and the slow ones among the modules that a command has loaded."""
    done = subprocess.run(
        [sys.executable, "-c", LOADED, " ".join(SLOW), *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout.splitlines()[-1])


@pytest.mark.parametrize(
    ("status", "arguments"),
    [
        (0, ["--help"]),
        (2, ["chek", SCENE]),
        (2, ["check", "missing.toml"]),
        (2, ["release", "missing.toml"]),
        (2, ["check", SCENE, "--set", "body.blank.fixd=true"]),
        (2, ["check", SCENE, "--set", "body.blnk.fixed=true"]),
        (2, ["force", SCENE, "--body", "blnk"]),
        (0, ["check", "--schema"]),
        (0, ["materials"]),
        (0, ["new", "new.toml"]),
    ],
    ids=lambda x: " ".join(x).replace(SCENE, "FILE") if isinstance(x, list) else None,
)
def test_what_computes_nothing_loads_nothing_to_compute_with(tmp_path, status, arguments):
    assert loaded(tmp_path, *arguments) == [status, []]


@pytest.mark.parametrize("name", ["gear-blank", "nut-and-ring", "bar-on-a-hinge", "two-magnets"])
def test_a_scene_checked_once_is_checked_again_without_a_compiler(tmp_path, name):
    """Its stray field is kept, and planes between its bodies take no compiled code. Compounds,
    whose members must touch, and outlines, which SciPy fills with triangles, are no such scenes."""
    scene = str(SCENES / f"{name}.toml")
    assert loaded(tmp_path, "check", scene)[0] == 0
    assert loaded(tmp_path, "check", scene) == [0, []]


def test_a_hazard_table_loads_nothing_of_what_made_its_rows(tmp_path):
    """SciPy's distributions serve the table; no compiler, hence no kernel, does."""
    assert loaded(tmp_path, "rank", "nowhere") == [2, ["scipy"]]
