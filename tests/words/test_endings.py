"""Why a run ended and why a joint parted: facts in the motion, words of each, in one place."""

import pytest

from snapsim.mechanics.ending import OUTCOMES, Ending, EndReason, Parting, ended
from snapsim.words import endings
from snapsim.words.endings import ending_words, parting_words


@pytest.mark.parametrize("reason", sorted(set(EndReason) - {EndReason.UNTOLD}))
def test_every_reason_has_an_outcome_and_words_of_its_own(reason):
    found = ended(reason, 7)
    assert found.outcome == OUTCOMES[reason]
    others = [ending_words(ended(r, 7)) for r in OUTCOMES if r != reason]
    assert ending_words(found) not in others


def test_every_way_of_parting_has_words_of_its_own():
    said = {parting_words(why) for why in Parting}
    assert len(said) == len(Parting)
    assert parting_words(None) == ""


def test_a_reason_without_words_or_outcome_is_noticed():
    assert set(endings._REASONS) == set(EndReason)
    assert set(OUTCOMES) == set(EndReason) - {EndReason.UNTOLD}
    assert set(endings._PARTINGS) == set(Parting)


def test_figures_stand_in_the_words():
    assert "(0.5 s)" in ending_words(ended(EndReason.TIME_UP, 0.5))
    assert "7.25 m from" in ending_words(ended(EndReason.LEFT_SCENE, 7.25))
    assert "of 200000 steps" in ending_words(ended(EndReason.STEP_LIMIT, 200000))


def test_what_an_older_file_said_stands_as_it_is():
    assert ending_words(Ending("stopped", EndReason.UNTOLD, told="as it was")) == "as it was"
    assert parting_words(Parting.UNTOLD, "it tore") == "it tore"
