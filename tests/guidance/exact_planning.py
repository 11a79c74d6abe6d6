"""Optimal expected minutes of small repair problems by dynamic programming, written apart from the planner.

One fault at a time; steps are done at most once; an area is opened once and stays open; the repair ends with the first
success, or when every repair has been tried.
"""

import numpy as np

from guidance.diagnose.sequencing import NO_AREA, after_answer, after_repair, simple_problem, step_minutes


def independent_optimum(probability: np.ndarray, minutes: np.ndarray) -> np.ndarray:
    """Optimum (N,) over all orders of n independent perfect repairs, by subsets; (N, n) in."""
    count, size = probability.shape
    best = np.full((count, 1 << size), np.inf)
    best[:, (1 << size) - 1] = 0.0
    for done in range((1 << size) - 2, -1, -1):
        left = [i for i in range(size) if not done >> i & 1]
        mass = probability[:, left].sum(axis=1)
        for i in left:
            np.minimum(best[:, done], mass * minutes[:, i] + best[:, done | 1 << i], out=best[:, done])
    return best[:, 0]


def optimum(problem, belief: np.ndarray, done=frozenset(), opened=frozenset(), memo=None) -> float:
    """Optimum of a problem with overlapping repairs, questions and areas; `memo`: by what was done and heard."""
    memo = {} if memo is None else memo
    repairs = len(problem.works)
    if belief.sum() <= 1e-12 or all(r in {d[0] for d in done} for r in range(repairs)):
        return 0.0
    if done in memo:
        return memo[done]
    taken, best = {d[0] for d in done}, np.inf
    for step in range(repairs + len(problem.answers)):
        if step in taken:
            continue
        asked = step >= repairs
        area = int(problem.question_area[step - repairs] if asked else problem.repair_area[step])
        minutes = problem.question_minutes[step - repairs] if asked else problem.repair_minutes[step]
        if area >= 0 and area not in opened:
            minutes = minutes + problem.area_minutes[area]
        value = minutes * belief.sum()
        after = opened | {area} if area >= 0 else opened
        if asked:
            for outcome, likelihood in enumerate(problem.answers[step - repairs]):
                value += optimum(problem, belief * likelihood, done | {(step, outcome)}, after, memo)
        else:
            value += optimum(problem, belief * (1 - problem.works[step]), done | {(step, 0)}, after, memo)
        best = min(best, value)
    memo[done] = best
    return best


def random_dependent_problem(rng: np.random.Generator):
    """Overlapping imperfect repairs, two questions, two areas, and a last resort that mends everything."""
    faults = int(rng.integers(3, 8))
    belief = rng.dirichlet(np.full(faults, 0.8))
    works = np.zeros((faults, faults))
    for repair in range(faults):
        works[repair, repair] = rng.uniform(0.7, 1.0)
        for other in rng.choice(faults, size=int(rng.integers(0, 3)), replace=False):
            works[repair, other] = max(works[repair, other], rng.uniform(0.3, 1.0))
    works = np.vstack([works, np.ones(faults)])
    minutes = np.append(rng.uniform(3, 20, faults), rng.uniform(30, 90))
    answers = tuple(rng.dirichlet(np.full(int(rng.integers(2, 4)), 0.2), size=faults).T for _ in range(2))
    repair_area = np.append(rng.choice([NO_AREA, 0, 1], size=faults), NO_AREA)
    question_area = rng.choice([NO_AREA, 0, 1], size=2)
    problem = simple_problem(
        minutes, works, rng.uniform(0.3, 3, 2), answers, repair_area, question_area, rng.uniform(3, 20, 2)
    )
    return problem, belief


def policy_minutes(problem, situations, choose) -> float:
    """Expected minutes of following `choose(situations) -> step` to the end, over every answer."""
    mass = float(situations.belief.sum())
    repairs = len(problem.works)
    if mass <= 1e-12 or situations.done[0, :repairs].all():
        return 0.0
    step = choose(situations)
    total = float(step_minutes(problem, situations, step)[0]) * mass
    if step < repairs:
        return total + policy_minutes(problem, after_repair(problem, situations, step), choose)
    question = step - repairs
    return total + sum(
        policy_minutes(problem, after_answer(problem, situations, question, outcome), choose)
        for outcome in range(len(problem.answers[question]))
    )
