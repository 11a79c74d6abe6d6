"""The one photo or question that is worth most now: the most expected information per minute of effort.

One component is asked about at a time, so that nobody is sent back and forth: with somebody in the sling the actuator
first; otherwise what evidence leaves undecided, then the control box, then the actuator, each until it is settled. The
information is the expected fall, in bits, of the entropy of that component's probabilities. A photo not yet taken is
assumed to show each concept with the catalogue's chance, and to be read rightly with `next_step.reading_accuracy`; each
photo that failed to settle a concept leaves `next_step.repeat_visibility` of the chance that another one does. What a
person has answered or corrected is not asked again; another question about the same look only for what it adds, and not
at all of somebody who has named the value.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import PERSON_IN_SLING, Observation, Role, View
from guidance.documents.answer import Next, Verdict
from guidance.identify.evidence import Evidence, posterior
from guidance.identify.sources import Observed, answer_source

SETTLED: tuple[Verdict, ...] = ("confirmed", "unlisted")
"""Verdicts that another question would not change."""


LOOK_AT_PHOTO = 0.3
"""What is left of a question's effort when a photo that is there shows the answer: nobody walks to the lift. Chosen."""


BEGUN = 0.1
"""Evidence about a component has begun once a source says this much (`Source.information`)."""


@dataclass(frozen=True)
class Candidate:
    """Something that could be asked, with what it is expected to tell and to cost."""

    row: Observation | View
    gain_bits: float
    effort_min: float
    opens: Observation | None = None


def next_step(
    evidence: Evidence,
    observations: Sequence[Observed],
    verdicts: Mapping[str, Verdict],
    catalogue: Catalogue,
    role: Role,
    shown: Collection[str] = (),
) -> Next | None:
    """Choose what to ask this role next; None when nothing that can be asked would change the advice.

    `verdicts` holds those of "generation" and of "lowering", `shown` the subjects that the photos show.
    """
    answers = {o.id: o.answer for o in observations}
    named = _named(observations, catalogue, role)
    for component in _order(evidence, verdicts, answers):
        candidates = _candidates(evidence, component, answers, catalogue, role, named, shown=shown)
        worth_asking = [c for c in candidates if c.gain_bits >= catalogue.next_step.least_gain_bits]
        if worth_asking:
            best = max(worth_asking, key=lambda c: c.gain_bits / c.effort_min)
            return _worded(best, evidence, component, verdicts[component], catalogue)
    return None


def ways_to_tell_mechanism(
    evidence: Evidence, observations: Sequence[Observed], catalogue: Catalogue, role: Role
) -> tuple[Next, ...]:
    """Every question and photo that tells the mechanism while somebody is in the sling, best first."""
    answers = {o.id: o.answer for o in observations} | {PERSON_IN_SLING: "yes"}
    named = _named(observations, catalogue, role)
    found = [
        candidate
        for candidate in _candidates(evidence, "lowering", answers, catalogue, role, named, of="lowering")
        if candidate.gain_bits >= catalogue.next_step.least_gain_bits
    ]
    found.sort(key=lambda c: -c.gain_bits / c.effort_min)
    return tuple(_worded(candidate, evidence, "lowering", "undecided", catalogue) for candidate in found)


def information_bits(evidence: Evidence, component: str, box: np.ndarray, head: np.ndarray) -> float:
    """Give the expected fall in entropy of a component's probabilities.

    `box` (H, O) holds P(outcome | hypothesis) of what is seen of the box, `head` (M, L) that of the actuator.
    """
    hypotheses, weights = evidence.now.hypotheses, evidence.now.weights  # (H, M)
    if component == "generation":
        member = np.equal.outer(np.arange(len(hypotheses.groups)), hypotheses.group).astype(float)  # (G, H)
        joint = np.stack([(member * column) @ box for column in (weights @ head).T])  # (L, G, O)
    else:
        joint = (box.T @ weights)[:, :, np.newaxis] * head[np.newaxis, :, :]  # (O, M, L)
    before, outcome = joint.sum(axis=(0, 2)), joint.sum(axis=1)
    return max(0.0, _entropy_bits(before) + _entropy_bits(outcome) - _entropy_bits(joint))


def _entropy_bits(p: np.ndarray) -> float:
    positive = p[p > 0.0]
    return float(-(positive * np.log2(positive)).sum())


def _order(evidence: Evidence, verdicts: Mapping[str, Verdict], answers: Mapping[str, str]) -> list[str]:
    """Put the components that are not settled in the order in which they are asked about."""
    unsettled = [c for c in ("generation", "lowering") if verdicts[c] not in SETTLED]
    if answers.get(PERSON_IN_SLING) == "yes":
        return unsettled[::-1]
    begun = {
        "lowering" if s.feature == "lowering" else "generation" for s in evidence.sources if s.information >= BEGUN
    }
    return sorted(unsettled, key=lambda c: verdicts[c] != "undecided" or c not in begun)


