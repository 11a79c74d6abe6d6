"""What another ordering bar would confirm, on photos whose right answers are known by hand."""

import pytest

from classifier.model import Model
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.decision import Standing, decide
from tests.guidance.lifts import HUNG_TOP
from tests.training.test_scores import NO_GENERATION, photo, said, truth
from training.evaluate.bars import BARS, PARTS, bar_figures, with_bar

HEAD_BOX = (0.1, 0.1, 0.7, 0.7)


@pytest.fixture(scope="module")
def toy(toy_model_dir) -> Model:
    return Model.load(toy_model_dir)


@pytest.mark.parametrize("bar", BARS)
def test_its_costs_agree_with_a_bar(bar: float):
    costs = with_bar(load(DEMO_CATALOGUE), bar).decision.control_box
    just_over, just_under = (Standing(True, "a", bar + step, frozenset("a"), 1.0) for step in (1e-4, -1e-4))
    assert decide(just_over, costs) == "confirmed" and decide(just_under, costs) != "confirmed"


def test_the_demo_s_costs_and_bars_agree():
    catalogue = load(DEMO_CATALOGUE)
    for part in PARTS:
        costs = getattr(catalogue.decision, part)
        agreed = getattr(with_bar(catalogue, costs.ordering_bar).decision, part)
        assert agreed.wrong_action_min == pytest.approx(costs.wrong_action_min)


def test_a_lower_bar_confirms_more_and_a_wrong_one_is_counted(toy: Model):
    right, wrong, doubtful = (
        photo((truth("control_box", values),), (said("control_box", HUNG_TOP, sure=sure),))
        for values, sure in ((HUNG_TOP, 0.9999), (NO_GENERATION, 0.9999), (HUNG_TOP, 0.93))
    )
    found = bar_figures([right, wrong, doubtful], load(DEMO_CATALOGUE), toy)
    counts = {bar: (row["all"]["boxes_wrong"]["hits"], row["all"]["boxes_wrong"]["n"]) for bar, row in found.items()}
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
    found = bar_figures(photos, catalogue, toy)[str(catalogue.decision.actuator.ordering_bar)]
    told = sum(each.answer.actuator.decision == "confirmed" for each in photos)
    assert found["fair"]["actuators_confirmed"]["hits"] == told and 0 < told < len(photos)
