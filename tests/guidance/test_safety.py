"""No state of a case is unsafe."""

import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case
from tests.guidance.safety_rules import assert_safe
from tests.guidance.safety_walk import (
    actuators,
    boxes,
    conversation,
    gates,
    seen,
    steps,
)


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.mark.thorough
@pytest.mark.parametrize("role", ROLES)
def test_before_the_first_check(catalogue, role):
    """Every role, person in the sling or not, danger sign, identification and symptom; see also tests/bench."""
    symptoms = ("dead", "no_charge_lamps")
    walk = gates(catalogue, actuators(), boxes()[:3], symptoms)
    assert_safe(((case, answer) for case, answer in walk if case.role == role), at_least=2500)


@pytest.mark.thorough
def test_any_step_that_could_be_proposed(catalogue):
    """Whatever the numbers: for every role and symptom, each step that the plan may choose, done and not done."""
    pairs = [(seen("confirmed", "hung-top"), seen("confirmed", "twist_knob"))]
    assert_safe(steps(catalogue, pairs, catalogue.symptoms_by_id), at_least=700)


@pytest.mark.thorough
def test_any_step_on_any_box(catalogue):
    pairs = [(box, actuators()[(2 * number) % len(actuators())]) for number, box in enumerate(boxes())]
    assert_safe(steps(catalogue, pairs, ("dead",)), at_least=700)


@pytest.mark.parametrize("role", ROLES)
def test_every_answer_to_the_steps_that_are_proposed(catalogue, role):
    for symptom in ("dead", "runs_down"):
        start = Case(
            role=role,
            person_in_sling="no",
            danger_signs=(),
            symptom=symptom,
            control_box=seen("confirmed", "sealed-front"),
            actuator=seen("undecided", "twist_knob", "pull_twist_knob"),
        )
        assert_safe(conversation(catalogue, start, depth=2), at_least=10)


def test_nobody_needs_a_photo_to_bring_a_person_down(catalogue):
    answer = troubleshoot(Case(person_in_sling="yes"), catalogue)
    assert answer.state == "bring_down" and answer.lowering.basis == "open" and answer.lowering.steps
    assert answer.safety[0].text == "Bring the person down first. Checks and repairs come after that."


def test_the_confirmed_mechanism_is_told_and_a_failed_one_is_not_repeated(catalogue):
    tabs = seen("confirmed", "squeeze_tabs")
    told = troubleshoot(Case(person_in_sling="yes", actuator=tabs), catalogue).lowering
    assert told.basis == "confirmed" and "Pinch both tabs" in " ".join(s.text for s in told.steps)
    failed = troubleshoot(Case(person_in_sling="yes", actuator=tabs, danger_signs=("failed_lowering",)), catalogue)
    assert failed.lowering.basis == "open"
    assert "failed-lowering-up-1" in [s.id for s in failed.safety]
