"""What goes with a lift: options, the map of sockets, care, and other aids. Common practice, no source."""

import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.parts.options import options_of
from tests.guidance.cases import case_of, done
from tests.guidance.lifts import HUNG_TOP, ask, box_photo, photo, subject

CATALOGUE = load(DEMO_CATALOGUE)
GENERATIONS = tuple(CATALOGUE.generations_by_id)
AIDS = {row.id: dict(row.when) for row in CATALOGUE.not_this_tool}


def confirmed(generation: str) -> dict:
    return {"decision": "confirmed", "probabilities": {generation: 1.0}, "set": [generation]}


@pytest.mark.parametrize("role", ["caregiver", "agent", "technician"])
@pytest.mark.parametrize("generation", GENERATIONS)
def test_every_generation_is_told_how_it_is_charged_and_whether_a_second_battery_can_be_had(generation, role):
    answer = troubleshoot(case_of(control_box=confirmed(generation), role=role), CATALOGUE)
    said = " ".join(option.text for option in answer.options)
    assert "on the lift" in said and "all charger" in said and ("second pack" in said or "second battery" in said)
    numbers = {part.number for option in answer.options for part in option.parts}
    assert not numbers if role == "caregiver" else numbers or not any(row.available for row in answer.options[1:])


def test_no_number_is_named_with_an_option_before_the_box_is_confirmed():
    rows = options_of(CATALOGUE, ("hung-top",), None, "agent")
    assert rows and not any(row.parts for row in rows)
    assert any(row.parts for row in options_of(CATALOGUE, ("hung-top",), "hung-top", "agent"))
    assert not any(row.parts for row in options_of(CATALOGUE, ("hung-top",), "hung-top", "caregiver"))


def test_only_what_holds_for_all_that_it_may_be_is_said():
    both = {row.id for row in options_of(CATALOGUE, ("hung-top", "stacked-front"), None, "agent")}
    alone = {row.id for row in options_of(CATALOGUE, ("hung-top",), None, "agent")}
    assert both < alone
    assert options_of(CATALOGUE, (*GENERATIONS, "unlisted"), None, "agent") == ()


def test_a_wall_charger_comes_with_its_lead_and_one_lead_serves_both():
    rows = {row.id: row for row in options_of(CATALOGUE, ("hung-top",), "hung-top", "agent")}
    lead = rows["one-lead"].parts[0].number
    assert lead in [part.number for part in rows["wall-charger"].parts]


@pytest.mark.parametrize("generation", GENERATIONS)
def test_a_new_set_up_is_told_every_socket_and_how_a_wrong_one_shows(generation):
    new = case_of(control_box=confirmed(generation), context={"setting": "newly_installed"})
    sockets = troubleshoot(new, CATALOGUE).sockets
    assert {"hand", "motor", "charge"} <= {socket.id.removeprefix(f"{generation}-") for socket in sockets}
    assert all(socket.wrong for socket in sockets)
    assert troubleshoot(case_of(control_box=confirmed(generation)), CATALOGUE).sockets == ()


def test_what_stays_empty_is_said():
    assert [row.id for row in CATALOGUE.sockets if row.takes is None]
    found = ask(CATALOGUE, [box_photo(0.999, **HUNG_TOP)])
    assert [socket.id for socket in found.guidance.sockets if socket.takes is None] == ["hung-top-second"]


@pytest.mark.parametrize("generation", GENERATIONS)
def test_a_lift_that_works_is_kept_on_charge(generation):
    repaired = case_of(control_box=confirmed(generation), done=done(("push_hand_plug", "works")))
    care = troubleshoot(repaired, CATALOGUE).aftercare
    assert any("stands idle" in sentence.text for sentence in care)
    assert troubleshoot(case_of(control_box=confirmed(generation)), CATALOGUE).aftercare == ()


@pytest.mark.parametrize("aid", AIDS)
def test_another_aid_gets_no_advice_on_a_lift_but_where_to_ask(aid):
    told = [{"id": observation, "answer": answer} for observation, answer in AIDS[aid].items()]
    answer = troubleshoot(case_of(observations=told), CATALOGUE)
    assert (answer.state, answer.next, answer.faults, answer.parts) == ("hand_over", None, (), ())
    assert answer.not_this_tool.id == aid
    assert "maker or the service" in answer.safety[1].text
    found = ask(CATALOGUE, [photo()], *AIDS[aid].items())
    assert found.guidance.not_this_tool.id == aid
    assert (found.guidance.checks, found.guidance.parts, found.guidance.options) == ((), (), ())


@pytest.mark.parametrize("aid", AIDS)
def test_somebody_who_is_up_in_another_aid_comes_down_first(aid):
    told = [{"id": observation, "answer": answer} for observation, answer in AIDS[aid].items()]
    for occupied in ("yes", "unsure"):
        answer = troubleshoot(case_of(person_in_sling=occupied, observations=told), CATALOGUE)
        assert answer.state == "bring_down" and answer.lowering.steps and answer.not_this_tool is None
    found = ask(CATALOGUE, [photo()], ("person_in_sling", "yes"), *AIDS[aid].items())
    assert found.guidance.not_this_tool is None and found.guidance.lowering.steps


def test_a_box_of_no_listed_kind_is_asked_first_whether_it_is_a_lift():
    none = {"decision": "unlisted", "probabilities": {"unlisted": 1.0}, "set": ["unlisted"]}
    assert troubleshoot(case_of(control_box=none), CATALOGUE).ask_first.id == "which_aid"
    it_is = [{"id": "which_aid", "answer": "no"}]
    answer = troubleshoot(case_of(control_box=none, observations=it_is), CATALOGUE)
    assert answer.ask_first is None and answer.state == "next_step"
    assert troubleshoot(case_of(), CATALOGUE).ask_first is None


def test_a_photo_of_the_charger_brings_the_question_about_its_lead_forward():
    kept = tuple(row for row in CATALOGUE.observations if row.id in ("charger_lead", "person_in_sling", "which_aid"))
    fields = {name: getattr(CATALOGUE, name) for name in Catalogue.model_fields}
    only = Catalogue.model_construct(**{**fields, "observations": kept, "views": ()})
    box, charger = box_photo(stop_position="top", battery="built_in"), photo(subject("charger", {}))
    plain, shown = (ask(only, readings, ("which_box", "unsure")).next for readings in ([box], [box, charger]))
    assert plain.id == shown.id == "charger_lead"
    assert shown.effort_min < plain.effort_min


@pytest.mark.parametrize("repair", ["replace_blocks", "replace_board"])
def test_the_technicians_moves_start_with_safety_and_a_photo_and_check_the_polarity_before_power(repair):
    moves = CATALOGUE.repairs_by_id[repair].how
    words = [move.lower() for move in moves]
    assert "unplug the charger" in words[0] and "stop" in words[0]
    assert "photo of the wiring" in words[1]
    polarity = next(i for i, move in enumerate(words) if "polarity" in move)
    assert "before power" in words[polarity] and 1 < polarity < len(words) - 1
    if repair == "replace_blocks":
        assert any("series link" in move for move in words[:polarity])
