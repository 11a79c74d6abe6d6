"""Heads taught anew by own photos and the replay set, on frozen features: multinomial regression, no torch.

Each head starts as shipped and is held there by a normal prior. How tightly is chosen by cross-validation over lifts,
from `GRID`; the largest value means that nothing changes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from classifier.reader import FEATURES
from classifier.recipe import CLASSES
from classifier.taxonomy import CONCEPTS_OF
from training.data.manifest import Record
from training.measure.collect import RawPhoto
from training.steps.heads import Head
from training.steps.shrink import WRONG_LABELS

GRID = (1.0, 3.0, 10.0, 30.0, 100.0, 1000.0)
FOLDS = 4
FORGOTTEN = 0.01
"""Nats a case that the renders may lose by a head; more is forgetting."""

OWN_SHARE = 0.5
"""Of the weight of all cases, own photos against renders; but no photo counts more than `MOST` renders."""

MOST = 4.0


Seen = tuple[Sequence[RawPhoto], Sequence[Record]]
"""Pictures as the networks see them, and their truths."""


@dataclass(frozen=True)
class Cases:
    """What teaches one head: features (n, F), true columns (n,), the group of each (its lift) and its weight."""

    features: np.ndarray
    truths: np.ndarray
    groups: np.ndarray
    weights: np.ndarray

    def only(self, chosen: np.ndarray) -> "Cases":
        """The cases that are chosen, a mask (n,)."""
        return Cases(*(each[chosen] for each in (self.features, self.truths, self.groups, self.weights)))


def teach(
    heads: Mapping[str, Head], own: Seen, renders: Seen, watched: Seen
) -> tuple[dict[str, Head], dict[str, float]]:
    """Every concept's head taught anew, and how tightly each was held; `kind` stays as it is.

    `renders` teach too, `watched` only tell how tightly to hold.
    """
    taught, held = dict(heads), {}
    for concept in CLASSES:
        mine = cases_of(concept, *own)
        if len(set(mine.groups)) < FOLDS:
            continue
        cases = together(mine, cases_of(concept, *renders))
        held[concept] = best_hold(heads[concept], cases, cases_of(concept, *watched))
        taught[concept] = fit_head(heads[concept], cases, held[concept])
    return taught, held


def cases_of(concept: str, raw: Sequence[RawPhoto], records: Sequence[Record]) -> Cases:
    """Every box that holds a subject of the concept's kind, whether or not it would be answered."""
    features, truths, groups = [], [], []
    for n, (photo, record) in enumerate(zip(raw, records, strict=True)):
        for subject in photo.found:
            if subject.matched >= 0 and concept in CONCEPTS_OF[subject.kind]:
                features.append(subject.logits[FEATURES])
                truths.append(CLASSES[concept].index(record.subjects[subject.matched].concepts[concept].truth))
                groups.append(str(record.lift or n))
    wide = len(features[0]) if features else 0
    columns = np.array(features, np.float64).reshape(len(features), wide)
    return Cases(columns, np.array(truths, int), np.array(groups, str), np.ones(len(truths)))


def together(own: Cases, renders: Cases) -> Cases:
    """Own and rendered cases, the own ones weighted to be `OWN_SHARE` of all, within `MOST`."""
    each = 1.0
    if len(renders.truths):
        each = min(MOST, max(1.0, OWN_SHARE / (1 - OWN_SHARE) * len(renders.truths) / len(own.truths)))
    parts = [own, renders] if len(renders.truths) else [own]
    weights = [np.full(len(own.truths), each), np.ones(len(renders.truths))][: len(parts)]
    groups = [np.char.add(name, case.groups) for name, case in zip(("own ", "render "), parts, strict=False)]
    return Cases(
        np.concatenate([case.features for case in parts]),
        np.concatenate([case.truths for case in parts]),
        np.concatenate(groups),
        np.concatenate(weights),
    )


def fit_head(shipped: Head, cases: Cases, hold: float) -> Head:
    """The head of least robust loss plus hold / 2 × its squared distance, in units of the features' spread."""
    spread = np.sqrt((cases.features**2).mean(axis=0)) + 1e-6  # (F,)
    columns = np.column_stack([cases.features / spread, np.ones(len(cases.truths))])
    start = np.column_stack([shipped[0] * spread, shipped[1]])  # (k, F + 1)
    classes = len(shipped[1])
    marked = cases.truths[:, None] == np.arange(classes)

    def cost(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights = flat.reshape(start.shape)
        logits = columns @ weights.T
        given = np.exp(logits - logits.max(axis=1, keepdims=True))
        given /= given.sum(axis=1, keepdims=True)
        of_truth = given[marked]
        believed = (1 - WRONG_LABELS) * of_truth + WRONG_LABELS / classes
        pull = cases.weights * (1 - WRONG_LABELS) * of_truth / believed  # a label that cannot be believed pulls little
        slope = (pull[:, None] * (given - marked)).T @ columns + hold * (weights - start)
        loss = -(cases.weights * np.log(believed)).sum() + 0.5 * hold * ((weights - start) ** 2).sum()
        return float(loss), slope.ravel()

    found = minimize(cost, start.ravel(), jac=True, method="L-BFGS-B", options={"maxiter": 120}).x.reshape(start.shape)
    return found[:, :-1] / spread, found[:, -1]


def best_hold(shipped: Head, cases: Cases, watched: Cases) -> float:
    """Of `GRID` what loses least on own lifts that the head was not taught by, and on renders that never teach.

    The looser is taken only where the renders lose no more than `FORGOTTEN` a case over the shipped head.
    """
    names = sorted(set(cases.groups))
    fold_of = {name: n % FOLDS for n, name in enumerate(np.random.default_rng(0).permutation(names))}
    folds = np.array([fold_of[name] for name in cases.groups])
    before = _loss(shipped, watched)
    losses = {}
    for hold in GRID:
        if _loss(fit_head(shipped, cases, hold), watched) - before > FORGOTTEN * len(watched.truths):
            continue
        losses[hold] = sum(
            _loss(fit_head(shipped, cases.only(folds != fold), hold), cases.only(folds == fold))
            for fold in range(FOLDS)
        )
    return min(losses, key=losses.__getitem__, default=GRID[-1])


def _loss(head: Head, cases: Cases) -> float:
    """Summed robust loss of a head, each case by its weight."""
    if not len(cases.truths):
        return 0.0
    logits = cases.features @ head[0].T + head[1]
    given = np.exp(logits[np.arange(len(cases.truths)), cases.truths] - np.logaddexp.reduce(logits, axis=1))
    return float(-(cases.weights * np.log((1 - WRONG_LABELS) * given + WRONG_LABELS / logits.shape[1])).sum())
