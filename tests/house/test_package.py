"""The wheel brings all of the package and the scenes, the sdist the tests as well."""

import re
import subprocess
from pathlib import Path

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).parents[2]
PASSING = {"__pycache__", "node_modules", ".hypothesis"}


def there(*folders):
    """Every file of a folder that is not made by running it, by its path from the root."""
    files = (f for folder in folders for f in (ROOT / folder).rglob("*") if f.is_file())
    names = {f.relative_to(ROOT).as_posix(): set(f.parts) for f in files}
    return {name for name, parts in names.items() if not parts & PASSING}


def packed(builder):
    return {f.relative_path for f in builder(str(ROOT)).recurse_included_files()}


def test_the_wheel_brings_the_package_whole():
    assert there("snapsim") <= packed(WheelBuilder)
    assert not {f for f in packed(WheelBuilder) if not f.startswith("snapsim/")}


def test_the_wheel_brings_the_scenes():
    config = WheelBuilder(str(ROOT)).config
    (target,) = config.shared_data.values()
    assert target == "share/snapsim/scenarios"  # where snapsim.scenario.examples looks for them
    assert {Path(source).name for source in config.shared_data} == {"scenarios"}


def test_the_sdist_brings_what_its_tests_read():
    brought = packed(SdistBuilder)
    assert there("snapsim", "scenarios", "tests") <= brought
    pictures = set(re.findall(r"\]\((renders/[^)]+)\)", (ROOT / "README.md").read_text()))
    assert pictures | {"DEVELOPERS.md"} <= brought  # the builder adds README and pyproject itself


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="only a checkout knows what is kept")
def test_the_sdist_brings_nothing_that_is_not_kept():
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split("\n")
    assert packed(SdistBuilder) - {"PKG-INFO"} <= set(listed)
