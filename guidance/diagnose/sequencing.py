"""In which order to check and repair so that the expected minutes until the lift works are fewest.

For independent repairs the order by probability over minutes is optimal (Kadane and Simon; arXiv 1203.3502). With
repairs that overlap, questions, and areas that are opened once it is not, and the problem is hard; there a look-ahead
tries the most promising steps and completes each trial by the updated ratio rule. Arrays in, arrays out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

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

    @cached_property
    def step_of_child(self) -> np.ndarray:
        """What can follow a step: one child a repair (the trouble stays), one an answer; the step of each."""
        repairs = len(self.works)
        asked = [np.full(len(answers), repairs + number) for number, answers in enumerate(self.answers)]
        return np.concatenate([np.arange(repairs), *asked]).astype(np.intp)

    @cached_property
    def all_answers(self) -> np.ndarray:
        """The answers of all questions below each other, (outcomes, H)."""
        return np.concatenate([np.zeros((0, self.works.shape[1])), *self.answers])

    @cached_property
    def inside(self) -> tuple[np.ndarray, ...]:
        """The repairs of each area."""
        return tuple(np.flatnonzero(self.repair_area == area) for area in range(len(self.area_minutes)))

    @cached_property
    def minutes(self) -> np.ndarray:
        """Minutes of each step: repairs first, then questions."""
        return np.concatenate([self.repair_minutes, self.question_minutes])

    @cached_property
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
    """How far to look: `depth` steps ahead, at each level but the last following only the `widths[level]` best ones."""

    depth: int
    widths: tuple[int, ...] = ()
    negligible: float = NEGLIGIBLE


FEW_STEPS = 10
"""With so few steps left there is time to look three of them ahead."""


def search_for(problem: Problem) -> Search:
    """How far to look: three steps where few are left, two where there are many, so that a core needs some 20 ms."""
    if len(problem.minutes) <= FEW_STEPS:
        return Search(depth=3, widths=(6, 3))
    return Search(depth=2, widths=(5,), negligible=1e-3)


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


def ratio_minutes(problem: Problem, now: Situations, negligible: float = NEGLIGIBLE) -> np.ndarray:
    """Expected minutes (N,) of the updated ratio rule: always the repair worth most a minute, then think again.

    An unopened area counts with the best first few of its repairs together, so that its opening is shared. A branch
    ends when less than `negligible` of its probability is left.
    """
    repairs, total = len(problem.works), np.zeros(len(now.belief))
    mass = now.belief.sum(axis=1)
    floor = negligible * np.maximum(mass, 1e-300)
    at, belief, done, opened = np.arange(len(total)), now.belief, now.done[:, :repairs].copy(), now.opened.copy()
    for _ in range(repairs):
        alive = (mass > floor) & ~done.all(axis=1)
        if not alive.all():
            at, floor, mass = at[alive], floor[alive], mass[alive]
            belief, done, opened = belief[alive], done[alive], opened[alive]
        if not len(at):
            break
        row, choice = np.arange(len(at)), _ratio_choice(problem, belief, done, opened)
        minutes = problem.repair_minutes[choice]
        for area, opening in enumerate(problem.area_minutes):
            enters = problem.repair_area[choice] == area
            minutes = minutes + opening * (enters & ~opened[:, area])
            opened[:, area] |= enters
        total[at] += minutes * mass
        done[row, choice] = True
        following = np.empty_like(belief)
        for repair in np.flatnonzero(np.bincount(choice)):
            chosen = choice == repair
            following[chosen] = belief[chosen] @ problem.leaves[repair]
        belief, mass = following, following.sum(axis=1)
    return total


def _ratio_choice(problem: Problem, belief: np.ndarray, done: np.ndarray, opened: np.ndarray) -> np.ndarray:
    gain = belief @ problem.works.T  # (N, A)
    gain[done] = -1.0
    ratio = gain / problem.repair_minutes
    for area, opening in enumerate(problem.area_minutes):
        inside, shut = problem.inside[area], ~opened[:, area]
        if not len(inside) or not shut.any():
            continue
        own = ratio[:, inside]
        order = np.argsort(-own, axis=1, kind="stable")
        gains = np.maximum(np.take_along_axis(gain[:, inside], order, axis=1), 0.0)
        minutes = problem.repair_minutes[inside][order]
        shared = (np.cumsum(gains, axis=1) / (opening + np.cumsum(minutes, axis=1))).max(axis=1)
        block = np.where(own < 0, -1.0, np.minimum(own, 0.0) - 0.5)  # closed repairs step back behind their leader
        block[np.arange(len(block)), order[:, 0]] = np.where(own.max(axis=1) < 0, -1.0, shared)
        ratio[:, inside] = np.where(shut[:, None], block, own)
    return ratio.argmax(axis=1)


def look_ahead(problem: Problem, now: Situations) -> tuple[np.ndarray, np.ndarray]:
    """Expected minutes (N,) from here, and (N, A + Q) of taking each step first (infinite where it was done)."""
    return _look(problem, now, search_for(problem), 0)


def _look(problem: Problem, now: Situations, search: Search, level: int) -> tuple[np.ndarray, np.ndarray]:
    by_step = _expand(problem, now, ~now.done, lambda s: ratio_minutes(problem, s, search.negligible))
    if level + 1 < search.depth:
        width = min(search.widths[level], by_step.shape[1])
        best = np.argpartition(by_step, width - 1, axis=1)[:, :width]
        follow = np.zeros_like(now.done)
        np.put_along_axis(follow, best, True, axis=1)
        deeper = _expand(problem, now, follow & ~now.done, lambda s: _look(problem, s, search, level + 1)[0])
        by_step = np.minimum(by_step, deeper)
    over = (now.belief.sum(axis=1) <= NEGLIGIBLE) | now.done[:, : len(problem.works)].all(axis=1)
    return np.where(over, 0.0, by_step.min(axis=1)), by_step


def _expand(
    problem: Problem, now: Situations, follow: np.ndarray, value: Callable[[Situations], np.ndarray]
) -> np.ndarray:
    """Minutes (N, A + Q) of each step that `follow` marks, the rest of the way as `value` says; infinite elsewhere."""
    steps, areas = follow.shape[1], problem.area[None, :] == np.arange(len(problem.area_minutes))[:, None]  # (K, S)
    opening = (~now.opened * problem.area_minutes) @ areas  # (N, S)
    by_step = np.where(follow, (problem.minutes + opening) * now.belief.sum(axis=1)[:, None], np.inf)
    step_of = problem.step_of_child
    node, child = np.nonzero(follow[:, step_of])
    step, repairs = step_of[child], len(problem.works)
    belief = np.empty((len(node), now.belief.shape[1]))
    asked = child >= repairs
    belief[asked] = now.belief[node[asked]] * problem.all_answers[child[asked] - repairs]
    for repair in range(repairs):
        rows = child == repair
        belief[rows] = now.belief[node[rows]] @ problem.leaves[repair]
    children = Situations(
        belief, now.done[node] | (step[:, None] == np.arange(steps)), now.opened[node] | areas.T[step]
    )
    if not len(node):
        return by_step
    following = np.bincount(node * steps + step, weights=value(children), minlength=by_step.size)
    return by_step + following.reshape(by_step.shape)
