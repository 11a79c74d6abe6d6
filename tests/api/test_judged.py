"""How right we were by a closed case: what was shown before a technician looked, and what they found."""

import pytest
from sqlalchemy import select

from api.cases.events import UNDO
from api.cases.expiry import delete_abandoned
from api.cases.photos import CasePhoto
from api.cases.store import CaseStore, Said, Who
from api.cases.tables import judged_answers, judged_cases
from api.monitor.judged import JudgedCase, judged_case, month_of
from api.monitor.report import report
from api.monitor.watching import look, watched
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.monitor.checked import Shown
from tests.api.judged_cases import ANA, CLOSING, CONFIRMED, NOBODY_UP, TOM, came_back, closed, found
from tests.guidance.lifts import HUNG_TOP, box_photo, head_photo, photo

CATALOGUE = load(DEMO_CATALOGUE)
LIKELY = {**CONFIRMED, "actuator": ["likely", "twist_knob"]}


@pytest.fixture
def store(tmp_path) -> CaseStore:
    return CaseStore.open(f"sqlite:///{tmp_path / 'cases.db'}")


def judged(store: CaseStore, *said: Said, photos: tuple[CasePhoto, ...] = ()) -> JudgedCase:
    return judged_case(store.by_id(closed(store, *said)), photos, CATALOGUE)


def about(case: JudgedCase, what: str) -> Shown:
    return next(each for each in case.shown if each.about == what)


@pytest.mark.parametrize(
    "answer, right, truth", [("squeeze_tabs", True, "squeeze_tabs"), ("none", False, "none"), ("unsure", None, "")]
)
def test_a_technicians_word_is_the_truth_about_the_lowering(store, answer: str, right: bool | None, truth: str) -> None:
    shown = about(judged(store, found("lowering", answer)), "actuator")
    assert shown == Shown("actuator", "confirmed", "squeeze_tabs", 0.998, truth, right)


@pytest.mark.parametrize(
    "words, right, truth",
    [
        ({}, None, ""),
        ({"battery": "hung_pack"}, True, "hung-top"),  # no other box of the pool has one
        ({"stop_position": "top"}, None, ""),  # another has it there, too
        ({"stop_position": "front"}, False, ""),
        ({"battery": "stacked_pack"}, False, "stacked-front"),
        ({"stop_position": "front", "charge_display": "none"}, False, "unlisted"),
        ({"which_box": "hung-top", "battery": "built_in"}, True, "hung-top"),
        ({"which_box": "unlisted"}, False, "unlisted"),
        (HUNG_TOP, True, "hung-top"),
    ],
)
def test_a_box_is_right_by_its_name_or_by_features_that_only_it_has(store, words, right, truth) -> None:
    shown = about(judged(store, *(found(id_, answer) for id_, answer in words.items())), "control_box")
    assert (shown.right, shown.truth) == (right, truth)


def test_what_a_caregiver_or_an_agent_says_confirms_nothing(store: CaseStore) -> None:
    case_id, _ = store.start("en", ANA, NOBODY_UP)
    store.say(case_id, 1, found("lowering", "none"), ANA)
    store.say(case_id, 2, found("lowering", "none"), Who("caregiver"))
    store.say(case_id, 3, CLOSING, TOM)
    assert about(judged_case(store.by_id(case_id), (), CATALOGUE), "actuator").right is None


def test_an_answer_counts_as_it_was_shown_most_firmly_before_a_technician_looked(store: CaseStore) -> None:
    once = judged(store, Said("plate", {}, CONFIRMED), found("lowering", "none", LIKELY))
    assert about(once, "actuator").verdict == "confirmed"
    later = judged(store, found("lowering", "none", LIKELY), found("battery", "hung_pack", CONFIRMED))
    assert about(later, "actuator").verdict == "likely"
    held = {**LIKELY, "held_back": ["actuator"]}
    assert about(judged(store, found("lowering", "none", held)), "actuator").verdict == "held_back"


def test_what_was_known_before_probabilities_were_kept_is_judged_without_one(store: CaseStore) -> None:
    old = {"control_box": ["confirmed", "hung-top"], "actuator": ["not_seen", None]}
    case_id = closed(store, found("which_box", "hung-top", old), closing=Said(CLOSING.kind, CLOSING.said, old))
    case = judged_case(store.by_id(case_id), (), CATALOGUE)
    assert about(case, "control_box") == Shown("control_box", "confirmed", "hung-top", None, "hung-top", True)
    assert about(case, "actuator") == Shown("actuator", "not_seen", "")


def test_a_part_that_came_back_contradicts_what_it_was_ordered_by_until_somebody_looks_again(store: CaseStore) -> None:
    back = judged(store, found("which_box", "hung-top"), came_back("control_box"))
    assert about(back, "control_box").right is False and about(back, "control_box").truth == ""
    assert about(back, "actuator").right is None and back.returned == 1
    looked = judged(store, came_back("control_box"), found("which_box", "hung-top"))
    assert about(looked, "control_box").right is True
    assert all(each.right is None for each in judged(store, came_back()).shown)


