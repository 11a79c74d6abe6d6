"""How much one photo may say and a second one adds, measured on readings whose errors are made alike or not."""

from pathlib import Path

import numpy as np
import pytest

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import ReadingFacts
from classifier.quality import Quality
from classifier.recipe import CLASSES
from classifier.taxonomy import CONCEPTS
from training.calibrate.merging import FEWEST_LIFTS, cases_of, errors_alike, fit_correlation, pairs_of
from training.data.manifest import Reading, Record, Subject

BOX = (0.2, 0.2, 0.6, 0.6)
VALUES = CONCEPTS["lowering"]
EVEN, AS_OFTEN_HIDDEN = ({"lowering": dict.fromkeys(VALUES, share)} for share in (0.25, 0.5))
FACTS = ReadingFacts(EVEN, AS_OFTEN_HIDDEN, doubt=0.002, correlation=0.5)


def photo(lift: int | None, truth: str, said: str, sure: float, **labels) -> tuple[Record, PhotoReading]:
    """A picture of an actuator head with what is read off it."""
    label = Reading(truth, labels.get("visible", True), labels.get("possible", (truth,)), 90.0)
    head = Subject("actuator_head", BOX, False, {"lowering": label})
    subjects = (head,) * labels.get("heads", 1)
    number = None if lift is None else (Path("set"), str(lift))
    record = Record(Path("x.jpg"), None, 100, 100, "calibration", "close", (), True, 0.5, subjects, (), number)
    rest = (1 - sure) / (len(CLASSES["lowering"]) - 2)
    read = {v: sure if v == said else rest for v in VALUES} | {"not_visible": 0.0}
    reading = SubjectReading("actuator_head", BOX, 1.0, {"lowering": ConceptReading(read, (said,))})
    return record, PhotoReading("x.jpg", 100, 100, Quality(True, ()), (reading,))


def cases(photos):
    return [case for record, reading in photos for case in cases_of(record, reading, FACTS)]


def lifts(count: int, alike: bool, sure: float = 0.7, seed: int = 0):
    """Two photos a lift, each right as often as it is sure; with `alike` the second errs just where the first does."""
    rng, photos = np.random.default_rng(seed), []
    for lift in range(count):
        said = []
        for _ in range(2):
            wrong = str(rng.choice(VALUES[1:]))
            said.append(VALUES[0] if rng.random() < sure else wrong)
        if alike:
            said[1] = said[0]
        photos += [photo(lift, VALUES[0], value, sure) for value in said]
    return photos


def test_photos_that_err_alike_are_taken_for_one_and_others_for_two():
    alike, apart = (fit_correlation(pairs_of(cases(lifts(400, same)))) for same in (True, False))
    assert alike == 1.0
    assert apart < 0.35


def test_few_lifts_measure_nothing():
    assert fit_correlation(pairs_of(cases(lifts(FEWEST_LIFTS - 1, True)))) is None
    assert fit_correlation([]) is None


def test_little_evidence_is_decided_for_caution():
    """The same independent errors: the fewer the lifts, the larger the correlation that they cannot exclude."""

    def mean_of_sets(count: int) -> float:
        return float(np.mean([fit_correlation(pairs_of(cases(lifts(count, False, seed=seed)))) for seed in range(4)]))

    assert mean_of_sets(FEWEST_LIFTS) > mean_of_sets(600)


def test_errors_are_counted_where_both_photos_show_the_concept():
    right, wrong = (photo(1, "none", said, 0.9) for said in ("none", "twist_knob"))
    hidden = photo(2, "none", "twist_knob", 0.9, visible=False)
    groups = [right, wrong, hidden, photo(2, "none", "none", 0.9)]
    found = errors_alike(pairs_of(cases(groups)))
    assert (found["pairs_of_readings"], found["wrong_on_one"], found["wrong_on_both"]) == (1, 1, 0)
    assert found["correlation_of_errors"] is None
    assert errors_alike(pairs_of(cases(lifts(50, True))))["correlation_of_errors"] == pytest.approx(1.0)
    apart = [errors_alike(pairs_of(cases(lifts(800, False, seed=s))))["correlation_of_errors"] for s in range(8)]
    assert abs(np.mean(apart)) < 0.05


def test_a_case_is_right_with_any_value_that_the_photo_leaves_open():
    both = ("twist_knob", "pull_twist_knob")
    (case,) = cases([photo(1, "twist_knob", "pull_twist_knob", 0.9, possible=both)])
    (settled,) = cases([photo(1, "twist_knob", "pull_twist_knob", 0.9)])
    assert not case.wrong and settled.wrong
    assert case.loss == pytest.approx(-np.log(sum(case.source.belief[v] for v in both))) and case.loss < settled.loss


def test_photos_without_a_lift_or_with_two_heads_make_no_pair():
    assert not pairs_of(cases([photo(None, "none", "none", 0.9)] * 2))
    assert not cases([photo(1, "none", "none", 0.9, heads=2)])
