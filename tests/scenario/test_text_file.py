"""Texts are read within bounds: whatever is given ends in one line, soon."""

import os

import pytest

from snapsim.errors import InputError
from snapsim.scenario.changes import read_change
from snapsim.scenario.text_file import DEEPEST, read_text, read_toml, toml_document


def test_a_device_without_an_end_is_refused():
    with pytest.raises(InputError, match=r"larger than 32 MiB; a scene is TOML"):
        read_text("/dev/zero")


def test_a_name_with_a_nul_is_no_file():
    with pytest.raises(InputError, match=r"a\\0b: is no file's name"):
        read_text("a\0b")


def test_a_byte_order_mark_is_no_part_of_the_text(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbftitle = 'x'")
    assert read_toml(os.fspath(path)) == {"title": "x"}


@pytest.mark.parametrize("opened", ["[", "{a="])
def test_tables_are_no_deeper_than_any_here(opened):
    closed = {"[": "]", "{a=": "}"}[opened]

    def nested(n):
        return f"x = {opened * n}{'1' if opened != '[' else ''}{closed * n}"

    assert toml_document(nested(DEEPEST - 1), "f")
    for n in (DEEPEST + 1, 400, 100_000):
        with pytest.raises(InputError, match="f: has tables within tables more than 32 deep"):
            toml_document(nested(n), "f")


def test_integers_are_those_of_the_standard():
    # TOML v1.0.0, "Integer": 64-bit signed integers, -2^63 to 2^63 - 1
    assert toml_document(f"a = {2**63 - 1}", "f") == {"a": 2**63 - 1}
    with pytest.raises(InputError, match=r"f: a.b\[2\]: is an integer of more than 64 bits"):
        toml_document(f"a = {{b = [0, {2**63}]}}", "f")
    with pytest.raises(InputError, match="f: has an integer of more than 64 bits"):
        toml_document(f"a = {'9' * 5000}", "f")


def test_a_change_is_read_within_the_same_bounds():
    with pytest.raises(InputError, match="scene: --set title: has an integer"):
        read_change(f"title={'9' * 5000}", "scene")
    assert read_change("body.a.shape.size=10 mm", "scene") == ("body.a.shape.size", "10 mm")
