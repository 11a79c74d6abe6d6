"""Findings that contradict are named and not averaged; ids that nobody knows are refused with the nearest known."""

import pytest

from classifier.errors import CaseError, ObservationError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.troubleshoot import troubleshoot
from tests.guidance.cases import HUNG, TABS, case_of, done


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def test_contradictory_findings_are_named_and_not_averaged(catalogue):
    plain = troubleshoot(case_of(), catalogue)
    both = troubleshoot(case_of(done=done(("look_stop", "released"), ("look_stop", "pressed"))), catalogue)
    assert len(both.contradictions) == 1 and "red stop button" in both.contradictions[0]
    assert [f.probability for f in both.faults] == pytest.approx([f.probability for f in plain.faults])
    odd = troubleshoot(case_of(done=done(("look_stop", "pressed"), ("try_box_buttons", "moves"))), catalogue)
    assert len(odd.contradictions) == 1
    against = troubleshoot(case_of(done=done(("try_hand_control", "moves"))), catalogue)
    assert "The complaint says" in against.contradictions[0]


def test_findings_that_agree_are_no_contradiction(catalogue):
    for steps in ((("look_stop", "pressed"), ("ask_display", "dark")), (("ask_beeps", "yes"), ("look_gauge", "low"))):
        assert troubleshoot(case_of(done=done(*steps)), catalogue).contradictions == ()


@pytest.mark.parametrize(
    ("known", "says"),
    [
        ({"symptom": "ded"}, "unknown symptom 'ded'; did you mean 'dead'"),
        ({"danger_signs": ("smok",)}, "did you mean 'smoke'"),
        ({"context": {"weather": "wet"}}, "unknown context 'weather'"),
        ({"context": {"wet": "damp"}}, "unknown answer to wet"),
        ({"done": done(("look_stopp", "pressed"))}, "did you mean 'look_stop'"),
        ({"done": done(("look_stop", "pushed"))}, "unknown outcome of look_stop"),
        ({"done": done(("release_stop", "pressed"))}, "unknown outcome of release_stop"),
        ({"control_box": {"decision": "likely", "probabilities": {"hung-topp": 1.0}}}, "did you mean 'hung-top'"),
        ({"control_box": {"decision": "likely", "probabilities": {"hung-top": 0.4}}}, "add up to 0.4"),
        ({"actuator": {"decision": "confirmed", "set": ["lever"]}}, "unknown lowering mechanism"),
        (
            {"actuator": {"decision": "confirmed", "probabilities": {"pull_twist_knob": 1.0}, "set": ["twist_knob"]}},
            "confirmed as 'twist_knob', but its probabilities say 'pull_twist_knob'",
        ),
        (
            {
                "actuator": {
                    "decision": "confirmed",
                    "probabilities": {"twist_knob": 0.6, "pull_twist_knob": 0.4},
                    "set": ["twist_knob"],
                }
            },
            "confirmed as 'twist_knob' with a probability of 0.6, and this catalogue confirms from 0.99",
        ),
        (
            {"control_box": {"decision": "confirmed", "probabilities": {"hung-top": 1.0}, "set": ["sealed-top"]}},
            "confirmed as 'sealed-top', but its probabilities say 'hung-top'",
        ),
        ({"actuator": {"decision": "confirmed", "set": ["twist_knob", "none"]}}, "one value in its set, not 2"),
        ({"actuator": {"decision": "confirmed", "set": []}}, "one value in its set, not 0"),
        ({"catalogue": {"id": "other-pool", "version": "1"}}, "start the case anew"),
    ],
)
def test_unknown_ids_are_refused_with_the_nearest_known(catalogue, known, says):
    with pytest.raises(CaseError, match=says):
        troubleshoot(case_of(**known), catalogue)


def test_a_catalogue_without_a_fault_model_is_named(catalogue):
    bare = type(catalogue).model_construct(
        **{**{name: getattr(catalogue, name) for name in type(catalogue).model_fields}, "symptoms": ()}
    )
    with pytest.raises(CaseError, match="no fault model"):
        troubleshoot(case_of(), bare)


def test_an_observation_that_is_none_is_refused_even_beside_an_identification(catalogue):
    known = {"control_box": HUNG, "actuator": TABS, "observations": [{"id": "colour", "answer": "red"}]}
    with pytest.raises(ObservationError, match="colour"):
        troubleshoot(case_of(**known), catalogue)
