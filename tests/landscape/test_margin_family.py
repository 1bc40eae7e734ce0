"""A share of `margin_family`: nothing snaps where the confirmed margin said that nothing does.

In case 2 a disc rights itself as it falls and snaps from below where a slow fall says that it may.
"""

import pytest
from margin_family import KINDS_OF_SCENE, releases, text_of

from snapsim.scenario.loading import scene_from_text


@pytest.mark.longer  # over a minute each; scene 2 by parts: tests/study/test_confirmed_margin.py
@pytest.mark.parametrize("seed", [2, 4, 9, 45, 47, 53, 58])
def test_no_release_snaps_where_the_margin_said_none_does(seed):
    tried = list(releases(seed))
    assert tried
    assert not [one for one in tried if one.false_safe]


@pytest.mark.parametrize("seed", [*range(len(KINDS_OF_SCENE)), 46, 47])
def test_every_kind_of_case_can_be_read(seed):
    text, kind = text_of(seed)
    assert kind == {46: "hinge", 47: "rail"}.get(seed) or kind == KINDS_OF_SCENE[seed]
    assert scene_from_text(text, "case.toml", ()).number("part") > 0
