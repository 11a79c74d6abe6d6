"""Figures from photos whose right answers are known by hand."""

import json
from pathlib import Path

import pytest

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import ReadingFacts
from classifier.quality import Quality
from classifier.taxonomy import CONCEPTS_OF, NOT_VISIBLE
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.documents.answer import ModelInfo
from guidance.identify.answer import answer
from training.config import CLASSES
from training.data.manifest import Reading, Record, Subject
from training.evaluate.scores import Judged, fair_ones, figures, judged, true_generation
from training.report.card import BEGIN, END, CardError, write_card

BOX, ELSEWHERE = (0.2, 0.2, 0.6, 0.6), (0.7, 0.7, 0.95, 0.95)
SEALED_TOP = {"stop_position": "top", "battery": "built_in", "service_buttons": "none", "charge_display": "lamp_row"}
NO_GENERATION = {**SEALED_TOP, "battery": "stacked_pack"}
INFO = ModelInfo(version="1", sha256="0" * 64, trained_on={"synthetic": 1, "owned_photos": 0}, coverage=0.95)
FACTS = ReadingFacts(
    {c: {v: 1 / (len(vs) - 1) for v in vs[:-1]} for c, vs in CLASSES.items()},
    {c: dict.fromkeys(vs[:-1], 0.5) for c, vs in CLASSES.items()},
    doubt=0.002,
    correlation=0.5,
)


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(DEMO_CATALOGUE)


def truth(kind: str, values: dict[str, str], possible: tuple[str, ...] = (), box: tuple = BOX) -> Subject:
    return Subject(kind, box, False, {c: Reading(v, True, possible or (v,), 100.0) for c, v in values.items()})


def said(kind: str, values: dict[str, str], box: tuple = BOX, sure: float = 0.999) -> SubjectReading:
    concepts = {}
    for concept in CONCEPTS_OF[kind]:
        classes = CLASSES[concept]
        rest = (1 - sure) / (len(classes) - 1)
        probabilities = {value: sure if value == values[concept] else rest for value in classes}
        concepts[concept] = ConceptReading(probabilities, (values[concept],))
    return SubjectReading(kind, box, 0.99, concepts)


def photo(true: tuple[Subject, ...], read: tuple[SubjectReading, ...]) -> Judged:
    record = Record(Path("x.jpg"), None, 100, 100, "heldout", "close", (), True, 0.5, true, ())
    reading = PhotoReading("x.jpg", 100, 100, Quality(True, ()), read)
    return judged(record, reading, answer([reading], [], load(DEMO_CATALOGUE), INFO, FACTS))


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


def test_the_card_holds_the_report_s_figures(small_run: Path, tmp_path: Path):
    card = tmp_path / "card.md"
    card.write_text(f"before\n{BEGIN}\nold\n{END}\nafter\n")
    write_card(card, small_run / "weights", small_run)
    text = card.read_text()
    empty = json.loads((small_run / "evaluation" / "evaluation.json").read_text())["all photos"][
        "not_seen_without_a_lift"
    ]
    assert text.startswith("before") and text.endswith("after\n") and "old" not in text
    assert f"n={empty['n']}" in text and "| no lift in the photo, nothing seen |" in text


def test_a_card_without_its_marks_is_refused(small_run: Path, tmp_path: Path):
    (tmp_path / "card.md").write_text("no marks")
    with pytest.raises(CardError, match="marks"):
        write_card(tmp_path / "card.md", small_run / "weights", small_run)
