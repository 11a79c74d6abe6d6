"""What a caregiver reads: sentences short enough to take in beside a lift, and no word of the trade."""

import re
from statistics import median

import pytest

from api.cases.words import LOWERING_OUTCOMES
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.safety.sentences import may_do

ROLE = "caregiver"
TRADE_WORDS = ("actuator", "mechanism", "voltage", "current", "fuse", "board", "polarity", "isolate", "LOLER")
MEDIAN_WORDS, MOST_WORDS = 12, 18


def sentences(catalogue: Catalogue) -> list[str]:
    """Every sentence of the catalogue that a caregiver's page can show."""
    told = [*catalogue.sentences, *catalogue.cautions, *(s for m in catalogue.mechanisms for s in m.steps)]
    told += [row for sign in catalogue.stop_signs for row in (sign, *sign.occupied)]
    texts = [row.text for row in told if ROLE in row.roles]
    texts += [sign.name for sign in catalogue.stop_signs] + [row.say for row in catalogue.symptoms]
    for step in (*catalogue.checks, *catalogue.repairs):
        if may_do(step, ROLE):
            texts += [step.text, *step.needs, *([step.risk] if step.risk else [])]
    for check in catalogue.checks:
        if may_do(check, ROLE):
            texts += catalogue.findings_by_id[check.finding].outcomes.values()
    for row in catalogue.questions:
        if ROLE in row.effort_min:
            texts += [row.ask, *row.options.values()]
    texts += [row.ask for row in catalogue.views if ROLE in row.effort_min]
    texts += [text for row in catalogue.contexts for text in (row.ask, *row.options.values())]
    return [*texts, *LOWERING_OUTCOMES.values()]


@pytest.fixture(scope="module")
def told() -> list[str]:
    return sentences(load(DEMO_CATALOGUE))


def test_no_word_of_the_trade_stands_on_a_caregiver_s_page(told: list[str]) -> None:
    said = {word: [text for text in told if re.search(rf"\b{word}", text, re.IGNORECASE)] for word in TRADE_WORDS}
    assert {word: texts for word, texts in said.items() if texts} == {}


def test_a_caregiver_s_sentences_are_short(told: list[str]) -> None:
    lengths = [len(sentence.split()) for text in told for sentence in re.split(r"(?<=[.?!])\s+", text) if sentence]
    assert median(lengths) <= MEDIAN_WORDS
    long = [s for text in told for s in re.split(r"(?<=[.?!])\s+", text) if len(s.split()) > MOST_WORDS]
    assert long == []
