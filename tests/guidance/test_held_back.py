"""A component that is held back: never confirmed, by whatever way it was sure, and every answer says why."""

import random

import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case
from guidance.identify.held_back import COMPONENTS, WRONG_TOO_OFTEN, holding_back
from tests.bench.http_safety_walk import random_case
from tests.guidance.lifts import HUNG_TOP, ask, box_photo, head_photo

CATALOGUE = load(DEMO_CATALOGUE)
HELD = holding_back(CATALOGUE, COMPONENTS)
PHOTOS = [box_photo(0.999, **HUNG_TOP), head_photo(squeeze_tabs=0.999)]
TABS = {"decision": "confirmed", "probabilities": {"squeeze_tabs": 1.0}, "set": ["squeeze_tabs"]}
BOX = {"decision": "confirmed", "probabilities": {"hung-top": 1.0}, "set": ["hung-top"]}
SEEN_BY_TECHNICIAN = [
    ("label_shows_lowering", "squeeze_tabs"), ("motor_end_shape", "squeeze_tabs"), ("lowering", "squeeze_tabs"),
    ("which_box", "hung-top"), *HUNG_TOP.items(),
]  # fmt: skip


@pytest.mark.parametrize("photos, said", [(PHOTOS, []), ([], SEEN_BY_TECHNICIAN)], ids=["photos", "technician"])
def test_what_would_be_confirmed_is_likely_and_says_why(photos, said) -> None:
    free, held = (ask(catalogue, photos, *said, role="technician") for catalogue in (CATALOGUE, HELD))
    for component in COMPONENTS:
        before, now = getattr(free, component), getattr(held, component)
        assert (before.decision, before.held_back) == ("confirmed", "")
        assert (now.decision, now.held_back) == ("likely", WRONG_TOO_OFTEN)
        assert now.probabilities == before.probabilities


def test_no_lowering_action_is_told_as_fact_and_no_part_has_a_number() -> None:
    free, held = (ask(catalogue, PHOTOS, role="technician").guidance for catalogue in (CATALOGUE, HELD))
    assert (free.lowering.basis, held.lowering.basis) == ("confirmed", "open")
    assert any(row.part for row in free.parts) and not any(row.part for row in held.parts if row.ask)
    assert [row.component for row in held.parts if row.part] == [
        row.component for row in free.parts if row.part and not (row.part.generations or row.part.mechanisms)
    ]


def test_an_answer_that_is_not_sure_is_not_said_to_be_held_back() -> None:
    vague = ask(HELD, [head_photo(squeeze_tabs=0.6)])
    assert vague.actuator.decision == "undecided" and vague.actuator.held_back == ""
    assert vague.control_box.decision == "not_seen" and vague.control_box.held_back == ""


def test_one_component_is_held_back_without_the_other() -> None:
    held = ask(holding_back(CATALOGUE, ["actuator"]), PHOTOS)
    assert (held.control_box.decision, held.actuator.decision) == ("confirmed", "likely")


@pytest.mark.parametrize("up", ["yes", "no"])
def test_an_identification_from_before_confirms_nothing_either(up: str) -> None:
    case = Case.model_validate(
        {"person_in_sling": up, "danger_signs": [], "symptom": "dead", "actuator": TABS, "control_box": BOX}
        | {"role": "technician"}
    )
    free, held = troubleshoot(case, CATALOGUE), troubleshoot(case, HELD)
    assert free.held_back == {} and held.held_back == dict.fromkeys(COMPONENTS, WRONG_TOO_OFTEN)
    if up == "yes":
        assert (free.lowering.basis, held.lowering.basis) == ("confirmed", "open")
    else:
        assert any(row.part for row in free.parts)
        numbers = {row.part.number for row in held.parts if row.part}
        assert numbers <= {p.number for p in CATALOGUE.parts if not p.generations and not p.mechanisms}


def test_the_reason_is_the_catalogues_own_whatever_came_in() -> None:
    told = {**TABS, "decision": "likely", "held_back": "<b>as somebody wrote</b>"}
    case = Case.model_validate({"person_in_sling": "yes", "actuator": told})
    assert troubleshoot(case, HELD).held_back == {"actuator": WRONG_TOO_OFTEN}
    assert troubleshoot(case, CATALOGUE).held_back == {}


def test_a_person_who_is_up_is_told_by_the_answers_that_came() -> None:
    seen = [{"id": id_, "answer": answer, "by": "technician"} for id_, answer in SEEN_BY_TECHNICIAN[:3]]
    case = Case.model_validate({"person_in_sling": "yes", "observations": seen})
    assert troubleshoot(case, CATALOGUE).lowering.basis == "confirmed"
    held = troubleshoot(case, HELD)
    assert held.lowering.basis == "open" and held.held_back == {"actuator": WRONG_TOO_OFTEN}


def test_without_a_component_to_hold_back_the_catalogue_is_the_same() -> None:
    assert holding_back(CATALOGUE, ()) is CATALOGUE


def test_in_no_random_state_is_a_mechanism_told_as_fact_or_a_part_that_depends_on_what_is_held_back() -> None:
    """States as over HTTP: any role, signs, symptom, steps, and identifications from before."""
    rng, confirmed_before = random.Random(31), 0
    for _ in range(150):
        case = Case.model_validate(random_case(CATALOGUE, rng))
        free, held = troubleshoot(case, CATALOGUE), troubleshoot(case, HELD)
        confirmed_before += free.lowering is not None and free.lowering.basis == "confirmed"
        assert held.lowering is None or held.lowering.basis == "open"
        named = [row.part for row in held.parts if row.part] + [part for row in held.options for part in row.parts]
        assert all(not part.generations and not part.mechanisms for part in named)
    assert confirmed_before > 5
