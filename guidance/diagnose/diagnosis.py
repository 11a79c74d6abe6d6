"""From what is known of a case to the probability of every fault, step by step in the order of doing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from classifier.messages import Message
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_network import GENERATION, generation_prior
from guidance.catalogue.fault_rows import LAST_RESORT, Repair
from guidance.diagnose.found_signs import not_now
from guidance.documents.case import SKIPPED, STILL, UNSURE, WORKS, Case, complaint_of
from guidance.network.inference import Space

CONTRADICTION_RATIO = 4.0
"""Two findings that come together this many times more rarely than by chance contradict.

Jensen's conflict measure of 2 bits (from memory); the ratio is a choice, not a measurement.
"""


Shown = tuple[str, str, str]
"""The check (or the finding, where a meter showed it), the finding, and its outcome."""

Stretch = tuple[list[Shown], Repair | None, str]
"""What was found between two repairs, the repair that followed, and how it turned out."""

IMPOSSIBLE = 1e-12
"""What is found and was less probable than this could not be found: less is left by rounding, too."""

ALIKE = 12
"""Probabilities that agree in so many decimals are the same: their rows keep the catalogue's order on any machine."""

MOST_LOOKS = 3
"""A check that contradicts is proposed again, but not more often than this."""


CANNOT_BE = "“{words}” cannot be, with all that was found before. Look again."
UNEXPLAINED = "Nothing found before explains how this ended the trouble: “{step}” It may come back."


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """weights (H,) sums to 1; by_context[context] (answers, H) is its joint with each open context.

    `before` is the posterior before the last thing found. `done` are steps not to be proposed again, `opened` the areas
    opened so far; `works` says that the last repair ended the trouble.
    """

    weights: np.ndarray
    before: np.ndarray
    by_context: Mapping[str, np.ndarray]
    done: frozenset[str]
    opened: frozenset[str]
    contradictions: tuple[str, ...]
    works: bool


@dataclass
class _Fold:
    """The state while steps are folded in: `rows` (1 + answers of open contexts, H), the first the total."""

    rows: np.ndarray
    before: np.ndarray
    done: set[str] = field(default_factory=set)
    opened: set[str] = field(default_factory=set)
    contradictions: list[str] = field(default_factory=list)
    works: bool = False


def diagnose(
    case: Case,
    catalogue: Catalogue,
    generation_likelihood: np.ndarray,
    electric_findings: Mapping[int, Mapping[str, str]],
) -> Diagnosis:
    """Posterior over combinations of faults, for a case with a symptom. `generation_likelihood`: the node's states.

    `electric_findings[n]`: the outcome of each finding that a meter showed when n of the case's steps were done.
    """
    space, symptom = catalogue.fault_space, catalogue.symptoms_by_id[complaint_of(case)]
    known = tuple((context, answer) for context, answer in case.context.items() if answer != UNSURE)
    open_contexts = tuple(row.id for row in catalogue.contexts if row.id not in case.context)
    rows = space.rows_given(((GENERATION, tuple(generation_likelihood.tolist())), *known), open_contexts)
    complaint = [space.column(finding, outcome) for finding, outcome in symptom.findings.items()]
    rows = rows * np.prod(complaint, axis=0)
    rows /= rows[0].sum()
    fold = _Fold(rows, rows[0])
    for stretch, repair, outcome in _stretches(case, catalogue, electric_findings):
        _fold_findings(fold, stretch, symptom.findings, catalogue)
        if repair is not None:
            _fold_repair(fold, repair, outcome, symptom.gone, catalogue)
    fold.done |= {step.id for step in case.done if step.outcome in (SKIPPED, UNSURE)} | not_now(case, catalogue)
    weights = fold.rows
    by_context, at = {}, 1
    for context in open_contexts:
        answers = len(catalogue.contexts_by_id[context].options)
        by_context[context] = weights[at : at + answers]
        at += answers
    done, opened = frozenset(fold.done), frozenset(fold.opened)
    return Diagnosis(weights[0], fold.before, by_context, done, opened, tuple(fold.contradictions), fold.works)


def generation_likelihood(probabilities: Mapping[str, float], catalogue: Catalogue) -> np.ndarray:
    """What an identification says of the generation: its posterior over the fleet's prior; ones when it is empty."""
    names = catalogue.fault_space.network.node(GENERATION).states
    if not probabilities:
        return np.ones(len(names))
    return np.array([probabilities.get(name, 0.0) for name in names]) / generation_prior(catalogue)


def fault_probabilities(space: Space, weights: np.ndarray) -> np.ndarray:
    """Probability (…, faults) that each fault is there, in the order of the network's causes; weights (…, H)."""
    return weights @ space.has_cause


def component_probabilities(catalogue: Catalogue, weights: np.ndarray) -> dict[str, float]:
    """Probability of each component that at least one of its faults is there, likeliest first."""
    found = catalogue.component_masks @ weights
    order = np.argsort(-found.round(ALIKE), kind="stable")
    return {catalogue.components[i].id: float(found[i]) for i in order}


