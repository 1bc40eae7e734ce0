"""What `snapsim new` writes: the scene as it is, and each block that is shown commented out."""

import re

import pytest

from snapsim.scenario.joint import JOINT_TABLES
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.shapes import SHAPE_TABLES
from snapsim.scenario.starter import STARTER, starter
from snapsim.simulation.overlap import refuse_overlaps

BLOCKS = dict(re.findall(r"^# -- ([^\n]+)\n((?:# ?[^\n]*\n)+)", STARTER, re.MULTILINE))


def freed(block):
    """A block with the marks taken off, as its reader would."""
    return re.sub(r"^# ?", "", block, flags=re.MULTILINE)


@pytest.mark.parametrize("name", BLOCKS)
def test_each_block_works_by_itself(name):
    use = ['body.disc.material="test iron"'] if "[[material]]" in BLOCKS[name] else []
    system = scene_from_text(f"{STARTER}\n{freed(BLOCKS[name])}", "starter.toml", use)
    refuse_overlaps(system)
    plain = scene_from_text(STARTER, "starter.toml")
    more = (len(system.bodies), len(system.joints), len(system.hands), system.resolved)
    assert more != (len(plain.bodies), len(plain.joints), len(plain.hands), plain.resolved)


def test_all_but_the_joints_work_together():
    rest = "".join(freed(b) for b in BLOCKS.values() if "[[joint]]" not in b)
    refuse_overlaps(scene_from_text(f"{STARTER}\n{rest}", "starter.toml"))


def test_every_kind_is_shown():
    shown = set(re.findall(r'kind = "(\w+)"', STARTER))
    named = set(re.findall(r"^#   (\w+) ", STARTER, re.MULTILINE))
    assert set(JOINT_TABLES) <= shown
    assert set(SHAPE_TABLES) <= shown | named
    assert "[[hand]]" in STARTER


def test_the_short_one_is_the_same_scene():
    text = starter("mine.toml", short=True)
    assert scene_from_text(text, "a") == scene_from_text(starter("mine.toml"), "b")
    assert len(text.splitlines()) < 45
    assert "#" not in text.split("\n", 1)[1]
