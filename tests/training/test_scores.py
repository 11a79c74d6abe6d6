"""Figures from photos whose right answers are known by hand."""

import pytest

from classifier.identify import ConceptReading, SubjectReading
from classifier.taxonomy import NOT_VISIBLE
from guidance.catalogue.catalogue import Catalogue
from tests.support.judged import BOX, ELSEWHERE, NO_GENERATION, SEALED_TOP, demo_catalogue, photo, said, truth
from training.evaluate.scores import fair_ones, figures, true_generation


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return demo_catalogue()


def test_the_true_generation_is_the_catalogue_s_row_with_these_values(catalogue: Catalogue):
    listed = photo((truth("control_box", SEALED_TOP),), ())
    unlisted = photo((truth("control_box", NO_GENERATION),), ())
    assert true_generation(listed, catalogue) == "sealed-top" and true_generation(unlisted, catalogue) == "unlisted"


def test_counts_hits_misses_and_false_alarms(catalogue: Catalogue):
    box = truth("control_box", SEALED_TOP)
    photos = [
        photo((box,), (said("control_box", SEALED_TOP),)),  # found and read
        photo((box,), ()),  # missed
        photo((box,), (said("control_box", SEALED_TOP, ELSEWHERE),)),  # in the wrong place
        photo((), ()),
        photo((), (said("charger", {}),)),  # a false alarm
    ]
    found = figures(photos, catalogue)
    recall, precision = found["finder"]["control_box"]["recall"], found["finder"]["all"]["precision"]
    assert (recall["hits"], recall["n"]) == (1, 3) and (precision["hits"], precision["n"]) == (1, 3)
    assert (found["not_seen_without_a_lift"]["hits"], found["not_seen_without_a_lift"]["n"]) == (1, 2)
    assert (found["generation"]["right"]["hits"], found["generation"]["right"]["n"]) == (2, 3)


def test_a_confirmed_answer_that_is_wrong_is_counted(catalogue: Catalogue):
    right = photo((truth("control_box", SEALED_TOP),), (said("control_box", SEALED_TOP),))
    wrong = photo((truth("control_box", NO_GENERATION),), (said("control_box", SEALED_TOP),))
    nothing = photo((), (said("control_box", SEALED_TOP),))
    assert right.answer.control_box.decision == "confirmed"
    found = figures([right, wrong, nothing], catalogue)["confirmed"]["wrong"]
    assert (found["hits"], found["n"]) == (2, 3)


def test_fair_photos_ask_about_what_stands_in_front_alone(catalogue: Catalogue):
    """The head is 0.16 of the picture, the box 0.04; what is confirmed of either must be right all the same."""
    far = (0.7, 0.7, 0.9, 0.9)
    box, head = truth("control_box", NO_GENERATION, box=far), truth("actuator_head", {"lowering": "none"})
    read = (said("control_box", SEALED_TOP, far), said("actuator_head", {"lowering": "none"}))
    pictured = [photo((box, head), read)]
    asked, all_ = figures(fair_ones(pictured), catalogue), figures(pictured, catalogue)
    for name, one in (("lowering", 1), ("generation", 0)):
        assert (asked[name]["right"]["n"], all_[name]["right"]["n"]) == (one, 1)
    assert (asked["concepts"]["battery"]["accuracy"]["n"], all_["concepts"]["battery"]["accuracy"]["n"]) == (0, 1)
    assert asked["concepts"]["lowering"]["accuracy"]["n"] == 1 and asked["finder"]["all"]["recall"]["n"] == 2
    assert asked["confirmed"]["wrong"] == all_["confirmed"]["wrong"] and all_["confirmed"]["wrong"]["hits"] == 1


def test_an_open_mechanism_counts_by_its_set_and_not_by_its_favourite(catalogue: Catalogue):
    both = ("twist_knob", "pull_twist_knob")
    head = truth("actuator_head", {"lowering": "twist_knob"}, both)
    sure = photo((head,), (said("actuator_head", {"lowering": "twist_knob"}),))
    reading = said("actuator_head", {"lowering": "twist_knob"}).concepts["lowering"]
    halves = {v: 0.499 if v in both else 0.002 / 3 for v in reading.probabilities}
    open_ = SubjectReading("actuator_head", BOX, 0.99, {"lowering": ConceptReading(halves, both)})
    found = figures([sure, photo((head,), (open_,))], catalogue)
    assert found["lowering"]["right"]["n"] == 0
    left_open = found["lowering"]["open_ones_left_open"]
    assert (left_open["hits"], left_open["n"]) == (1, 2)
    assert found["concepts"]["lowering"]["accuracy"]["n"] == 0


def test_coverage_is_counted_by_class(catalogue: Catalogue):
    values = {**SEALED_TOP, "stop_position": NOT_VISIBLE}
    photos = [
        photo((truth("control_box", SEALED_TOP),), (said("control_box", SEALED_TOP),)),
        photo((truth("control_box", SEALED_TOP),), (said("control_box", values),)),
    ]
    found = figures(photos, catalogue)["concepts"]["stop_position"]
    assert (found["coverage"]["top"]["hits"], found["coverage"]["top"]["n"]) == (1, 2)
    assert found["coverage"]["front"]["n"] == 0 and found["mean_set_size"] == 1
    assert found["confusion"] == [[1, 0, 1], [0, 0, 0], [0, 0, 0]]


def test_no_photos_give_no_figures_and_no_failure(catalogue: Catalogue):
    found = figures([], catalogue)
    assert found["photos"] == 0 and found["generation"]["right"]["share"] is None
