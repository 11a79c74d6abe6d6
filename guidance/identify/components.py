"""From sources to the two components of the answer: probabilities, set, verdict, reasons and contradictions."""

import math
from collections.abc import Collection, Sequence
from typing import Any

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import DecisionCosts
from guidance.documents.answer import Actuator, ControlBox
from guidance.identify.contradictions import conflicts_in, named, reasons
from guidance.identify.decision import Standing, decide, reason_held_back
from guidance.identify.evidence import Evidence, Posterior, posterior
from guidance.identify.heard import heard
from guidance.identify.sources import Source, likely_set


def control_box(evidence: Evidence, catalogue: Catalogue) -> ControlBox:
    """Conclude which generation the control box is."""
    about = evidence.about([f for f in evidence.now.hypotheses.features if f != "lowering"])
    favourite = max(evidence.now.generation, key=evidence.now.generation.__getitem__)
    wanted = {}
    if favourite != UNLISTED:
        wanted = {c: getattr(catalogue.generations_by_id[favourite], c) for c in CONTROL_BOX_CONCEPTS}
    document = _conclude(evidence, about, "generation", favourite, wanted, (), (), catalogue)
    return ControlBox(generation=_given(document), **document)


def actuator(evidence: Evidence, catalogue: Catalogue) -> Actuator:
    """Conclude which lowering mechanism the actuator has; one that every source leaves open stays in the set.

    So a photo whose own prediction set holds two mechanisms keeps both until another source rules one out.
    """
    about = evidence.about(("lowering",))
    favourite = max(evidence.now.lowering, key=evidence.now.lowering.__getitem__)
    own = heard("lowering", CONCEPTS["lowering"], about)
    wanted = {"lowering": favourite}
    document = _conclude(evidence, about, "lowering", favourite, wanted, own.left_open, own.by_word, catalogue)
    return Actuator(lowering=_given(document), **document)


def _conclude(
    evidence: Evidence,
    about: list[Source],
    what: str,
    favourite: str,
    wanted: dict[str, str],
    left_open: Collection[str],
    by_word: Collection[str],
    catalogue: Catalogue,
) -> dict[str, Any]:
    """Fill the fields that both components share. `what` is "generation" or "lowering".

    `wanted` are the favourite's features. `left_open` are values that stay in the set whatever their probability,
    `by_word` some that stand against confirming alone. The set is the smallest that reaches the coverage. A
    contradiction widens it by the sets that remain when each of its sources in turn is right and those against it are
    left out; the verdict rests on the favourite's lowest probability when any one is left out, not a correction.
    """
    costs: DecisionCosts = catalogue.decision.control_box if what == "generation" else catalogue.decision.actuator
    conflicts = conflicts_in(about, catalogue)
    probabilities = getattr(evidence.now, what)
    opposed = [(s, conflict) for conflict in conflicts for s in conflict.sources]
    taken_right = [getattr(_without(conflict.against(s), evidence), what) for s, conflict in opposed]
    left_out = [getattr(_without((s,), evidence), what) for s, _ in opposed if not s.correction]
    values = frozenset(left_open).union(*(likely_set(p, evidence.coverage) for p in (probabilities, *taken_right)))
    standing = Standing(
        seen=bool(about),
        favourite=favourite,
        lowest=min(p[favourite] for p in (probabilities, *left_out)),
        values=values.union(by_word),
        feature_belief=math.prod(_belief(f, value, about) for f, value in wanted.items()) if wanted else 0.0,
    )
    return {
        "decision": decide(standing, costs),
        "held_back": reason_held_back(standing, costs),
        "favourite": favourite if about else None,
        "probabilities": probabilities,
        "values": tuple(sorted((v for v in probabilities if v in values), key=lambda v: -probabilities[v])),
        "because": reasons([s for f in dict.fromkeys(s.feature for s in about) for s in _counting(f, evidence)]),
        "contradictions": tuple(named(c, catalogue) for c in conflicts),
    }


def _without(left_out: Sequence[Source], evidence: Evidence) -> Posterior:
    return posterior([s for s in evidence.sources if s not in left_out], evidence.now.hypotheses)


def _counting(feature: str, evidence: Evidence) -> tuple[Source, ...]:
    return heard(feature, evidence.now.hypotheses.features[feature], evidence.sources).sources


def _belief(feature: str, value: str, about: Sequence[Source]) -> float:
    """Give the probability of a feature's value from its own sources alone, every value equally likely before."""
    values = CONCEPTS[feature]
    message = heard(feature, values, about).likelihood
    return float(message[values.index(value)] / message.sum())


def _given(document: dict[str, Any]) -> str | None:
    return document["favourite"] if document["decision"] in ("confirmed", "likely") else None
