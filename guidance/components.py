"""From sources to the two components of the answer: probabilities, set, verdict, reasons and contradictions."""

from collections.abc import Sequence

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.answer_model import Actuator, ControlBox
from guidance.catalogue import Catalogue
from guidance.catalogue_model import DecisionCosts
from guidance.contradictions import Conflict, conflicts_in, named, reasons
from guidance.decision import Standing, decide
from guidance.evidence import Evidence, Posterior, Source, active, combined, likely_set, posterior


def control_box(evidence: Evidence, catalogue: Catalogue) -> ControlBox:
    """Conclude which generation the control box is."""
    about = evidence.about([f for f in evidence.now.hypotheses.features if f != "lowering"])
    favourite = max(evidence.now.generation, key=evidence.now.generation.__getitem__)
    wanted = {}
    if favourite != UNLISTED:
        wanted = {c: getattr(catalogue.generations_by_id[favourite], c) for c in CONTROL_BOX_CONCEPTS}
    document = _conclude(evidence, about, "generation", favourite, wanted, frozenset(), catalogue)
    return ControlBox(generation=_given(document), **document)


def actuator(evidence: Evidence, catalogue: Catalogue) -> Actuator:
    """Conclude which lowering mechanism the actuator has; one that every source leaves open stays in the set.

    So a photo whose own prediction set holds two mechanisms keeps both until another source rules one out.
    """
    about = evidence.about(("lowering",))
    favourite = max(evidence.now.lowering, key=evidence.now.lowering.__getitem__)
    left_open = frozenset(CONCEPTS["lowering"]).intersection(*(s.left_open for s in active("lowering", about)))
    document = _conclude(evidence, about, "lowering", favourite, {"lowering": favourite}, left_open, catalogue)
    return Actuator(lowering=_given(document), **document)


def _conclude(
    evidence: Evidence,
    about: list[Source],
    what: str,
    favourite: str,
    wanted: dict[str, str],
    left_open: frozenset[str],
    catalogue: Catalogue,
) -> dict:
    """Fill the fields that both components share; `what` is "generation" or "lowering", `wanted` the favourite's features.

    The set is the smallest that reaches the coverage. A contradiction widens it to the union of the sets that remain
    when one of the contradicting sources in turn is left out.
    """
    costs: DecisionCosts = catalogue.decision.control_box if what == "generation" else catalogue.decision.actuator
    conflicts = conflicts_in(about)
    posteriors = [getattr(p, what) for p in (evidence.now, *_left_out(evidence, conflicts))]
    values = left_open.union(*(likely_set(p, evidence.coverage) for p in posteriors))
    standing = Standing(
        seen=bool(about),
        favourite=favourite,
        lowest=min(p[favourite] for p in posteriors),
        values=values,
        feature_belief=min((_belief(feature, value, about) for feature, value in wanted.items()), default=0.0),
    )
    probabilities = posteriors[0]
    return {
        "decision": decide(standing, costs),
        "favourite": favourite if about else None,
        "probabilities": probabilities,
        "values": tuple(sorted(values, key=lambda v: -probabilities[v])),
        "because": reasons([s for f in dict.fromkeys(s.feature for s in about) for s in active(f, about)]),
        "contradictions": tuple(named(c, catalogue) for c in conflicts),
    }


def _left_out(evidence: Evidence, conflicts: Sequence[Conflict]) -> list[Posterior]:
    contradicting = [s for conflict in conflicts for s in conflict.sources]
    return [
        posterior([s for s in evidence.sources if s is not left_out], evidence.now.hypotheses)
        for left_out in contradicting
    ]


def _belief(feature: str, value: str, about: Sequence[Source]) -> float:
    """Give the probability of a feature's value from its own sources alone, every value equally likely before."""
    values = CONCEPTS[feature]
    message = combined(feature, values, about)
    return float(message[values.index(value)] / message.sum())


def _given(document: dict) -> str | None:
    return document["favourite"] if document["decision"] in ("confirmed", "likely") else None
