"""Closed cases turn the printed rates into the pool's own: learned by generation, shown, and reversible.

Which labels are expected depends on what came in: a pool of sealed boxes never closes a case with a worn pack, and that
says nothing of packs. So labels are compared with those expected in the same setting, of the same generation and with
the same complaint (`expected_labels.py`), and each rate is multiplied by counted / expected until the two agree: the
maximum of the likelihood, with the printed rates as `prior_cases` imagined cases in each setting. Then each generation
has a multiple of its own for every fault: a Gamma distribution with mean 1, worth `prior_cases` cases as well.

A label counts by how it was confirmed (`label_reliability`). One that was measured or exchanged counts as that part of
a case. One of a lift that merely works again is right with a probability and else what clerks write by habit, whatever
the lift and the complaint. The habit and that probability are learned beside the rates (a mixture, by
expectation-maximisation), the printed reliability being worth `prior_cases` cases; so a habit that proven cases or the
complaints contradict moves nothing. The cases are kept apart from the catalogue: taking one out of its file takes its
effect out as well.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import PROOFS, Fault
from guidance.learning.closed_cases import ClosedCase
from guidance.learning.expected_labels import ExpectedLabels, Rates

PROVEN = ("measured", "exchanged")
MOST_ROUNDS = 300
CLOSE_ENOUGH = 1e-6
"""Rounds end when no rate moves by more than this part of itself."""

NEVER_PRINTED = 1e-3
"""The share that a fault starts from which is printed as impossible in a setting and was confirmed there."""


@dataclass(frozen=True)
class Learned:
    """One fault in one setting: share by the catalogue, labels counted, share now with its standard deviation."""

    setting: str
    fault: str
    share_before: float
    cases: int
    share_now: float
    deviation: float

    def interval(self, deviations: float = 1.96) -> tuple[float, float]:
        """Where the share lies with 95 %, or within so many deviations; even on the scale of logarithms."""
        times = math.exp(deviations * self.deviation / self.share_now)
        return self.share_now / times, self.share_now * times


@dataclass(frozen=True)
class OfGeneration:
    """One fault of one generation: labels counted and expected, and the multiple learned with its deviation (log)."""

    generation: str
    fault: str
    cases: int
    expected: float
    times: float
    deviation: float

    def interval(self, deviations: float = 1.96) -> tuple[float, float]:
        """Where the multiple lies with 95 %, or within so many deviations."""
        return self.times / math.exp(deviations * self.deviation), self.times * math.exp(deviations * self.deviation)


@dataclass(frozen=True)
class Learning:
    """What closed cases make of the rates. `set_aside`: how many name a fault that their generation cannot have."""

    rates: Rates
    by_setting: tuple[Learned, ...]
    by_generation: tuple[OfGeneration, ...]
    cases: int
    set_aside: int


@dataclass
class _State:
    """The rates while they are fitted and what they make expected (S, G + 2, Y + 1, F).

    Of labels without proof the part `sure` is right and the rest follows `habit` (F,).
    """

    rates: Rates
    expected: np.ndarray
    habit: np.ndarray
    sure: float


Cases = Iterable[ClosedCase] | Mapping[ClosedCase, int]
"""Closed cases, one by one or counted: how many teach the same."""


def learn(cases: Cases, catalogue: Catalogue) -> Learning:
    """Fit the rates to closed cases that the catalogue knows; the given catalogue stays as it is."""
    model, labels = ExpectedLabels(catalogue), Counter(cases)
    counted = _count(labels, model)  # (proofs, S, G + 2, Y + 1, F)
    started = _started(model, counted)
    possible = model.shares_of_labels(started) > 0
    set_aside = int((counted * ~possible).sum())
    counted = counted * possible
    state = _fitted(model, counted, started)
    covariance = _covariance(model, counted, state)
    return Learning(
        state.rates,
        _by_setting(model, counted, state.rates, covariance),
        _by_generation(model, counted, state, covariance),
        cases=labels.total(),
        set_aside=set_aside,
    )


def learned(catalogue: Catalogue, cases: Cases) -> Catalogue:
    """The same catalogue with its rates moved by closed cases; without any, the catalogue itself."""
    if not cases:
        return catalogue
    found, model = learn(cases, catalogue), ExpectedLabels(catalogue)
    faults = []
    for f, row in ((model.faults.index(row.id), row) for row in catalogue.faults):
        calls = {s: 1000 * float(found.rates.shares[i, f]) for i, s in enumerate(model.settings)}
        able = {g: float(found.rates.times[i, f]) for i, g in enumerate(model.listed) if model.can[i, f]}
        faults.append(row.model_copy(update={"calls_per_1000": calls, "by_generation": able}))
    return _with_faults(catalogue, faults, found.cases - found.set_aside)


def _with_faults(catalogue: Catalogue, faults: Sequence[Fault], cases: int) -> Catalogue:
    """A catalogue with other faults, without what was computed from the old ones, and a note of the rates' origin."""
    note = f"{catalogue.fault_model.rates_note} Moved by {cases} closed cases."
    settings = catalogue.fault_model.model_copy(update={"rates_note": note})
    fields = {name: getattr(catalogue, name) for name in type(catalogue).model_fields}
    return type(catalogue).model_construct(**{**fields, "faults": tuple(faults), "fault_settings": settings})