def _candidates(
    evidence: Evidence,
    component: str,
    answers: Mapping[str, str],
    catalogue: Catalogue,
    role: Role,
    named: Collection[tuple[str | None, str | None]],
    of: str | None = None,
    shown: Collection[str] = (),
) -> Iterator[Candidate]:
    """Everything that could be asked about a component; with `of` only what shows or is about that feature itself."""
    for view in catalogue.views:
        if role in view.effort_min and (of is None or of in view.visible):
            gain = information_bits(evidence, component, *_photographed(view, evidence, catalogue))
            yield Candidate(view, gain, view.effort_min[role])
    for row in catalogue.questions:
        if row.about is None or row.id in answers or row.about in answers or role not in row.effort_min:
            continue
        if of not in (None, row.about) or (row.about, row.look) in named:
            continue
        gain, effort = _question_bits(row, evidence, component, role), row.effort_min[role]
        effort *= LOOK_AT_PHOTO if row.shown_by in shown else 1.0
        unmet = [catalogue.observations_by_id[i] for i, wanted in row.needs.items() if answers.get(i) != wanted]
        if not unmet:
            yield Candidate(row, gain, effort)
        elif len(unmet) == 1 and unmet[0].id not in answers and role in unmet[0].effort_min:
            gate, chance = unmet[0], 1.0 / len(unmet[0].options)  # nothing is known of the situation before it is asked
            yield Candidate(gate, chance * gain, gate.effort_min[role] + chance * effort, opens=row)


def _named(observations: Sequence[Observed], catalogue: Catalogue, role: Role) -> set[tuple[str | None, str | None]]:
    """Feature and look of every question in whose answer whoever is asked named the feature's value outright."""
    asked = Observed("", "", role).witness
    told = [(catalogue.observations_by_id.get(o.id), o) for o in observations if o.by is None or o.witness == asked]
    return {(row.about, row.look) for row, o in told if row is not None and o.answer in row.reliability}


def _question_bits(row: Observation, evidence: Evidence, component: str, role: Role) -> float:
    """Give the expected fall in entropy by a question; one about a look that was answered on tells only what is new."""
    look = answer_source(row, Observed(row.id, next(iter(row.options)), role)).look
    if all(source.look != look or source.feature != row.about for source in evidence.sources):
        return information_bits(evidence, component, *_answered(row, evidence))
    now = evidence.now
    box, head = _answered(row, evidence)
    chances = np.einsum("hm,ho,ml->ol", now.weights, box, head).ravel()  # (O,): one of the two factors has one column
    after = [
        posterior((*evidence.sources, answer_source(row, Observed(row.id, answer, role))), now.hypotheses)
        for answer in row.options
    ]
    left = [_entropy_bits(np.array(list(getattr(p, component).values()))) for p in after]
    return max(0.0, _entropy_bits(np.array(list(getattr(now, component).values()))) - float(chances @ left))


def _answered(row: Observation, evidence: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """Give P(answer | hypothesis) of a question as the two factors that `information_bits` takes."""
    feature = row.about or ""
    values = evidence.now.hypotheses.features[feature]
    table = np.array([[row.reliability[v][a] for a in row.options] for v in values])  # (V, A)
    return _factors({feature: table}, evidence)


def _photographed(view: View, evidence: Evidence, catalogue: Catalogue) -> tuple[np.ndarray, np.ndarray]:
    """Give P(readings | hypothesis) of a photo; each concept is read independently as a value or as not visible."""
    assumed = catalogue.next_step
    tables = {}
    for concept, chance in view.visible.items():
        failed = sum(1.0 - s.information for s in evidence.sources if s.feature == concept and s.observed is None)
        corrected = any(s.correction for s in evidence.sources if s.feature == concept)
        visible = 0.0 if corrected else chance * assumed.repeat_visibility**failed
        count = len(CONCEPTS[concept])
        wrong = (1.0 - assumed.reading_accuracy) / (count - 1)
        read = np.full((count, count), wrong)
        np.fill_diagonal(read, assumed.reading_accuracy)
        tables[concept] = np.hstack([visible * read, np.full((count, 1), 1.0 - visible)])  # (V, V + 1)
    return _factors(tables, evidence)


def _factors(tables: Mapping[str, np.ndarray], evidence: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """Turn P(outcome | value) of some features into (H, O) for the box and (M, L) for the actuator."""
    hypotheses = evidence.now.hypotheses
    of_box = [t[hypotheses.value_index[f]] for f, t in tables.items() if f != "lowering"]
    rows, columns = hypotheses.prior.shape
    box = reduce(lambda a, b: (a[:, :, np.newaxis] * b[:, np.newaxis, :]).reshape(rows, -1), of_box, np.ones((rows, 1)))
    return box, tables.get("lowering", np.ones((columns, 1)))


def _worded(best: Candidate, evidence: Evidence, component: str, verdict: Verdict, catalogue: Catalogue) -> Next:
    options = dict(best.row.options) if isinstance(best.row, Observation) else {}
    return Next(
        kind="question" if isinstance(best.row, Observation) else "photo",
        id=best.row.id,
        ask=best.row.ask,
        why=_why(best, evidence, component, verdict, catalogue),
        answers=options,
        expected_gain_bits=best.gain_bits,
        effort_min=best.effort_min,
    )


def _why(best: Candidate, evidence: Evidence, component: str, verdict: Verdict, catalogue: Catalogue) -> str:
    """Say what the answer would tell apart: the two values that are likeliest now."""
    thing = {"generation": "control box", "lowering": "lowering mechanism"}[component]
    if best.opens is not None:
        return f"With nobody in it, one look could tell more about the {thing}."
    if verdict == "not_seen":
        return f"Nothing shows the {thing} yet."
    probabilities = getattr(evidence.now, component)
    first, second = sorted(probabilities, key=lambda v: -probabilities[v])[:2]
    names = {g.id: g.name for g in catalogue.generations} | {m.id: m.name for m in catalogue.mechanisms}
    called = [f"'{names[v]}'" if v != UNLISTED else "a box that is not listed" for v in (first, second)]
    return f"It helps to tell {called[0]} from {called[1]}."
