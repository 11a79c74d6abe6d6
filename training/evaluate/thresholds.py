"""What would be confirmed, and how much of it wrongly, were the catalogue's ordering threshold another."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from classifier.model import Model
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import DecisionCosts
from guidance.identify.components import actuator, control_box
from guidance.identify.evidence import Evidence, evidence_of
from training.evaluate.scores import Judged, confirmed_figures, fair_ones

THRESHOLDS = (0.95, 0.97, 0.98, 0.985, 0.99, 0.995, 0.998)
PARTS = ("control_box", "actuator")
OUTWEIGHED_BY_ONE_WRONG = {"control_box": 200, "actuator": 333}
"""Right confirmations that one wrong one costs as much as: so a part is confirmed wrongly once in 200 at most, and a
lowering mechanism, by which somebody comes down, once in 333."""
_FIGURES_OF = {
    "control_box": ("boxes_wrong", "listed_boxes_confirmed"), "actuator": ("actuators_wrong", "actuators_confirmed"),
}  # fmt: skip


def threshold_figures(photos: Sequence[Judged], catalogue: Catalogue, model: Model) -> dict:
    """For each threshold, with costs that agree with it, what is confirmed of all and of the fair photos.

    `expected_wrong` is the share of wrong ones among the confirmed that their own probabilities promise, None where
    nothing is. Choose one on photos that are not reported on.
    """
    weighed = [evidence_of([photo.reading], [], catalogue, model.facts, model.info.coverage) for photo in photos]
    found = {}
    for least in THRESHOLDS:
        other = with_threshold(catalogue, least)
        told = [_answered(photo, evidence, other) for photo, evidence in zip(photos, weighed, strict=True)]
        found[str(least)] = {
            "all": confirmed_figures(told, catalogue),
            "fair": confirmed_figures(fair_ones(told), catalogue),
            "expected_wrong": {part: _expected_wrong(told, part) for part in PARTS},
        }
    return found


def chosen_thresholds(figures: dict) -> dict[str, dict]:
    """For each part the threshold by which most is won on these photos, and what it confirms; `figures` as above.

    What is won are the right confirmations of fair photos less what the wrong ones of all photos outweigh. Half a wrong
    one is added to those that were met, since none met is not none to come. Of equals the highest is taken. For photos
    that calibration may look at: nothing chosen here may be reported on them.
    """
    return {part: _chosen(figures, part) for part in PARTS}


def _chosen(figures: dict, part: str) -> dict:
    wrong_of, confirmed_of = _FIGURES_OF[part]
    rows = []
    for least in THRESHOLDS:
        row = figures[str(least)]
        wrong, fair = row["all"][wrong_of], row["fair"][confirmed_of]
        expected = (wrong["hits"] + 0.5) / (wrong["n"] + 1) * wrong["n"]
        rows.append((fair["hits"] - OUTWEIGHED_BY_ONE_WRONG[part] * expected, least, wrong, fair))
    won, least, wrong, fair = max(rows, key=lambda row: row[:2])
    return {"threshold": least, "won": round(won, 1), "wrong": wrong, "fair_confirmed": fair}


def with_threshold(catalogue: Catalogue, least: float) -> Catalogue:
    """The same catalogue with this ordering threshold, a wrong action as dear as makes it worth while from there on."""
    decision = {part: _costs(getattr(catalogue.decision, part), least) for part in PARTS}
    return catalogue.model_copy(update={"decision": catalogue.decision.model_copy(update=decision)})


def _costs(costs: DecisionCosts, least: float) -> DecisionCosts:
    worth_while = costs.wrong_lead_min + costs.question_min / (1 - least)
    return costs.model_copy(update={"ordering_threshold": least, "wrong_action_min": worth_while})


def _answered(photo: Judged, evidence: Evidence, catalogue: Catalogue) -> Judged:
    parts = {"control_box": control_box(evidence, catalogue), "actuator": actuator(evidence, catalogue)}
    return replace(photo, answer=photo.answer.model_copy(update=parts))


def _expected_wrong(photos: Sequence[Judged], part: str) -> float | None:
    answers = [getattr(photo.answer, part) for photo in photos]
    wrong = [1 - a.probabilities[a.favourite] for a in answers if a.decision == "confirmed"]
    return float(np.mean(wrong)) if wrong else None