def tried(space: Space, rows: np.ndarray, repair: Repair, gone: str) -> tuple[np.ndarray, np.ndarray]:
    """What a repair makes of joint probabilities (R, H): those with the trouble gone, and those with it still there.

    The trouble of a lift does not come and go by itself: it can end only with a fault that is mended. With N(h) the
    probability of the normal outcome under h, of the cases that pass from h to h' a share (N(h') - N(h)) / (1 - N(h))
    are rid of it; that is what the noisy-MAX says of the faults that remain.
    """
    normal = space.columns[gone][0]
    trouble = np.maximum(1.0 - normal, 1e-12)
    if repair.kind == LAST_RESORT:
        return rows, np.zeros_like(rows)
    moved = _mended(space, rows / trouble, repair)
    still = moved * trouble
    return np.maximum(_mended(space, rows, repair) - still, 0.0), still


def _mended(space: Space, rows: np.ndarray, repair: Repair) -> np.ndarray:
    """Move probability from hypotheses with a fault to the same without it, as often as the repair mends it."""
    rows = rows.copy()
    for position, node in enumerate(space.cause_nodes):
        mends = repair.mends.get(node.id, 0.0)
        if mends:
            has, without = space.without[position]
            moved = rows[..., has] * mends
            rows[..., has] -= moved
            rows[..., without] += moved
    return rows


def _stretches(case: Case, catalogue: Catalogue, electric: Mapping[int, Mapping[str, str]]) -> Iterable[Stretch]:
    """Findings between two repairs belong together: nothing changed meanwhile. Yields (findings, repair, outcome)."""
    measured = {check.finding: check.id for check in catalogue.checks}
    read = {
        place: [(measured.get(finding, finding), finding, outcome) for finding, outcome in outcomes.items()]
        for place, outcomes in electric.items()
    }
    stretch: list[Shown] = []
    for place, step in enumerate(case.done):
        stretch += read.get(place, [])
        if step.id in catalogue.checks_by_id:
            if step.outcome not in (SKIPPED, UNSURE):
                stretch.append((step.id, catalogue.checks_by_id[step.id].finding, step.outcome))
        elif step.outcome != SKIPPED:
            yield stretch, catalogue.repairs_by_id[step.id], step.outcome
            stretch = []
    stretch += read.get(len(case.done), [])
    yield stretch, None, ""


def _fold_findings(fold: _Fold, stretch: list[Shown], complaint: Mapping[str, str], catalogue: Catalogue) -> None:
    usable, texts = _without_contradictions(fold.rows[0], stretch, {} if fold.done else complaint, catalogue)
    fold.contradictions += texts
    for check, finding, outcome in usable:
        rows = fold.rows * catalogue.fault_space.column(finding, outcome)
        _condition(fold, rows, Message(CANNOT_BE, words=Message(_words(catalogue, finding, outcome))))
        fold.done.add(check)
        area = catalogue.checks_by_id[check].area if check in catalogue.checks_by_id else None
        fold.opened |= {area} if area else set()
    asked = [check for check, _, _ in stretch]
    fold.done |= {check for check in asked if asked.count(check) >= MOST_LOOKS}


def _fold_repair(fold: _Fold, repair: Repair, outcome: str, gone: str, catalogue: Catalogue) -> None:
    """What stays after a repair: the faults that it does not mend, and the trouble unless it is said to be gone."""
    works, still = tried(catalogue.fault_space, fold.rows, repair, gone)
    rows = {WORKS: works, STILL: still, UNSURE: works + still}[outcome]
    told = Message(UNEXPLAINED, step=repair.text) if outcome == WORKS else Message(CANNOT_BE, words=repair.text)
    _condition(fold, rows, told)
    fold.done.add(repair.id)
    fold.opened |= {repair.area} if repair.area else set()
    fold.works = outcome == WORKS


def _condition(fold: _Fold, rows: np.ndarray, told: Message) -> None:
    """Take over what is left after one more thing was found; what leaves nothing is told and set aside."""
    total = rows[0].sum()
    fold.before = fold.rows[0]
    if total > IMPOSSIBLE:
        fold.rows = rows / total
    else:
        fold.contradictions.append(told)


def _without_contradictions(
    weights: np.ndarray, stretch: list[Shown], complaint: Mapping[str, str], catalogue: Catalogue
) -> tuple[list[Shown], list[str]]:
    """Set findings aside that cannot be true together, and name them; they are never averaged."""
    space, aside, texts = catalogue.fault_space, set(), []
    for step in stretch:
        if step[1] in complaint and step[2] != complaint[step[1]]:
            aside.add(step)
            told = _words(catalogue, step[1], complaint[step[1]])
            found = _words(catalogue, *step[1:])
            texts.append(f"The complaint says “{told}”, but then “{found}” was found. Look again.")
    for first, second in combinations([step for step in dict.fromkeys(stretch) if step not in aside], 2):
        columns = [space.column(finding, outcome) for _, finding, outcome in (first, second)]
        alone, together = np.prod([weights @ c for c in columns]), weights @ (columns[0] * columns[1])
        if first[1] == second[1] and first[2] != second[2] or alone > CONTRADICTION_RATIO * together:
            aside |= {first, second}
            said = (_words(catalogue, *step[1:]) for step in (first, second))
            texts.append("“{}” and “{}” can hardly both be true. Look again at both.".format(*said))
    return [step for step in dict.fromkeys(stretch) if step not in aside], texts


def _words(catalogue: Catalogue, finding: str, outcome: str) -> str:
    row = catalogue.findings_by_id[finding]
    return f"{row.name}: {row.outcomes[outcome]}"
