"""The hash of a kernel: another one for every change that can change a number, else the same."""

import importlib.util
import sys

import numpy as np
import pytest
from numba import typeof

from snapsim.numerics.kernel_content import UnknownContent, content_hash

SOURCE = '''
"""A module with kernels."""
from typing import NamedTuple
import numpy as np
from snapsim.numerics.compilation import bare, compiled, part_of_caller, summing

SCALE = 2.0
TABLE = np.array([1.0, 2.0])

class Place(NamedTuple):
    x: float
    y: float

@part_of_caller
def inner(x):
    """Described."""
    return x * SCALE

@summing
def middle(x):
    return inner(x) + TABLE[1]

@compiled
def outer(x):
    total = 0.0
    for k in (1.0, 2.0):  # a comment
        total += middle(k * x)
    return total

@compiled
def placed(place):
    return place.x - 2.0 * place.y

@compiled
def other(x):
    return 3.0 * x
'''


@pytest.fixture
def hashes(tmp_path):
    """Content hashes of the kernels of a source text, of all arguments of one kind."""
    number = iter(range(1000))

    def of(source):
        path = tmp_path / f"{next(number)}" / "kernels_of_a_test.py"
        path.parent.mkdir()
        path.write_text(source)
        spec = importlib.util.spec_from_file_location("kernels_of_a_test", path)
        module = importlib.util.module_from_spec(spec)
        sys.modules["kernels_of_a_test"] = module
        spec.loader.exec_module(module)
        place = typeof(module.Place(1.0, 2.0))
        kinds = dict.fromkeys(("inner", "middle", "outer", "other"), typeof(1.0)) | {
            "placed": place
        }
        return {name: content_hash(getattr(module, name), (kind,)) for name, kind in kinds.items()}

    yield of
    sys.modules.pop("kernels_of_a_test", None)


CHANGES = {
    "a callee's callee": ("return x * SCALE", "return x / SCALE", "inner middle outer"),
    "a constant in the code": ("TABLE[1]", "TABLE[0]", "middle outer"),
    "a number at the top": ("SCALE = 2.0", "SCALE = 2.5", "inner middle outer"),
    "an array at the top": ("[1.0, 2.0]", "[1.0, 2.1]", "middle outer"),
    "the kind of a number": ("SCALE = 2.0", "SCALE = 2", "inner middle outer"),
    "a loop's values": ("(1.0, 2.0):", "(2.0, 1.0):", "outer"),
    "how sums are taken": ("@summing", "@compiled", "middle outer"),
    "what is written out": ("@part_of_caller", "@bare", "inner middle outer"),
    "the order of fields": ("x: float\n    y: float", "y: float\n    x: float", "placed"),
    "which kernel is called": ("+= middle(", "+= other(", "outer"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_is_a_change_of_every_kernel_above_it_and_of_no_other(hashes, change):
    old, new, whose = CHANGES[change]
    assert old in SOURCE
    before, after = hashes(SOURCE), hashes(SOURCE.replace(old, new, 1))
    assert {name for name in before if before[name] != after[name]} == set(whose.split())


def test_words_and_places_are_no_change(hashes):
    """Comments, docstrings, lines and the folder; the second text lies in another one."""
    moved = SOURCE.replace("# a comment", "# another").replace("Described", "Explained")
    assert hashes(SOURCE) == hashes("# a new line\n\n" + moved)


def test_argument_types_are_part_of_it():
    from snapsim.numerics.rotation_kernels import matrices

    one, two = typeof(np.zeros((3, 4))), typeof(np.zeros((3, 4), dtype=np.float32))
    turned = typeof(np.zeros((4, 3)).T)
    assert len({content_hash(matrices, (kind,)) for kind in (one, two, turned)}) == 3


def test_what_cannot_be_told_is_refused(hashes):
    """An object of a class of our own: nothing says that its content stays."""
    with pytest.raises(UnknownContent):
        hashes(SOURCE.replace("SCALE = 2.0", "SCALE = object()"))
