"""A name means one thing; a call reads without counting places."""

import importlib.util
from pathlib import Path

import pytest

SPEC = importlib.util.spec_from_file_location("house", Path(__file__).with_name("house.py"))
house = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(house)

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def source():
    return house.Source(ROOT)


def test_no_two_types_share_a_name(source):
    assert house.names_twice(source) == {}


def test_no_function_takes_more_than_eight_by_place(source):
    """Kernels aside: compiled code takes arrays and numbers, and a record of them costs seconds of
    compilation for each of its kinds; no caller but another kernel or the one that wraps it."""
    many = house.many_positional(source)
    assert [f"{path} {node.name}" for path, node, _ in many if not house.is_kernel(node)] == []


def test_no_modules_import_each_other(source):
    assert house.import_circles(source) == []


@pytest.mark.parametrize(
    ("one", "other", "circles"),
    [
        ("import snapsim.module_1", "from snapsim.module_0 import f", 1),
        ("from snapsim import module_1", "def f():\n    from snapsim.module_0 import g", 1),
        ("import snapsim.module_1", "if TYPE_CHECKING:\n    import snapsim.module_0", 0),
        ("import snapsim.module_1", "import numpy", 0),
    ],
)
def test_a_circle_is_seen(tmp_path, one, other, circles):
    assert len(house.import_circles(_package(tmp_path, one, other))) == circles


@pytest.mark.parametrize(
    ("first", "second", "shared"),
    [
        ("class Job: ...", "class Job: ...", {"Job"}),
        ("class Job: ...", "Job = int", {"Job"}),
        ("Six = tuple[int]", "Six = tuple[float]", {"Six"}),
        ("Six = tuple[int]", "Six = tuple[int]", set()),
        ("Item = TypeVar('Item')", "class Item: ...", set()),
        ("class Job: ...", "from one import Job", set()),
    ],
)
def test_a_shared_name_is_seen(tmp_path, first, second, shared):
    assert set(house.names_twice(_package(tmp_path, first, second))) == shared


@pytest.mark.parametrize(
    ("parameters", "seen"),
    [
        ("a, b, c, d, e, f, g, h", 0),
        ("a, b, c, d, e, f, g, h, i", 1),
        ("a, b, c, d, /, e, f, g, h, i", 1),
        ("self, a, b, c, d, e, f, g, h", 0),
        ("a, b, c, d, e, f, g, h, *, i, j", 0),
    ],
)
def test_many_places_are_seen(tmp_path, parameters, seen):
    source = _package(tmp_path, f"def f({parameters}): ...", "")
    assert len(house.many_positional(source)) == seen


def _package(folder, *texts):
    (folder / "snapsim").mkdir()
    for k, text in enumerate(texts):
        (folder / "snapsim" / f"module_{k}.py").write_text(text)
    return house.Source(folder)
