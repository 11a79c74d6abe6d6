"""The answer as text: each decision in words that nobody can misread, whatever the width."""

import pytest

from api.commands.terminal import told
from api.identification import Resources, answer_for
from guidance.documents.answer import Answer
from guidance.identify.sources import Observed


@pytest.fixture
def unsettled(toy_resources: Resources) -> Answer:
    observed = [Observed("where_is_stop", "top"), Observed("motor_end_shape", "twist_knob")]
    return answer_for([], observed, "caregiver", toy_resources)


def with_decision(answer: Answer, component: str, decision: str, favourite: str | None, probability: float) -> Answer:
    old = getattr(answer, component)
    shares = dict.fromkeys(old.probabilities, (1 - probability) / (len(old.probabilities) - 1))
    probabilities = {**shares, **({favourite: probability} if favourite else {})}
    update = {"decision": decision, "favourite": favourite, "probabilities": probabilities}
    return answer.model_copy(update={component: old.model_copy(update=update)})


@pytest.mark.parametrize(
    ("decision", "favourite", "words"),
    [
        ("confirmed", "hung-top", "CONTROL BOX   Hung pack, stop on top (hung-top), 97 %: CONFIRMED"),
        ("likely", "hung-top", "CONTROL BOX   probably Hung pack, stop on top (hung-top), 97 %: NOT CONFIRMED"),
        ("unlisted", "unlisted", "CONTROL BOX   none that this catalogue lists, 97 %"),
        ("not_seen", None, "CONTROL BOX   not seen yet"),
    ],
)
def test_each_decision_in_words(
    decision: str, favourite: str | None, words: str, unsettled: Answer, toy_resources: Resources
) -> None:
    answer = with_decision(unsettled, "control_box", decision, favourite, 0.97)
    assert told(answer, toy_resources.catalogue, 100).splitlines()[0] == words


def test_what_is_not_settled_lists_every_value_of_the_set(unsettled: Answer, toy_resources: Resources) -> None:
    text = told(unsettled, toy_resources.catalogue, 80)
    assert "LOWERING      NOT SETTLED, it can be" in text
    named = {toy_resources.catalogue.mechanisms_by_id[m].name for m in unsettled.actuator.values}
    assert len(named) > 1
    assert all(f"%  {name}\n" in text for name in named)
    assert "CONFIRMED" not in text


def test_safety_stands_before_every_action(unsettled: Answer, toy_resources: Resources) -> None:
    text = told(unsettled, toy_resources.catalogue, 80)
    assert text.index("\nFIRST\n") < text.index("\nTO BRING SOMEBODY DOWN") < text.index("\nNEXT")


def test_a_probability_is_never_called_certain(unsettled: Answer, toy_resources: Resources) -> None:
    answer = with_decision(unsettled, "control_box", "confirmed", "hung-top", 1.0)
    text = told(answer, toy_resources.catalogue, 80)
    assert "over 99 %" in text
    assert "100 %" not in text


def test_what_contradicts_itself_is_said(toy_resources: Resources) -> None:
    observed = [Observed("where_is_stop", "top"), Observed("stop_position", "front")]
    text = told(answer_for([], observed, "agent", toy_resources), toy_resources.catalogue, 80)
    assert "does not fit together" in text
