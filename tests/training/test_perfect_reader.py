"""The best that any reader could be answered: everything read rightly, on truths known by hand."""

from dataclasses import replace
from pathlib import Path

import pytest

from classifier.model import Model
from classifier.taxonomy import CONCEPTS, NOT_VISIBLE
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.guidance.lifts import HUNG_TOP
from tests.support.judged import SEALED_TOP, photo, truth
from training.data.manifest import Reading, Subject
from training.evaluate.perfect_reader import perfect_figures, perfect_reading

EVEN = {concept: dict.fromkeys(values, 1 / len(values)) for concept, values in CONCEPTS.items()}
BOX = truth("control_box", HUNG_TOP)
WITHOUT_BUTTONS = truth("control_box", SEALED_TOP)
HEAD = truth("actuator_head", {"lowering": "squeeze_tabs"})
OPEN_HEAD = truth("actuator_head", {"lowering": "twist_knob"}, ("twist_knob", "pull_twist_knob"))


def hiding(subject: Subject, *concepts: str) -> Subject:
    hidden = {c: Reading(r.value, False, (r.value,), 0.0) for c, r in subject.concepts.items() if c in concepts}
    return replace(subject, concepts=subject.concepts | hidden)


def record(*subjects: Subject, lift: str | None = None):
    return replace(photo(subjects, ()).record, lift=lift and (Path("set"), lift))


@pytest.fixture(scope="module")
def toy(toy_model_dir: Path) -> Model:
    return Model.load(toy_model_dir)


def test_it_says_what_the_picture_shows_and_of_the_rest_that_it_is_hidden():
    box, head = perfect_reading(record(hiding(BOX, "battery"), OPEN_HEAD), 0.99, EVEN).subjects
    assert box.concepts["stop_position"].probabilities["top"] == 0.99
    assert box.concepts["battery"].probabilities[NOT_VISIBLE] == 0.99
    assert head.concepts["lowering"].probabilities["twist_knob"] == 0.495
    assert head.concepts["lowering"].prediction_set == ("twist_knob", "pull_twist_knob")
    for reading in (*box.concepts.values(), *head.concepts.values()):
        assert sum(reading.probabilities.values()) == pytest.approx(1, abs=1e-12)


def test_what_a_picture_hides_stays_unconfirmed_and_lowering_wants_more_than_99_percent(toy: Model):
    hidden = hiding(BOX, "battery", "charge_display")
    records = [record(BOX, HEAD), record(hidden, OPEN_HEAD)]
    found = perfect_figures(records, load(DEMO_CATALOGUE), toy)
    boxes, heads = (
        {c: found[c]["fair_confirmed"][f"{part}_confirmed"]["hits"] for c in found}
        for part in ("listed_boxes", "actuators")
    )
    assert boxes == {"0.99": 1, "0.999": 1} and heads == {"0.99": 0, "0.999": 1}
    assert found["0.999"]["fair_confirmed"]["actuators_confirmed"]["n"] == 2


def test_that_there_are_no_buttons_or_no_display_one_photo_cannot_settle(toy: Model):
    """The far side stays open (taxonomy): as many boxes have their buttons there as on the side that is seen bare."""
    (box,) = perfect_reading(record(WITHOUT_BUTTONS), 0.999, EVEN).subjects
    assert box.concepts["service_buttons"].probabilities["none"] == pytest.approx(0.999 * 2 / 3)
    no_display = replace(BOX, concepts=BOX.concepts | {"charge_display": Reading("none", True, ("none",), 500.0)})
    (bare,) = perfect_reading(record(no_display), 0.999, EVEN).subjects
    assert bare.concepts["charge_display"].probabilities["none"] == pytest.approx(0.999 / (1 + 2 * 0.07))
    assert sum(box.concepts["service_buttons"].probabilities.values()) == pytest.approx(1, abs=1e-12)
    found = perfect_figures([record(WITHOUT_BUTTONS), record(BOX)], load(DEMO_CATALOGUE), toy)["0.999"]
    confirmed = found["fair_confirmed"]["listed_boxes_confirmed"]
    assert (confirmed["hits"], confirmed["n"]) == (1, 2)


def test_an_unlisted_box_that_only_lacks_buttons_is_taken_for_the_listed_one(toy: Model):
    """What the far side may hold, one photo cannot settle: the pool's share decides, here against the truth."""
    unlisted = replace(BOX, concepts=BOX.concepts | {"service_buttons": Reading("none", True, ("none",), 500.0)})
    found = perfect_figures([record(unlisted, HEAD), record(BOX, HEAD)], load(DEMO_CATALOGUE), toy)["0.999"]
    right = {part: (row["hits"], row["n"]) for part, row in found["fair_right"].items()}
    assert right == {"generation": (1, 2), "lowering": (2, 2)}


def test_a_second_photo_settles_what_the_first_hides(toy: Model):
    sides = [hiding(BOX, "stop_position", "battery"), hiding(BOX, "service_buttons", "charge_display")]
    found = perfect_figures([record(side, lift="1") for side in sides], load(DEMO_CATALOGUE), toy)
    undecided = {photos: found["0.999"]["two_photos"]["generation"][photos]["undecided"] for photos in ("one", "two")}
    assert [(row["hits"], row["n"]) for row in undecided.values()] == [(1, 1), (0, 1)]
