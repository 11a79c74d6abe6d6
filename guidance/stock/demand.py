"""How often each part is asked for: calls a lift, which fault they are, what mends it, and how many lifts there are.

Of a fault's calls the first repair tried is the adjustment (it costs nothing), then the replacement of the component
itself, then those of others, the surest first; each takes what those before it left. A repair takes the part that fits
the lift, with what is ordered together with it: that is one job, which can be done when all of it is there. Calls a
lift, shares of the faults and counts of lifts are distributions, and so the rate of a job is one: S draws.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from classifier.errors import CaseError
from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import Fault, Repair
from guidance.learning.closed_cases import ClosedCase
from guidance.learning.expected_labels import ExpectedLabels
from guidance.learning.learning import learn
from guidance.parts.parts import part_for

DAYS_A_YEAR = 365.0


@dataclass(frozen=True)
class Calls:
    """Calls for help a lift a year, and from how many calls that was counted: the fewer, the less sure it is."""

    a_lift_a_year: float
    counted: float


@dataclass(frozen=True, eq=False)
class Job:
    """One kind of repair by the parts that it takes, the part itself first; `rates`: jobs a day, (S,) draws."""

    parts: tuple[str, ...]
    rates: np.ndarray


def jobs_of(
    catalogue: Catalogue,
    cases: Sequence[ClosedCase],
    counts: Mapping[str, np.ndarray],
    calls: Calls,
    rng: np.random.Generator,
) -> tuple[Job, ...]:
    """Every job that the pool's lifts ask for. `counts`: of `generation` and `lowering`, (S, K) lifts, in order."""
    if not catalogue.faults:
        raise CaseError("This catalogue has no fault model, so nothing says which parts are asked for.")
    draws = len(counts["generation"])
    a_day = rng.gamma(calls.counted, calls.a_lift_a_year / calls.counted / DAYS_A_YEAR, draws)
    model = ExpectedLabels(catalogue)
    shares, times = _learned(model, cases, draws, rng)
    of_mechanism = counts["lowering"] / np.maximum(counts["lowering"].sum(axis=1, keepdims=True), 1)  # (S, M)
    rates: dict[tuple[str, ...], np.ndarray] = defaultdict(lambda: np.zeros(draws))
    for g, generation in enumerate((*model.listed, UNLISTED)):
        able = times[g] if generation in model.listed else np.array([not f.generations for f in _faults(model)])
        mix = shares * able  # (S, F)
        mix /= mix.sum(axis=1, keepdims=True)
        asked = mix @ used(model, generation) * (a_day * counts["generation"][:, g])[:, None]  # (S, components)
        for c, component in enumerate(catalogue.components_by_id):
            for m, mechanism in enumerate(CONCEPTS["lowering"]) if asked[:, c].any() else ():
                for parts, share in _taken(catalogue, component, generation, mechanism).items():
                    rates[parts] += share * asked[:, c] * of_mechanism[:, m]
    return tuple(Job(parts, found) for parts, found in sorted(rates.items()) if found.any())


def _faults(model: ExpectedLabels) -> list[Fault]:
    return [model.catalogue.faults_by_id[fault] for fault in model.faults]


def _learned(
    model: ExpectedLabels, cases: Sequence[ClosedCase], draws: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Shares of the faults over all settings, (draws, F), and what each listed generation multiplies them by, (G, F).

    A share is drawn from the Gamma distribution with the mean and the deviation that learning states.
    """
    found = learn(cases, model.catalogue)
    of_setting = model.catalogue.contexts_by_id[model.catalogue.fault_model.setting].shares
    shares = np.zeros((draws, len(model.faults)))
    for row in found.by_setting:
        mean, deviation = row.share_now, row.deviation
        if mean > 0:
            shape = (mean / deviation) ** 2 if deviation > 0 else 1e6
            drawn = rng.gamma(shape, mean / shape, draws)
            shares[:, model.faults.index(row.fault)] += of_setting[row.setting] * drawn
    return np.maximum(shares, 1e-12), found.rates.times * model.can


def used(model: ExpectedLabels, generation: str) -> np.ndarray:
    """How many replacements of each component a fault comes to with this generation, (F, components)."""
    components = list(model.catalogue.components_by_id)
    found = np.zeros((len(model.faults), len(components)))
    repairs = [row for row in model.catalogue.repairs if not row.generations or generation in row.generations]
    for f, fault in enumerate(_faults(model)):
        left = 1.0
        for repair in sorted((row for row in repairs if row.mends.get(fault.id)), key=lambda row: _order(row, fault)):
            if repair.kind == "replace" and repair.component is not None:
                found[f, components.index(repair.component)] += left
            left *= 1 - repair.mends[fault.id]
    return found


def _order(repair: Repair, fault: Fault) -> tuple[bool, bool, float]:
    """What is tried first: adjusting, then the component itself, then the surest."""
    return repair.kind != "adjust", repair.component != fault.component, -repair.mends[fault.id]


def _taken(catalogue: Catalogue, component: str, generation: str, mechanism: str) -> dict[tuple[str, ...], float]:
    """The parts that one replacement takes, with their share where a component has several that fit."""
    named = part_for(catalogue, component, generation, mechanism, "technician")
    fitting = [row for row in named if row.part is not None and not row.part.accessory]
    return {
        (row.part.id, *(part.id for part in row.order_together)): 1 / len(fitting)
        for row in fitting
        if row.part is not None
    }
