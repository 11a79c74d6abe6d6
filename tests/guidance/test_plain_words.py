"""What a caregiver can be told is short and in plain words: the project's own bar, no published one."""

import re
import statistics

import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.safety.sentences import ASK_HURT, ASK_SLING, ask_signs

MEDIAN_WORDS, MOST_WORDS = 12, 18

TRADE_WORDS = ("actuator", "spreader", "in-line", "generation", "housing", "control unit", "board", "mains", "polarity")
"""Words that somebody without training need not know; each has a plain one."""


def told_to_caregivers(catalogue: Catalogue) -> list[str]:
    """Every text that a caregiver can be shown: cautions, signs, plans, ways down, steps and questions."""
    plans = (sentence for sign in catalogue.stop_signs for sentence in sign.occupied)
    by_hand = (step for mechanism in catalogue.mechanisms for step in mechanism.steps)
    advice = (*catalogue.sentences, *catalogue.cautions, *catalogue.stop_signs, *plans, *by_hand)
    steps = [row for row in (*catalogue.checks, *catalogue.repairs) if "caregiver" in row.minutes]
    asked = [row for row in (*catalogue.questions, *catalogue.views) if "caregiver" in row.effort_min]
    return [
        *(row.text for row in advice if "caregiver" in row.roles),
        *(text for row in steps for text in (row.text, row.risk or "", *row.needs)),
        *(row.ask for row in (*asked, *(c for c in catalogue.contexts if "caregiver" in c.minutes))),
        *(row.say for row in catalogue.symptoms),
        *(sign.name for sign in catalogue.stop_signs),
        *(text for step in (ASK_SLING, ASK_HURT, ask_signs(catalogue)) for text in (step.text, step.why)),
    ]


@pytest.fixture(scope="module")
def texts():
    return told_to_caregivers(load(DEMO_CATALOGUE))


def test_sentences_are_short(texts):
    sentences = [part for text in texts for part in re.split(r"[.?!]+(?:\s|$)", text) if part.strip()]
    words = {sentence: len(sentence.split()) for sentence in sentences}
    assert [f"{count} words: {sentence}" for sentence, count in words.items() if count > MOST_WORDS] == []
    assert statistics.median(len(sentence.split()) for sentence in sentences) <= MEDIAN_WORDS
    assert len(sentences) > 200


@pytest.mark.parametrize("word", TRADE_WORDS)
def test_no_unexplained_trade_word(texts, word):
    assert [text for text in texts if word in text.lower()] == []
