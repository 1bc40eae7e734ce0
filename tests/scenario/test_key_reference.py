"""Every key of the files says what it is and what it takes, from the models that read them."""

import re

import pytest

from snapsim.footage.match_file import match_schema
from snapsim.scenario.key_reference import key_reference
from snapsim.scenario.schema import scene_schema
from snapsim.study.study_file import study_schema


@pytest.mark.parametrize("schema", [scene_schema, study_schema, match_schema])
def test_every_key_says_what_it_is_and_what_it_takes(schema):
    found = schema()
    tables = {"file": found, **found["$defs"]}
    keys = [(n, k, v) for n, t in tables.items() for k, v in t.get("properties", {}).items()]
    silent = [(n, k) for n, k, v in keys if k != "kind" and not v.get("description")]
    assert not silent
    bare = [k for n, k, v in keys if v.get("description", "").endswith("with its unit")]
    assert not bare
    text = key_reference(found, "Keys")
    assert all(f"| `{k}` |" in text for _, k, _ in keys if k != "kind")
    assert "a value" not in re.findall(r"^\| `[^`]+` \| ([^|]+) \|", text, re.MULTILINE)


def test_a_key_shows_its_unit_default_and_need():
    text = key_reference(scene_schema(), "Keys of a scene file")
    assert '| `duration` | like `"1.5 s"` | `"1 s"` | how long the motion is followed |' in text
    assert re.search(r'## ring: kind = "ring"\n\nA ring.*?\n\n\| key', text)
    assert re.search(r"\| `outer_diameter` \| [^|]+ \| required \|", text)
    assert "[[material]]" in text
