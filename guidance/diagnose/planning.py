"""Which step is worth most now: the diagnosis as a small repair problem for `sequencing.py`, and its answer."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import LAST_RESORT, Check, Context, Repair
from guidance.catalogue.rows import Role
from guidance.diagnose.diagnosis import Diagnosis
from guidance.diagnose.sequencing import NO_AREA, Problem, Situations, look_ahead
from guidance.network.inference import Space
from guidance.safety.sentences import may_do

KEPT_HYPOTHESES = 32
"""Planning weighs the likeliest combinations of faults one by one and the rest together; what is shown is exact."""


LEAST_KEPT = 1e-4
"""A single fault that is less probable counts with the rest."""


@dataclass(frozen=True)
class Choice:
    """The step to take, and expected minutes: with it first, and with the best other step first."""

    step: Check | Repair | Context
    minutes: float
    opening_minutes: float
    expected_minutes: float
    otherwise_minutes: float | None


@dataclass(frozen=True, eq=False)
class Plan:
    """Steps that can be proposed and the problem that they form; `belief` (kept hypotheses + 1) sums to 1."""

    repairs: tuple[Repair, ...]
    questions: tuple[Check | Context, ...]
    problem: Problem
    belief: np.ndarray
    opened: np.ndarray


def choose(
    diagnosis: Diagnosis, catalogue: Catalogue, role: Role, symptom: str, generations: Collection[str]
) -> Choice:
    """The step with the fewest expected minutes until the lift works, after the one that practice puts first."""
    plan = make_plan(diagnosis, catalogue, role, symptom, generations)
    done = np.zeros((1, len(plan.repairs) + len(plan.questions)), bool)
    now = Situations(plan.belief[None, :], done, plan.opened[None, :])
    by_step = look_ahead(plan.problem, now)[1][0]
    rows = (*plan.repairs, *plan.questions)
    settled = catalogue.symptoms_by_id[symptom].first.get(role)
    best = next((i for i, row in enumerate(rows) if row.id == settled), int(by_step.argmin()))
    others = np.delete(by_step, best)
    area = plan.problem.area[best]
    opening = 0.0 if area == NO_AREA or plan.opened[area] else float(plan.problem.area_minutes[area])
    return Choice(
        rows[best],
        float(plan.problem.minutes[best]),
        opening,
        float(by_step[best]),
        float(others.min()) if len(others) else None,
    )


def make_plan(
    diagnosis: Diagnosis, catalogue: Catalogue, role: Role, symptom: str, generations: Collection[str]
) -> Plan:
    """What this role may do on these generations and has not done, as a repair problem."""
    space, complaint = catalogue.fault_space, catalogue.symptoms_by_id[symptom]
    weights = space.by_group(diagnosis.weights).sum(axis=0)  # (H,)
    kept = _kept(space, weights)
    belief = np.append(weights[kept], max(1.0 - weights[kept].sum(), 0.0))
    repairs = tuple(
        row
        for row in catalogue.repairs
        if (row.id not in diagnosis.done or row.kind == LAST_RESORT)
        and may_do(row, role)
        and _fits(row.generations, generations)
    )
    questions = _questions(diagnosis, catalogue, role, symptom, generations)
    shares = _group_shares(space, diagnosis.weights, kept)
    normal = _averaged(space, space.columns[complaint.gone][:1], shares, kept)[0]
    works, leaves = _repair_arrays(space, repairs, kept, normal)
    areas = list(catalogue.fault_model.opening_min)
    index = {None: NO_AREA} | {area: number for number, area in enumerate(areas)}
    problem = Problem(
        np.array([row.minutes[role] for row in repairs]),
        works,
        leaves,
        np.array([row.minutes[role] for row in questions]),
        tuple(_answers(row, diagnosis, space, shares, kept) for row in questions),
        np.array([index[row.area] for row in repairs], dtype=int),
        np.array([index[getattr(row, "area", None)] for row in questions], dtype=int),
        np.array([catalogue.fault_model.opening_min[area] for area in areas]),
    )
    opened = np.array([area in diagnosis.opened for area in areas], dtype=bool)
    return Plan(repairs, questions, problem, belief, opened)


def _questions(
    diagnosis: Diagnosis, catalogue: Catalogue, role: Role, symptom: str, generations: Collection[str]
) -> tuple[Check | Context, ...]:
    complaint = catalogue.symptoms_by_id[symptom].findings
    checks = [
        row
        for row in catalogue.checks
        if row.id not in diagnosis.done
        and may_do(row, role)
        and _fits(row.generations, generations)
        and row.finding not in complaint
        and (not row.symptoms or symptom in row.symptoms)
    ]
    contexts = [row for row in catalogue.contexts if row.id in diagnosis.by_context and role in row.minutes]
    return (*checks, *contexts)


def _fits(listed: Collection[str], possible: Collection[str]) -> bool:
    return not listed or set(possible) <= set(listed)


def _kept(space: Space, weights: np.ndarray) -> np.ndarray:
    """No fault, every single fault that may be, the likeliest combinations; repairs lead out only from the last."""
    count = space.combinations.sum(axis=1)
    few = np.flatnonzero((count == 0) | (count == 1) & (weights >= LEAST_KEPT))
    many = np.flatnonzero(count > 1)
    likeliest = many[np.argsort(-weights[many], kind="stable")[: max(0, KEPT_HYPOTHESES - len(few))]]
    return np.concatenate([few, likeliest])


def _group_shares(space: Space, weights: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """How the weight of each kept combination is spread over the groups of contexts, (groups, kept)."""
    by_group = space.by_group(weights)
    every, own = by_group.sum(axis=1)[:, None], by_group[:, kept]
    total = own.sum(axis=0)
    return np.where(total > 0, own / np.where(total > 0, total, 1.0), every / every.sum())


def _averaged(space: Space, column: np.ndarray, shares: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """Probabilities (outcomes, kept), averaged over the groups, from those of every hypothesis."""
    return np.einsum("agk,gk->ak", space.by_group(column)[:, :, kept], shares)


def _repair_arrays(
    space: Space, repairs: tuple[Repair, ...], kept: np.ndarray, normal: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """works (A, K + 1) and leaves (A, K + 1, K + 1); the last hypothesis is the rest, which only a last resort ends.

    normal (K,): the probability that the complaint's finding is normal.

    Of the kept hypotheses every one without one of its faults is kept as well, or falls to the rest.
    """
    count = len(kept)
    works, leaves = np.zeros((len(repairs), count + 1)), np.zeros((len(repairs), count + 1, count + 1))
    place = np.full(len(space.combinations), count)
    place[kept] = np.arange(count)
    trouble = np.append(np.maximum(1.0 - normal, 1e-12), 1.0)
    for number, row in enumerate(repairs):
        if row.kind == LAST_RESORT:
            works[number] = 1.0
            continue
        moves = np.eye(count + 1)
        for cause, node in enumerate(space.cause_nodes):
            mends = row.mends.get(node.id, 0.0)
            has, without = space.without_of_combinations[cause]
            inside = place[has] < count
            for source, target in zip(place[has[inside]], place[without[inside]], strict=True) if mends else ():
                moved = moves[:, source] * mends
                moves[:, source] -= moved
                moves[:, target] += moved
        leaves[number] = moves * np.minimum(trouble[None, :] / trouble[:, None], 1.0)  # as in `diagnosis.tried`
        works[number] = np.maximum(1.0 - leaves[number].sum(axis=1), 0.0)
        leaves[number, count], works[number, count] = np.eye(count + 1)[count], 0.0
    return works, leaves


def _answers(
    row: Check | Context, diagnosis: Diagnosis, space: Space, shares: np.ndarray, kept: np.ndarray
) -> np.ndarray:
    """Probability (answers, K + 1) of each answer; for the rest, its average."""
    if isinstance(row, Check):
        column = space.columns[row.finding]
    else:
        joint = diagnosis.by_context[row.id]
        column = np.divide(joint, diagnosis.weights, out=np.zeros_like(joint), where=diagnosis.weights > 0)
    outside = diagnosis.weights.copy()
    space.by_group(outside)[:, kept] = 0.0
    average = column @ outside
    total = average.sum()
    last = average / total if total > 0 else np.full(len(column), 1.0 / len(column))
    return np.hstack([_averaged(space, column, shares, kept), last[:, None]])
