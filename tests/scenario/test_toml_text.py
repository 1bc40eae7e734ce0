"""TOML that is written: reads back to the same data; an edited scene keeps its author's hand."""

import copy
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapsim.scenario import toml_text

SCENES = {p.name: p.read_text() for p in sorted(Path("scenarios").glob("*.toml"))}
KEYS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
PLAIN = st.one_of(
    st.booleans(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
)
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(KEYS, VALUES, max_size=4))
def test_any_document_reads_back_to_the_last_bit(document):
    assert tomllib.loads(toml_text.write(document)) == document
    assert tomllib.loads(toml_text.listed(document)) == document


@given(VALUES)
def test_any_value_stands_on_one_line(value):
    text = toml_text.inline(value)
    assert "\n" not in text
    assert tomllib.loads(f"value = {text}")["value"] == value


def comments(text):
    return [line[line.index("# ") :] for line in text.splitlines() if "# " in line]


@given(st.sampled_from(sorted(SCENES)), st.data())
def test_an_edited_scene_holds_the_edit_and_every_comment(name, data):
    source = SCENES[name]
    document = tomllib.loads(source)
    for _ in range(data.draw(st.integers(1, 4))):
        edit(document, data.draw)
    text = toml_text.rewritten(source, document)
    assert tomllib.loads(text) == document
    assert comments(text) == comments(source)


def edit(document, draw):
    """Change, add or take away something, as a fit or a change of keys would."""
    tables = [document]
    for value in document.values():
        tables += value if isinstance(value, list) else [value] if isinstance(value, dict) else []
    table = draw(st.sampled_from([t for t in tables if isinstance(t, dict)]))
    plain = [k for k, v in table.items() if not isinstance(v, (dict, list))]
    what = draw(st.sampled_from(["change", "add", "table", "entry"]))
    if what == "change" and plain:
        table[draw(st.sampled_from(plain))] = draw(PLAIN)
    elif what == "add":
        table["new key"] = draw(VALUES)
    elif what == "table":
        table["new table"] = {"a": draw(PLAIN), "b": {"c": draw(PLAIN)}}
    elif "body" in document:
        document["body"].append({"name": draw(KEYS), "shape": {"kind": "box"}})


def test_lines_that_did_not_change_are_the_authors_to_the_last_character():
    source = SCENES["gear-blank.toml"]
    document = tomllib.loads(source)
    document["body"][1]["material"] = "test iron"
    document["material"] = [{"name": "test iron", "density": "7200 kg/m^3"}]
    document["run"]["detail"] = "fine"
    old, new = source.splitlines(), toml_text.rewritten(source, document).splitlines()
    assert [line for line in old if line not in new] == [
        line for line in old if line.startswith(("material = ", "detail = ")) and line not in new
    ]
    assert len(new) - len(old) <= 5  # the material's three lines, one empty above, one of detail


def test_a_new_key_stands_above_the_comment_of_what_follows():
    source = '[[body]]\nname = "a"\n\n# the second one\n[[body]]\nname = "b" # thin\n'
    document = copy.deepcopy(tomllib.loads(source))
    document["body"][0]["velocity"] = "1, 0, 0 m/s"
    expected = source.replace('"a"\n', '"a"\nvelocity = "1, 0, 0 m/s"\n')
    assert toml_text.rewritten(source, document) == expected


@pytest.mark.parametrize("name", ["a\nb = 1", "a\r", "a\x7f", "a\u2028b"])
def test_a_comment_cannot_be_ended_by_what_it_names(name):
    assert tomllib.loads(toml_text.comment(name)) == {}
    assert len(toml_text.comment(name).splitlines()) == 1


def test_entries_taken_out_leave_the_others_their_comments() -> None:
    source = """# kept
[[body]]
name = "a"   # first
x = 1
[[body]]
name = "b"
[[body]]
name = "c"   # third
"""
    document = tomllib.loads(source)
    document["body"] = [document["body"][0], document["body"][2] | {"x": 2}]
    text = toml_text.rewritten(source, document)
    assert tomllib.loads(text) == document
    assert text.startswith("# kept")
    assert "# first" in text
    assert "# third" in text
    assert '"b"' not in text
