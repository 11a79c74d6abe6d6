"""From what is known of a case to the probability of every fault, step by step in the order of doing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import LAST_RESORT, Repair, Symptom
from guidance.diagnose.fault_network import GENERATION, generation_prior
from guidance.diagnose.inference import Space
from guidance.documents.case import SKIPPED, STILL, UNSURE, WORKS, Case

CONTRADICTION_RATIO = 4.0
"""Two findings that come together this many times more rarely than by chance contradict.

Jensen's conflict measure of 2 bits (from memory); the ratio is a choice, not a measurement.
"""


MOST_LOOKS = 3
"""A check that contradicts is proposed again, but not more often than this."""


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
    case: Case, catalogue: Catalogue, generation_likelihood: np.ndarray, electric_findings: Mapping[str, str]
) -> Diagnosis:
    """Posterior over combinations of faults, for a case with a symptom. `generation_likelihood`: the node's states."""
    space, symptom = catalogue.fault_space, catalogue.symptoms_by_id[case.symptom]
    known = {context: answer for context, answer in case.context.items() if answer != UNSURE}
    base = space.believe({GENERATION: generation_likelihood, **known})
    open_contexts = [row.id for row in catalogue.contexts if row.id not in case.context]
    rows = np.vstack([base.over_causes, *(base.with_context(context) for context in open_contexts)])
    for finding, outcome in symptom.findings.items():
        rows = rows * space.column(finding, outcome)
    rows /= rows[0].sum()
    fold = _Fold(rows, rows[0])
    for stretch, repair, outcome in _stretches(case, catalogue, electric_findings):
        _fold_findings(fold, stretch, symptom.findings, catalogue)
        fold.works = fold.works and not _trouble_found(stretch, symptom, catalogue)
        if repair is not None:
            _fold_repair(fold, repair, outcome, symptom.gone, catalogue)
    fold.done |= {step.id for step in case.done if step.outcome in (SKIPPED, UNSURE)}
    weights = fold.rows
    by_context, at = {}, 1
    for context in open_contexts:
        answers = len(catalogue.contexts_by_id[context].options)
        by_context[context] = weights[at : at + answers]
        at += answers
    done, opened = frozenset(fold.done), frozenset(fold.opened)
    return Diagnosis(weights[0], fold.before, by_context, done, opened, tuple(fold.contradictions), fold.works)


def _trouble_found(stretch: list[tuple], symptom: Symptom, catalogue: Catalogue) -> bool:
    """Whether what the complaint is about was found wrong: outcomes run from normal to worst."""
    watched = {symptom.gone, *symptom.findings}
    return any(
        finding in watched and outcome != next(iter(catalogue.findings_by_id[finding].outcomes))
        for _, finding, outcome in stretch
    )


def generation_likelihood(probabilities: Mapping[str, float], catalogue: Catalogue) -> np.ndarray:
    """What an identification says of the generation: its posterior over the fleet's prior; ones when it is empty."""
    names = catalogue.fault_space.network.node(GENERATION).states
    if not probabilities:
        return np.ones(len(names))
    return np.array([probabilities.get(name, 0.0) for name in names]) / generation_prior(catalogue)


def fault_probabilities(space: Space, weights: np.ndarray) -> np.ndarray:
    """Probability (faults,) that each fault is there, in the order of the network's causes."""
    return weights @ space.hypotheses


def component_probabilities(catalogue: Catalogue, weights: np.ndarray) -> dict[str, float]:
    """Probability of each component that at least one of its faults is there, likeliest first."""
    found = catalogue.component_masks @ weights
    order = np.argsort(-found, kind="stable")
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


def _stretches(case: Case, catalogue: Catalogue, electric: Mapping[str, str]) -> Iterable[tuple]:
    """Findings between two repairs belong together: nothing changed meanwhile. Yields (findings, repair, outcome)."""
    stretch: list[tuple[str, str, str]] = []
    for step in case.done:
        if step.id in catalogue.checks_by_id:
            if step.outcome not in (SKIPPED, UNSURE):
                stretch.append((step.id, catalogue.checks_by_id[step.id].finding, step.outcome))
        elif step.outcome != SKIPPED:
            yield stretch, catalogue.repairs_by_id[step.id], step.outcome
            stretch = []
    measured = {check.finding: check.id for check in catalogue.checks}
    stretch += [(measured.get(finding, finding), finding, outcome) for finding, outcome in electric.items()]
    yield stretch, None, ""


def _fold_findings(fold: _Fold, stretch: list[tuple], complaint: Mapping[str, str], catalogue: Catalogue) -> None:
    usable, texts = _without_contradictions(fold.rows[0], stretch, {} if fold.done else complaint, catalogue)
    fold.contradictions += texts
    for check, finding, outcome in usable:
        rows = fold.rows * catalogue.fault_space.column(finding, outcome)
        _condition(fold, rows, _words(catalogue, finding, outcome))
        fold.done.add(check)
        area = catalogue.checks_by_id[check].area if check in catalogue.checks_by_id else None
        fold.opened |= {area} - {None}
    asked = [check for check, _, _ in stretch]
    fold.done |= {check for check in asked if asked.count(check) >= MOST_LOOKS}


def _fold_repair(fold: _Fold, repair: Repair, outcome: str, gone: str, catalogue: Catalogue) -> None:
    """What stays after a repair: the faults that it does not mend, and the trouble unless it is said to be gone."""
    works, still = tried(catalogue.fault_space, fold.rows, repair, gone)
    rows = {WORKS: works, STILL: still, UNSURE: works + still}[outcome]
    _condition(fold, rows, f"{repair.text} {outcome}")
    fold.done.add(repair.id)
    fold.opened |= {repair.area} - {None}
    fold.works = outcome == WORKS


def _condition(fold: _Fold, rows: np.ndarray, words: str) -> None:
    """Take over what is left after one more thing was found; what leaves nothing is named and set aside."""
    total = rows[0].sum()
    fold.before = fold.rows[0]
    if total > 0:
        fold.rows = rows / total
    else:
        fold.contradictions.append(f"“{words}” cannot be, with all that was found before. Look again.")


def _without_contradictions(
    weights: np.ndarray, stretch: list[tuple], complaint: Mapping[str, str], catalogue: Catalogue
) -> tuple[list[tuple], list[str]]:
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
