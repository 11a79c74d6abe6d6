"""What would be confirmed, and how much of it wrongly, were the catalogue's ordering bar another."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from classifier.model import Model
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import DecisionCosts
from guidance.identify.components import actuator, control_box
from guidance.identify.evidence import Evidence, evidence_of
from training.evaluate.scores import Judged, confirmed_figures, fair_ones

BARS = (0.95, 0.97, 0.98, 0.985, 0.99, 0.995)
PARTS = ("control_box", "actuator")


def bar_figures(photos: Sequence[Judged], catalogue: Catalogue, model: Model) -> dict:
    """For each bar, with costs that agree with it, what is confirmed of all and of the fair photos; no other bar moves.

    `expected_wrong` is the share of wrong ones among the confirmed that their own probabilities promise, None where
    nothing is. Choose a bar on photos that are not reported on.
    """
    weighed = [evidence_of([photo.reading], [], catalogue, model.facts, model.info.coverage) for photo in photos]
    found = {}
    for bar in BARS:
        other = with_bar(catalogue, bar)
        told = [_answered(photo, evidence, other) for photo, evidence in zip(photos, weighed, strict=True)]
        found[str(bar)] = {
            "all": confirmed_figures(told, catalogue),
            "fair": confirmed_figures(fair_ones(told), catalogue),
            "expected_wrong": {part: _expected_wrong(told, part) for part in PARTS},
        }
    return found


def with_bar(catalogue: Catalogue, bar: float) -> Catalogue:
    """The same catalogue with this ordering bar, a wrong action as dear as makes it worth while from there on."""
    decision = {part: _costs(getattr(catalogue.decision, part), bar) for part in PARTS}
    return catalogue.model_copy(update={"decision": catalogue.decision.model_copy(update=decision)})


def _costs(costs: DecisionCosts, bar: float) -> DecisionCosts:
    worth_while = costs.wrong_lead_min + costs.question_min / (1 - bar)
    return costs.model_copy(update={"ordering_bar": bar, "wrong_action_min": worth_while})


def _answered(photo: Judged, evidence: Evidence, catalogue: Catalogue) -> Judged:
    parts = {"control_box": control_box(evidence, catalogue), "actuator": actuator(evidence, catalogue)}
    return replace(photo, answer=photo.answer.model_copy(update=parts))


def _expected_wrong(photos: Sequence[Judged], part: str) -> float | None:
    answers = [getattr(photo.answer, part) for photo in photos]
    wrong = [1 - a.probabilities[a.favourite] for a in answers if a.decision == "confirmed"]
    return float(np.mean(wrong)) if wrong else None