def _count(cases: Counter[ClosedCase], model: ExpectedLabels) -> np.ndarray:
    axes = (PROOFS, model.settings, model.generations, model.complaints, model.faults)
    counted = np.zeros(tuple(len(axis) for axis in axes))
    places = [{name: i for i, name in enumerate(axis)} for axis in axes]
    for case, number in cases.items():
        named = (case.proof, case.setting, case.generation, case.symptom, case.fault)
        counted[tuple(place[name] for place, name in zip(places, named, strict=True))] += number
    return counted


def _started(model: ExpectedLabels, counted: np.ndarray) -> Rates:
    """The printed rates; a fault that is printed as impossible where it was confirmed gets a little to start from."""
    shares = model.printed.shares
    confirmed = counted.sum(axis=(0, 2, 3)) > 0  # (S, F)
    shares = np.where((shares == 0) & confirmed, NEVER_PRINTED, shares)
    return Rates(shares / shares.sum(axis=1, keepdims=True), model.printed.times)


def _fitted(model: ExpectedLabels, counted: np.ndarray, rates: Rates) -> _State:
    evenly = np.full(len(model.faults), 1 / len(model.faults))
    sure = model.catalogue.fault_model.label_reliability.mended
    state = _State(rates, model.shares_of_labels(rates), evenly, sure)
    imagined = imagined_cases(model, rates)
    for _ in range(MOST_ROUNDS if counted.any() else 0):
        before = state.rates
        _move(state, model, _with_shares(_believed(model, counted, state) + imagined, state))
        _move(state, model, _with_times(model, _believed(model, counted, state), state))
        if _moved(state.rates, before) < CLOSE_ENOUGH:
            break
    return state


def _move(state: _State, model: ExpectedLabels, rates: Rates) -> None:
    state.rates = model.bounded(rates)
    state.expected = model.shares_of_labels(state.rates)


def _moved(now: Rates, before: Rates) -> float:
    """The largest part by which a rate moved."""
    pairs = ((now.shares, before.shares), (now.times, before.times))
    return max(float(np.abs(a / np.maximum(b, 1e-300) - 1)[b > 0].max()) for a, b in pairs)


def imagined_cases(model: ExpectedLabels, rates: Rates) -> np.ndarray:
    """The rates as cases of which no complaint is known, (S, G + 2, Y + 1, F); generations as they are expected."""
    mass, labelled = model.masses(rates)
    cases = np.zeros_like(labelled)
    strength = model.catalogue.fault_model.prior_cases
    cases[:, :-1, -1] = strength * labelled[:, :-1, -1] / mass[:, -1, -1][:, None, None]
    return cases


def _believed(model: ExpectedLabels, counted: np.ndarray, state: _State) -> np.ndarray:
    """Labels as far as they are believed, (S, G + 2, Y + 1, F); brings the habit and how sure they are up to date."""
    settings, unproven = model.catalogue.fault_model, counted[PROOFS.index("mended")]
    right = state.sure * state.expected / (state.sure * state.expected + (1 - state.sure) * state.habit)
    by_habit = (unproven * (1 - right)).sum(axis=(0, 1, 2)) + 1 / len(model.faults)
    state.habit = by_habit / by_habit.sum()
    believed = float((unproven * right).sum()) + settings.prior_cases * settings.label_reliability.mended
    state.sure = believed / (float(unproven.sum()) + settings.prior_cases)
    return _proven(model, counted) + unproven * right


def _proven(model: ExpectedLabels, counted: np.ndarray) -> np.ndarray:
    reliability = model.catalogue.fault_model.label_reliability
    weights = np.array([getattr(reliability, proof) if proof in PROVEN else 0.0 for proof in PROOFS])
    return np.tensordot(weights, counted, axes=1)


def _with_shares(labels: np.ndarray, state: _State) -> Rates:
    """Multiply each setting's shares by counted / expected."""
    expected = (labels.sum(axis=-1, keepdims=True) * state.expected).sum(axis=(1, 2))  # (S, F)
    moved = state.rates.shares * labels.sum(axis=(1, 2)) / np.where(expected > 0, expected, 1.0)
    return Rates(moved / moved.sum(axis=1, keepdims=True), state.rates.times)


