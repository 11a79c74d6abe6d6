"""What the terminal understands at every question: somebody is up, how it goes with them, and a danger."""

import pytest

from api.cases.record import Record
from api.commands.triage import converse
from api.commands.urgent_words import signs_named
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.documents.answer import CatalogueInfo

SAFE = ("no", "none", "dead")


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.fixture
def speak(catalogue):
    def hold(*said: str) -> tuple[Record, str]:
        left, shown = iter(said), []
        info = CatalogueInfo(id=catalogue.pool.id, version=catalogue.pool.version)
        start = Record(catalogue=info, role="caregiver")
        return converse(catalogue, start, lambda _: next(left, None), shown.append, lambda _: None), "\n".join(shown)

    return hold


def test_two_looks_confirm_the_mechanism_and_its_steps_follow(speak) -> None:
    record, shown = speak("up", "squeeze_tabs", "squeeze_tabs")
    assert "HOW TO COME DOWN\n" in shown and "Pinch both tabs together" in shown
    assert len(record.events) == 3


@pytest.mark.parametrize("before", [(), SAFE[:1], SAFE[:2], SAFE])
def test_that_somebody_is_up_comes_before_every_question(speak, before: tuple[str, ...]) -> None:
    record, shown = speak(*before, "up")
    assert record.case().person_in_sling == "yes"
    assert "FIRST: BRING THE PERSON DOWN" in shown.split("=> ")[-2]
    assert speak(*before, "up", "down")[0].case().person_in_sling == "no"


def test_worse_stops_what_was_done_and_calls_for_help_also_when_nobody_was_said_to_be_up(speak) -> None:
    for said in (("up", "worse"), (*SAFE, "worse")):
        record, shown = speak(*said)
        assert record.case().lowered[-1].outcome == "worse" and record.case().person_in_sling == "yes"
        assert "Stop what you are doing. Hold the person steady." in shown
    assert speak("up", "worse", "down", "up")[0].case().lowered == ()


@pytest.mark.parametrize("typed", ["smoke", "there is smoke!", "flames", "d", "D"])
@pytest.mark.parametrize("before", [("up",), SAFE])
def test_a_danger_is_understood_at_every_question(speak, before: tuple[str, ...], typed: str) -> None:
    record, shown = speak(*before, typed, *(["smoke"] if typed in "dD" else []))
    assert record.case().danger_signs == ("smoke",)
    assert "Taken as a danger: smoke or flames" in shown and "the fire service" in shown


def test_dangers_add_up_and_are_taken_back_one_by_one(speak) -> None:
    assert speak("up", "smoke", "it moves, unasked")[0].case().danger_signs == ("smoke", "moves_unasked")
    assert speak("up", "smoke", "it moves, unasked", "b")[0].case().danger_signs == ("smoke",)


def test_every_sign_is_known_by_its_own_id_and_by_its_name(catalogue) -> None:
    for sign in catalogue.stop_signs:
        assert sign.id in signs_named(sign.id.replace("_", " "), catalogue)
        assert sign.id in signs_named(sign.name, catalogue)
    assert signs_named("nobody, perhaps", catalogue) == () and signs_named("the lift", catalogue) == ()
