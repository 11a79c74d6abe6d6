"""A question about a pool: of which lifts something holds, by generation, by mechanism, or by the part that they take.

`lowering=none` · `generation=hung-top,stacked-front` · `part=charger-hung`. Several at once must all hold. Of one lift
the generation and the mechanism are taken to say nothing of each other beyond what its photos told of both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from classifier.errors import PoolError
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import meant
from guidance.pool.counts import Drawn, by_lift
from guidance.pool.lifts import COMPONENTS, PoolLift, classes_of

DRAWS = 200
"""Drawn pools by which the lifts are judged one by one."""

AT_ONCE = 4000
"""Lifts whose probabilities are held in memory class by class."""


@dataclass(frozen=True)
class Question:
    """The values that are asked for of each component; a component that is not there may be anything."""

    values: dict[str, frozenset[str]]

    @property
    def components(self) -> tuple[str, ...]:
        return tuple(self.values)

    def may_hold(self, lift: PoolLift) -> bool:
        """Whether what is confirmed allows it and the prediction sets do not rule it out; without a set anything is."""
        for component, wanted in self.values.items():
            told = lift.told(component)
            possible = {told.confirmed} if told.confirmed is not None else set(told.values)
            if possible and not possible & wanted:
                return False
        return True


def question(asked: Sequence[str], catalogue: Catalogue) -> Question:
    """Read `KEY=VALUE,VALUE` conditions. Raises `PoolError` with what may be asked."""
    values: dict[str, frozenset[str]] = {}
    for condition in asked:
        key, _, given = condition.partition("=")
        for component, wanted in _wanted(key, [v.strip() for v in given.split(",") if v.strip()], condition, catalogue):
            values[component] = values.get(component, wanted) & wanted
    if not values:
        raise PoolError("Nothing was asked that tells lifts apart. Ask for example --of lowering=none.")
    empty = [component for component, wanted in values.items() if not wanted]
    if empty:
        raise PoolError(f"No {empty[0]} is all of what was asked: {', '.join(asked)}. Ask one after the other.")
    return Question(values)


def _wanted(key: str, given: list[str], condition: str, catalogue: Catalogue) -> list[tuple[str, frozenset[str]]]:
    if key not in (*COMPONENTS, "part") or not given:
        raise PoolError(f"--of {condition!r} came. generation=ID, lowering=ID or part=ID is wanted.")
    known = list(catalogue.parts_by_id) if key == "part" else list(classes_of(key, catalogue))
    for value in given:
        if value not in known:
            raise PoolError(f"--of {condition!r}: unknown {key} {value!r}{meant(value, known)}.")
    if key != "part":
        return [(key, frozenset(given))]
    if len(given) > 1:
        raise PoolError(f"--of {condition!r}: ask for one part at a time.")
    part = catalogue.parts_by_id[given[0]]
    made_for = {"generation": part.generations, "lowering": part.mechanisms}
    return [(component, frozenset(values)) for component, values in made_for.items() if values]


def probabilities_of(asked: Question, drawn: Mapping[str, Drawn], draws: int = DRAWS) -> np.ndarray:
    """Of each lift the probability that it is one, in `draws` drawn pools, (draws, N). `drawn` by component."""
    lifts = len(drawn[asked.components[0]].readings.known)
    found = np.ones((draws, lifts))
    for component, wanted in asked.values.items():
        pools = drawn[component]
        chosen = [value in wanted for value in pools.readings.classes]
        for first in range(0, lifts, AT_ONCE):
            part = slice(first, first + AT_ONCE)
            found[:, part] *= by_lift(pools, draws, part)[:, :, chosen].sum(axis=2)
    return found


def recall_list(
    asked: Question, lifts: Sequence[PoolLift], probabilities: np.ndarray, risk: float, each_lift: bool = False
) -> list[int]:
    """Which lifts a recall names, likeliest first, so that one is missed with a probability of `risk` at most.

    Left out are the least likely, as long as their probabilities sum to `risk` at most: the probability that at least
    one of several things is so is never more than the sum (Boole). With `each_lift` the risk is that of each lift
    concerned: the sum may come to that part of the lifts that are expected to be. Either holds as far as the
    probabilities are calibrated for this pool. A lift whose prediction set allows it is named whatever its probability.
    """
    if not 0 < risk < 1:
        raise PoolError(f"--risk is {risk}. A probability between 0 and 1 is wanted, for example 0.05.")
    each = probabilities.mean(axis=0)
    allowed = risk * float(each.sum()) if each_lift else risk
    order = np.argsort(each, kind="stable")
    left_out = set(order[np.cumsum(each[order]) <= allowed].tolist())
    told = {i for i, lift in enumerate(lifts) if _in_set(asked, lift)}
    return [int(i) for i in order[::-1] if i not in left_out or i in told]


def _in_set(asked: Question, lift: PoolLift) -> bool:
    """Whether something was seen of it, and all that was told allows it."""
    seen = any(lift.told(c).values or lift.told(c).confirmed is not None for c in asked.components)
    return seen and asked.may_hold(lift)