def _with_times(model: ExpectedLabels, labels: np.ndarray, state: _State) -> Rates:
    """Move each generation's multiples; their mean over the generations that can have the fault stays as printed."""
    strength, listed = model.catalogue.fault_model.prior_cases, len(model.listed)
    known = labels[:, :listed]
    expected = (known.sum(axis=-1, keepdims=True) * state.expected[:, :listed]).sum(axis=(0, 2))  # (G, F)
    printed = np.where(model.can, model.printed.times, 1.0)
    exposure = expected / np.where(model.can, state.rates.times, 1.0) * printed  # with the printed multiples
    ratio = np.where(model.can, (known.sum(axis=(0, 2)) + strength) / (exposure + strength), 0.0)
    mean = ratio.sum(axis=0) / np.maximum(model.can.sum(axis=0), 1)
    mean = np.where(mean > 0, mean, 1.0)
    shares = state.rates.shares * mean
    times = np.where(model.can, printed * ratio / mean, model.printed.times)
    return Rates(shares / shares.sum(axis=1, keepdims=True), times)


def _covariance(model: ExpectedLabels, counted: np.ndarray, state: _State) -> np.ndarray:
    """Covariance of the logs of the shares (S * F) and then the multiples (G * F), from the information of the cases.

    Labels without a proof are left out, so that it is rather too large. To first order: as if a lift had one fault.
    """
    settings, listed, faults = len(model.settings), len(model.listed), len(model.faults)
    strength = model.catalogue.fault_model.prior_cases
    size = (settings + listed) * faults
    information = np.zeros((size, size))
    proven, imagined = _proven(model, counted).sum(axis=-1), imagined_cases(model, state.rates).sum(axis=-1)
    for s, g in np.ndindex(settings, len(model.generations)):
        at = [slice(s * faults, (s + 1) * faults)]
        information[at[0], at[0]] += _spread(imagined[s, g], state.expected[s, g])
        if g < listed:
            at.append(slice((settings + g) * faults, (settings + g + 1) * faults))
        for rows in at:
            for columns in at:
                information[rows, columns] += _spread(proven[s, g], state.expected[s, g])
    information[settings * faults :, settings * faults :] += strength * np.eye(listed * faults)
    contrast = _means_to_shares(model)
    return contrast @ np.linalg.pinv(information, rcond=1e-10, hermitian=True) @ contrast.T


def _spread(cases: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Covariance (F, F) of the counts of labels: `cases` (Y + 1,) drawn from `expected` (Y + 1, F)."""
    return np.diag(cases @ expected) - (expected * cases[:, None]).T @ expected


def _means_to_shares(model: ExpectedLabels) -> np.ndarray:
    """Count what a fault's multiples have in common to its shares, since their mean is kept as printed."""
    settings, listed, faults = len(model.settings), len(model.listed), len(model.faults)
    contrast = np.eye((settings + listed) * faults)
    able = model.can / np.maximum(model.can.sum(axis=0), 1)  # (G, F)
    for f in range(faults):
        for g in range(listed):
            column = (settings + g) * faults + f
            contrast[f : settings * faults : faults, column] += able[g, f]
            for other in np.flatnonzero(model.can[:, f]):
                contrast[(settings + other) * faults + f, column] -= able[g, f]
    return contrast


def _by_setting(
    model: ExpectedLabels, counted: np.ndarray, rates: Rates, covariance: np.ndarray
) -> tuple[Learned, ...]:
    """Every fault's share before and after, by setting, likeliest first."""
    rows, faults = [], len(model.faults)
    labels = counted.sum(axis=(0, 2, 3))
    for s, setting in enumerate(model.settings):
        share = rates.shares[s]
        slope = np.diag(share) - np.outer(share, share)  # of the share by the logs
        own = covariance[s * faults : (s + 1) * faults, s * faults : (s + 1) * faults]
        deviation = np.sqrt(np.diag(slope @ own @ slope))
        before = model.printed.shares[s]
        found = [
            Learned(setting, fault, float(before[f]), int(labels[s, f]), float(share[f]), float(deviation[f]))
            for f, fault in enumerate(model.faults)
        ]
        rows += sorted(found, key=lambda row: -row.share_now)
    return tuple(rows)


def _by_generation(
    model: ExpectedLabels, counted: np.ndarray, state: _State, covariance: np.ndarray
) -> tuple[OfGeneration, ...]:
    """What each generation multiplies every fault by that it can have, in the catalogue's order."""
    labels = counted.sum(axis=0)  # (S, G + 2, Y + 1, F)
    expected = (labels.sum(axis=-1, keepdims=True) * state.expected).sum(axis=(0, 2))  # (G + 2, F)
    first, faults = len(model.settings) * len(model.faults), len(model.faults)
    deviation = np.sqrt(np.maximum(np.diag(covariance), 0.0))[first:].reshape(-1, faults)
    seen = labels.sum(axis=(0, 2))
    return tuple(
        OfGeneration(
            generation,
            fault,
            int(seen[g, f]),
            float(expected[g, f]),
            float(state.rates.times[g, f]),
            float(deviation[g, f]),
        )
        for g, generation in enumerate(model.listed)
        for f, fault in enumerate(model.faults)
        if model.can[g, f]
    )
