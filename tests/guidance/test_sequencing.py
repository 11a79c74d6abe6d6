"""The order of steps against exact dynamic programming, brute force over all orders, and a textbook's exercise."""

from itertools import permutations

import numpy as np
import pytest

from guidance.diagnose.sequencing import (
    look_ahead,
    order_minutes,
    ratio_minutes,
    ratio_order,
    simple_problem,
    start,
)
from tests.guidance.exact_planning import independent_optimum, optimum, policy_minutes, random_dependent_problem


def _best_step(problem):
    return lambda situations: int(look_ahead(problem, situations)[1][0].argmin())


@pytest.mark.parametrize("size", range(1, 9))
def test_ratio_order_equals_dynamic_programming_on_independent_repairs(size):
    """10,000 random instances over n = 1 … 8. Source: Kadane and Simon, after arXiv 1203.3502 (abstract read)."""
    rng = np.random.default_rng(size)
    probability = rng.dirichlet(np.ones(size), size=1250)
    minutes = rng.uniform(0.5, 60.0, (1250, size))
    order = ratio_order(probability, minutes)
    p, c = (np.take_along_axis(values, order, axis=1) for values in (probability, minutes))
    left = 1.0 - np.cumsum(p, axis=1) + p
    assert (left * c).sum(axis=1) == pytest.approx(independent_optimum(probability, minutes), rel=1e-12)


def test_planner_finds_the_optimum_of_independent_repairs():
    for seed in range(60):
        rng = np.random.default_rng(seed)
        size = int(rng.integers(2, 7))
        belief, minutes = rng.dirichlet(np.ones(size)), rng.uniform(0.5, 60.0, size)
        problem = simple_problem(minutes, np.eye(size))
        best = independent_optimum(belief[None], minutes[None])[0]
        assert ratio_minutes(problem, start(problem, belief))[0] == pytest.approx(best, rel=1e-12)
        assert policy_minutes(problem, start(problem, belief), _best_step(problem)) == pytest.approx(best, rel=1e-12)


@pytest.mark.thorough
def test_planner_stays_close_to_the_optimum_where_steps_depend_on_each_other():
    """Overlapping and imperfect repairs, questions, areas. `tests/bench/planning_regret.py` runs 10,000."""
    ratios = []
    for seed in range(120):
        problem, belief = random_dependent_problem(np.random.default_rng(seed))
        reached = policy_minutes(problem, start(problem, belief), _best_step(problem))
        ratios.append(reached / optimum(problem, belief))
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(ratios) <= 1.01
    assert max(ratios) <= 1.10


def test_questions_and_shared_areas_are_what_makes_the_difference():
    """The same instances by the updated ratio rule alone cost clearly more, so the look-ahead earns its time."""
    ratios = []
    for seed in range(60):
        problem, belief = random_dependent_problem(np.random.default_rng(seed))
        ratios.append(ratio_minutes(problem, start(problem, belief))[0] / optimum(problem, belief))
    assert np.mean(ratios) > 1.05


def test_overlapping_repairs_static_order_updated_rule_optimum():
    """p = (.20, .25, .40, .15), unit costs, A mends 2 and 3, B 1 and 2, D 3 and 4: 1.55, 1.50, 1.45.

    An example of our own; the optimum is that of brute force over all orders, computed here.
    """
    belief = np.array([0.20, 0.25, 0.40, 0.15])
    works = np.array([[0, 1, 1, 0], [1, 1, 0, 0], [0, 0, 1, 1]], dtype=float)
    problem = simple_problem(np.ones(3), works)
    static = tuple(ratio_order(works @ belief, np.ones(3)))
    assert static == (0, 2, 1)
    assert order_minutes(problem, belief, static) == pytest.approx(1.55)
    assert ratio_minutes(problem, start(problem, belief))[0] == pytest.approx(1.50)
    assert min(order_minutes(problem, belief, order) for order in permutations(range(3))) == pytest.approx(1.45)
    assert policy_minutes(problem, start(problem, belief), _best_step(problem)) == pytest.approx(1.45)


def test_computer_exercise():
    """Causes program .8, virus .15, hardware .05; reboot 1, virus tool 2, reformat 25, buy 500.

    Source: Jensen and Nielsen, Bayesian Networks and Decision Graphs, example 9.2 (read where quesba.com restates it;
    the book's name from memory). The reboot mends the program surely, the tool a virus with .95, reformatting program
    and virus with .99, buying everything; one cause. Our reading: after each step one sees whether it works; a
    step is not repeated and costs the same whenever it is done. Solved by us, by brute force over all orders: 27.875.
    """
    belief = np.array([0.8, 0.15, 0.05])
    works = np.array([[1, 0, 0], [0, 0.95, 0], [0.99, 0.99, 0], [1, 1, 1]])
    problem = simple_problem(np.array([1.0, 2.0, 25.0, 500.0]), works)
    cost = {order: order_minutes(problem, belief, order) for order in permutations(range(4))}
    best = min(cost, key=cost.__getitem__)
    assert best == (0, 1, 2, 3)
    assert cost[best] == pytest.approx(27.875, abs=1e-9)
    assert optimum(problem, belief) == pytest.approx(27.875, abs=1e-9)
    assert policy_minutes(problem, start(problem, belief), _best_step(problem)) == pytest.approx(27.875, abs=1e-9)


def test_an_area_is_opened_once_for_all_that_is_in_it():
    """Two repairs behind one lid, each alone not worth the opening, together they are."""
    belief = np.array([0.35, 0.35, 0.30])
    problem = simple_problem(
        np.array([1.0, 1.0, 8.0]), np.eye(3), repair_area=np.array([0, 0, -1]), area_minutes=np.array([10.0])
    )
    inside_first = 11 + 0.65 * 1 + 0.30 * 8
    assert ratio_minutes(problem, start(problem, belief))[0] == pytest.approx(inside_first)
    assert optimum(problem, belief) == pytest.approx(inside_first)


def test_a_question_that_tells_nothing_apart_is_never_asked():
    belief = np.array([0.6, 0.4])
    useless = np.array([[0.5, 0.5], [0.5, 0.5]])
    problem = simple_problem(np.array([5.0, 7.0]), np.eye(2), np.array([0.1]), (useless,))
    _, by_step = look_ahead(problem, start(problem, belief))
    assert by_step[0].argmin() == 0


def test_a_cheap_question_that_settles_all_is_asked_first():
    belief = np.array([0.5, 0.5])
    problem = simple_problem(np.array([30.0, 30.0]), np.eye(2), np.array([1.0]), (np.eye(2),))
    value, by_step = look_ahead(problem, start(problem, belief))
    assert by_step[0].argmin() == 2
    assert value[0] == pytest.approx(31.0)


def test_a_repair_of_one_of_two_faults_leaves_the_other():
    """Hypotheses: first fault, second fault, both. Mending one of both passes to the other alone."""
    works = np.array([[1.0, 0, 0], [0, 1.0, 0]])
    leaves = np.array([[[0, 0, 0], [0, 1, 0], [0, 1, 0]], [[1, 0, 0], [0, 0, 0], [1, 0, 0]]], dtype=float)
    problem = simple_problem(np.array([4.0, 6.0]), works)
    problem = type(problem)(**{**problem.__dict__, "leaves": leaves})
    assert order_minutes(problem, np.array([0, 0, 1.0]), (0, 1)) == pytest.approx(10.0)
    assert look_ahead(problem, start(problem, np.array([0, 0, 1.0])))[0][0] == pytest.approx(10.0)