def test_a_part_made_for_one_box_whose_exchange_ended_the_trouble_tells_which_it_was(store: CaseStore) -> None:
    said = {"id": "in_service", "answer": "battery_worn", "proof": "exchanged", "part": "pack-hung"}
    case = judged_case(store.by_id(closed(store, closing=Said("closed", said, CONFIRMED))), (), CATALOGUE)
    assert about(case, "control_box").right is True and about(case, "actuator").right is None
    stacked = {**said, "part": "pack-stacked"}
    case = judged_case(store.by_id(closed(store, closing=Said("closed", stacked, CONFIRMED))), (), CATALOGUE)
    assert (about(case, "control_box").right, about(case, "control_box").truth) == (False, "stacked-front")
    only_measured = {**said, "proof": "measured"}
    case = judged_case(store.by_id(closed(store, closing=Said("closed", only_measured, CONFIRMED))), (), CATALOGUE)
    assert about(case, "control_box").right is None


def test_an_open_case_and_one_that_was_opened_again_are_not_judged(store: CaseStore) -> None:
    case_id, _ = store.start("en", ANA, NOBODY_UP)
    assert judged_case(store.by_id(case_id), (), CATALOGUE) is None
    closed_id = closed(store, found("lowering", "none"))
    look(store, CATALOGUE)
    assert report(store).figures.cases == 1
    store.say(closed_id, 3, Said(UNDO, {}, {}), TOM)
    look(store, CATALOGUE)
    assert report(store).figures.cases == 0


def test_readings_are_those_of_the_first_photo_that_shows_them(store: CaseStore) -> None:
    ids = [f"{n:024x}" for n in range(3)]
    said = [Said("photo", {"id": id_, "kept": False}, {}) for id_ in ids] + [found("lowering", "none")]
    readings = (photo(), head_photo(squeeze_tabs=0.97), head_photo(none=0.6, twist_knob=0.4))
    case = judged(store, *said, photos=tuple(map(CasePhoto, ids, readings)))
    shown = about(case, "lowering")
    assert (shown.verdict, shown.value, shown.right, shown.truth) == ("sure", "squeeze_tabs", False, "none")
    assert case.photo_ids == {"lowering": ids[1]} and case.photos == 3 and not case.nothing_found
    assert about(case, "battery").verdict == "not_visible"


def test_photos_without_a_part_of_a_lift_found_nothing(store: CaseStore) -> None:
    id_ = "0" * 24
    case = judged(store, Said("photo", {"id": id_, "kept": False}, {}), photos=(CasePhoto(id_, photo()),))
    assert case.nothing_found
    assert not judged(store).nothing_found


def test_two_values_that_are_left_make_an_open_reading(store: CaseStore) -> None:
    id_ = "0" * 24
    reading = box_photo(0.7, battery="hung_pack")
    case = judged(store, Said("photo", {"id": id_}, {}), photos=(CasePhoto(id_, reading),))
    assert about(case, "battery").verdict == "open"


def test_a_case_is_judged_again_when_it_changes_and_forgotten_when_it_is_deleted(case_store: CaseStore) -> None:
    case_id = closed(case_store, found("lowering", "none"))
    look(case_store, CATALOGUE)
    assert (watched(case_store, "actuator").answers, watched(case_store, "actuator").wrong) == (1, 1)
    case_store.say(case_id, 3, found("lowering", "squeeze_tabs"), TOM)
    look(case_store, CATALOGUE)
    assert watched(case_store, "actuator").wrong == 0
    case_store.delete(case_id, Who("administrator", "Ida"))
    with case_store.engine.connect() as connection:
        assert connection.execute(select(judged_cases)).all() == connection.execute(select(judged_answers)).all() == []


def test_what_was_judged_outlives_a_case_that_is_deleted_by_its_age(tmp_path) -> None:
    clock = [10**12]
    store = CaseStore(CaseStore.open(f"sqlite:///{tmp_path / 'cases.db'}").engine, lambda: clock[0])
    closed(store, found("lowering", "none"))
    look(store, CATALOGUE)
    clock[0] += 10**11
    assert delete_abandoned(store, 180) == 1
    look(store, CATALOGUE)
    found_now = report(store)
    assert found_now.figures.cases == 1 and found_now.watch["actuator"].wrong == 1
    (lift,) = found_now.confusing
    assert (lift.code, lift.photo_ids, lift.month) == ("", (), month_of(10**12))
    assert [(one.about, one.value, one.truth) for one in lift.mistakes] == [("actuator", "squeeze_tabs", "none")]
