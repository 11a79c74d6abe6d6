"""In which order to check and repair so that the expected minutes until the lift works are fewest.

For independent repairs the order by probability over minutes is optimal (Kadane and Simon; arXiv 1203.3502). With
repairs that overlap, questions, and areas that are opened once it is not, and the problem is hard; there a look-ahead
tries the most promising steps and completes each trial by the updated ratio rule. Arrays in, arrays out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

NEGLIGIBLE = 1e-12
"""Below this share of the starting probability a branch is over."""

NO_AREA = -1


@dataclass(frozen=True, eq=False)
class Problem:
    """What can be done, under H hypotheses.

    repair_minutes (A,); works (A, H): probability that the trouble is gone afterwards;
    leaves (A, H, H): probability of passing to another hypothesis while the trouble stays;
    question_minutes (Q,); answers: one (outcomes, H) array a question;
    repair_area (A,), question_area (Q,): index of the area that must be opened once, or NO_AREA; area_minutes (K,).
    """

    repair_minutes: np.ndarray
    works: np.ndarray
    leaves: np.ndarray
    question_minutes: np.ndarray
    answers: tuple[np.ndarray, ...]
    repair_area: np.ndarray
    question_area: np.ndarray
    area_minutes: np.ndarray

    @property
    def minutes(self) -> np.ndarray:
        """Minutes of each step: repairs first, then questions."""
        return np.concatenate([self.repair_minutes, self.question_minutes])

    @property
    def area(self) -> np.ndarray:
        """Area of each step: repairs first, then questions."""
        return np.concatenate([self.repair_area, self.question_area])


@dataclass(frozen=True, eq=False)
class Situations:
    """N situations at once: belief (N, H), not normalised; done (N, A + Q) and opened (N, K) flags."""

    belief: np.ndarray
    done: np.ndarray
    opened: np.ndarray

    def rows(self, chosen: np.ndarray) -> Situations:
        """Some of the situations."""
        return Situations(self.belief[chosen], self.done[chosen], self.opened[chosen])


@dataclass(frozen=True)
class Search:
    """How far to look: `depth` steps ahead; beyond the first only the `widths[level]` best steps are followed."""

    depth: int = 3
    widths: tuple[int, ...] = (6, 3)


def simple_problem(
    repair_minutes: np.ndarray,
    works: np.ndarray,
    question_minutes: np.ndarray | None = None,
    answers: tuple[np.ndarray, ...] = (),
    repair_area: np.ndarray | None = None,
    question_area: np.ndarray | None = None,
    area_minutes: np.ndarray | None = None,
) -> Problem:
    """One fault at a time: a repair that does not work leaves the hypothesis as it was."""
    works = np.asarray(works, dtype=float)
    count = len(works)
    leaves = (1.0 - works)[:, :, None] * np.eye(works.shape[1])
    return Problem(
        np.asarray(repair_minutes, dtype=float),
        works,
        leaves,
        np.zeros(0) if question_minutes is None else np.asarray(question_minutes, dtype=float),
        answers,
        np.full(count, NO_AREA) if repair_area is None else np.asarray(repair_area),
        np.full(len(answers), NO_AREA) if question_area is None else np.asarray(question_area),
        np.zeros(0) if area_minutes is None else np.asarray(area_minutes, dtype=float),
    )


def start(problem: Problem, belief: np.ndarray) -> Situations:
    """One situation in which nothing has been done."""
    steps, areas = len(problem.works) + len(problem.answers), len(problem.area_minutes)
    return Situations(np.asarray(belief, float)[None, :], np.zeros((1, steps), bool), np.zeros((1, areas), bool))


def ratio_order(probability: np.ndarray, minutes: np.ndarray) -> np.ndarray:
    """Indices by falling probability over minutes, the optimal order of independent repairs; (..., n) in and out."""
    return np.argsort(-np.asarray(probability) / np.asarray(minutes), axis=-1, kind="stable")


def order_minutes(problem: Problem, belief: np.ndarray, order: tuple[int, ...]) -> float:
    """Expected minutes of doing repairs in a fixed order until the trouble is gone."""
    now, total = start(problem, belief), 0.0
    for repair in order:
        total += float(step_minutes(problem, now, repair)[0] * now.belief.sum())
        now = after_repair(problem, now, repair)
    return total


def step_minutes(problem: Problem, now: Situations, step: int) -> np.ndarray:
    """Minutes (N,) that a step takes in each situation, with the opening of its area when it is still shut."""
    area = problem.area[step]
    minutes = np.full(len(now.belief), problem.minutes[step])
    return minutes if area == NO_AREA else minutes + np.where(now.opened[:, area], 0.0, problem.area_minutes[area])


def after_repair(problem: Problem, now: Situations, repair: int) -> Situations:
    """The situations in which the trouble stayed."""
    done, opened = _marked(problem, now, repair)
    return Situations(now.belief @ problem.leaves[repair], done, opened)


def after_answer(problem: Problem, now: Situations, question: int, outcome: int) -> Situations:
    """The situations after one answer."""
    done, opened = _marked(problem, now, len(problem.works) + question)
    return Situations(now.belief * problem.answers[question][outcome], done, opened)


def _marked(problem: Problem, now: Situations, step: int) -> tuple[np.ndarray, np.ndarray]:
    done, opened = now.done.copy(), now.opened.copy()
    done[:, step] = True
    if problem.area[step] != NO_AREA:
        opened[:, problem.area[step]] = True
    return done, opened


def ratio_minutes(problem: Problem, now: Situations) -> np.ndarray:
    """Expected minutes (N,) of the updated ratio rule: always the repair worth most a minute, then think again.

    An unopened area counts with the best first few of its repairs together, so that its opening is shared.
    """
    total = np.zeros(len(now.belief))
    floor = NEGLIGIBLE * np.maximum(now.belief.sum(axis=1), 1e-300)
    at = np.arange(len(total))
    for _ in range(len(problem.works)):
        alive = (now.belief.sum(axis=1) > floor) & ~now.done[:, : len(problem.works)].all(axis=1)
        if not alive.all():
            now, at, floor = now.rows(alive), at[alive], floor[alive]
        if not len(at):
            break
        choice = _ratio_choice(problem, now)
        belief, done, opened = np.empty_like(now.belief), now.done.copy(), now.opened.copy()
        for repair in np.unique(choice):
            rows = choice == repair
            part = now.rows(rows)
            total[at[rows]] += step_minutes(problem, part, repair) * part.belief.sum(axis=1)
            following = after_repair(problem, part, repair)
            belief[rows], done[rows], opened[rows] = following.belief, following.done, following.opened
        now = Situations(belief, done, opened)
    return total


def _ratio_choice(problem: Problem, now: Situations) -> np.ndarray:
    gain = now.belief @ problem.works.T  # (N, A)
    gain[now.done[:, : gain.shape[1]]] = -1.0
    ratio = gain / problem.repair_minutes
    for area, opening in enumerate(problem.area_minutes):
        inside = np.flatnonzero(problem.repair_area == area)
        shut = ~now.opened[:, area]
        if not len(inside) or not shut.any():
            continue
        own = ratio[np.ix_(shut, inside)]
        order = np.argsort(-own, axis=1, kind="stable")
        gains = np.maximum(np.take_along_axis(gain[np.ix_(shut, inside)], order, axis=1), 0.0)
        minutes = problem.repair_minutes[inside][order]
        shared = (np.cumsum(gains, axis=1) / (opening + np.cumsum(minutes, axis=1))).max(axis=1)
        block = np.where(own < 0, -1.0, np.minimum(own, 0.0) - 0.5)  # closed repairs step back behind their leader
        block[np.arange(len(block)), order[:, 0]] = np.where(own.max(axis=1) < 0, -1.0, shared)
        ratio[np.ix_(shut, inside)] = block
    return ratio.argmax(axis=1)


def look_ahead(problem: Problem, now: Situations, search: Search) -> tuple[np.ndarray, np.ndarray]:
    """Expected minutes (N,) from here, and (N, A + Q) of taking each step first (infinite where it was done)."""
    return _look(problem, now, search.depth, search.widths)


def _look(problem: Problem, now: Situations, depth: int, widths: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    by_step = _expand(problem, now, ~now.done, ratio_minutes)
    if depth > 1 and widths:
        width = min(widths[0], by_step.shape[1])
        best = np.argpartition(by_step, width - 1, axis=1)[:, :width]
        follow = np.zeros_like(now.done)
        np.put_along_axis(follow, best, True, axis=1)
        follow &= np.isfinite(by_step)
        deeper = _expand(problem, now, follow, lambda p, s: _look(p, s, depth - 1, widths[1:])[0])
        by_step = np.minimum(by_step, deeper)
    over = now.belief.sum(axis=1) <= NEGLIGIBLE
    value = np.where(over | now.done[:, : len(problem.works)].all(axis=1), 0.0, by_step.min(axis=1))
    return value, by_step


def _expand(
    problem: Problem, now: Situations, follow: np.ndarray, value: Callable[[Problem, Situations], np.ndarray]
) -> np.ndarray:
    """Minutes of each step that `follow` (N, A + Q) marks, the rest of the way as `value` says."""
    by_step = np.full(now.done.shape, np.inf)
    mass = now.belief.sum(axis=1)
    children, owners = [], []
    for step in range(now.done.shape[1]):
        rows = np.flatnonzero(follow[:, step])
        if not len(rows):
            continue
        part = now.rows(rows)
        by_step[rows, step] = step_minutes(problem, part, step) * mass[rows]
        if step < len(problem.works):
            following = [after_repair(problem, part, step)]
        else:
            question = step - len(problem.works)
            following = [after_answer(problem, part, question, o) for o in range(len(problem.answers[question]))]
        children += following
        owners += [(rows, step)] * len(following)
    if not children:
        return by_step
    fields = ("belief", "done", "opened")
    together = Situations(*(np.concatenate([getattr(child, field) for child in children]) for field in fields))
    values, at = value(problem, together), 0
    for (rows, step), child in zip(owners, children, strict=True):
        by_step[rows, step] += values[at : at + len(child.belief)]
        at += len(child.belief)
    return by_step
