"""What another ordering threshold would confirm, on photos whose right answers are known by hand."""

import pytest

from classifier.model import Model
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.decision import Standing, decide
from tests.guidance.lifts import HUNG_TOP
from tests.support.judged import NO_GENERATION, photo, said, truth
from training.evaluate.thresholds import PARTS, THRESHOLDS, chosen_thresholds, threshold_figures, with_threshold

HEAD_BOX = (0.1, 0.1, 0.7, 0.7)


@pytest.fixture(scope="module")
def toy(toy_model_dir) -> Model:
    return Model.load(toy_model_dir)


@pytest.mark.parametrize("least", THRESHOLDS)
def test_its_costs_agree_with_a_threshold(least: float):
    costs = with_threshold(load(DEMO_CATALOGUE), least).decision.control_box
    just_over, just_under = (Standing(True, "a", least + step, frozenset("a"), 1.0) for step in (1e-4, -1e-4))
    assert decide(just_over, costs) == "confirmed" and decide(just_under, costs) != "confirmed"


def test_the_demo_s_costs_and_bars_agree():
    catalogue = load(DEMO_CATALOGUE)
    for part in PARTS:
        costs = getattr(catalogue.decision, part)
        agreed = getattr(with_threshold(catalogue, costs.ordering_threshold).decision, part)
        assert agreed.wrong_action_min == pytest.approx(costs.wrong_action_min)


def test_a_lower_threshold_confirms_more_and_a_wrong_one_is_counted(toy: Model):
    right, wrong, doubtful = (
        photo((truth("control_box", values),), (said("control_box", HUNG_TOP, sure=sure),))
        for values, sure in ((HUNG_TOP, 0.9999), (NO_GENERATION, 0.9999), (HUNG_TOP, 0.93))
    )
    found = threshold_figures([right, wrong, doubtful], load(DEMO_CATALOGUE), toy)
    wrong = {least: row["all"]["boxes_wrong"] for least, row in found.items()}
    counts = {least: (row["hits"], row["n"]) for least, row in wrong.items()}
    assert counts["0.995"] == (1, 2) and counts["0.95"] == (1, 3)
    confirmed = [row["all"]["listed_boxes_confirmed"]["hits"] for row in found.values()]
    assert confirmed == sorted(confirmed, reverse=True)
    expected = [row["expected_wrong"]["control_box"] for row in found.values()]
    assert expected == sorted(expected, reverse=True) and 0 < expected[-1] < 0.005
    assert all(row["expected_wrong"]["actuator"] is None for row in found.values())


def test_at_the_catalogue_s_own_bar_it_is_what_people_are_told(toy: Model):
    catalogue = load(DEMO_CATALOGUE)
    photos = [
        photo((truth("actuator_head", {"lowering": "squeeze_tabs"}, box=HEAD_BOX),),
              (said("actuator_head", {"lowering": "squeeze_tabs"}, HEAD_BOX, sure=sure),))
        for sure in (0.9, 0.97, 0.985, 0.995, 0.9999)
    ]  # fmt: skip
    found = threshold_figures(photos, catalogue, toy)[str(catalogue.decision.actuator.ordering_threshold)]
    told = sum(each.answer.actuator.decision == "confirmed" for each in photos)
    assert found["fair"]["actuators_confirmed"]["hits"] == told and 0 < told < len(photos)


def _figures(wrong: dict[float, tuple[int, int]], fair: dict[float, int]) -> dict:
    """Invented counts of both parts by threshold: wrong of confirmed ones, and fair ones confirmed of 500."""
    found = {}
    for least in THRESHOLDS:
        hits, n = wrong[least]
        all_of = {"hits": hits, "n": n}
        fair_of = {"hits": fair[least], "n": 500}
        found[str(least)] = {
            "all": {"boxes_wrong": all_of, "actuators_wrong": all_of},
            "fair": {"listed_boxes_confirmed": fair_of, "actuators_confirmed": fair_of},
        }
    return found


def test_one_wrong_lowering_action_outweighs_what_a_wrong_box_does_not():
    """The lower threshold confirms 250 more, one of all wrongly: worth it for boxes (200), not for heads (333)."""
    wrong = {least: (1, 600) if least < 0.99 else (0, 300) for least in THRESHOLDS}
    fair = {least: 450 if least < 0.99 else 200 for least in THRESHOLDS}
    chosen = chosen_thresholds(_figures(wrong, fair))
    assert chosen["control_box"]["threshold"] == 0.985 and chosen["actuator"]["threshold"] == 0.998
    assert chosen["control_box"]["wrong"] == {"hits": 1, "n": 600}


def test_where_nothing_is_won_the_highest_threshold_stays():
    wrong = dict.fromkeys(THRESHOLDS, (3, 30))
    chosen = chosen_thresholds(_figures(wrong, dict.fromkeys(THRESHOLDS, 10)))
    assert {row["threshold"] for row in chosen.values()} == {THRESHOLDS[-1]}
