"""Every seeded way of breaking a safety rule is noticed, and nothing is where none is broken."""

import random
from itertools import product

import pytest

from classifier.errors import CaseError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose import troubleshoot as module
from guidance.documents.case import Case, Done
from tests.guidance.safety_mutants import MUTATIONS, mutate
from tests.guidance.safety_pairs import PAIRS
from tests.guidance.safety_rules import assert_safe, violations
from tests.guidance.safety_walk import (
    actuators,
    circumstances,
    gate_cases,
    on_the_way_down,
    said_differently,
    seen,
    steps,
    two_findings,
)

SEED = 20


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.mark.thorough
def test_mutants_are_all_caught(catalogue):
    """At least sixty, ten of them pairs of sentences that contradict: the project's own bar."""
    survivors = []
    for number, (name, _) in enumerate(MUTATIONS):
        with pytest.MonkeyPatch.context() as patch:
            if not _noticed(mutate(catalogue, number, SEED, patch)):
                survivors.append(name)
    assert survivors == []
    assert len(MUTATIONS) >= 60 and len(PAIRS) >= 10


def _noticed(mutant) -> bool:
    """Whether a rule is broken somewhere; a refusal where the way down should be is noticed, too."""
    try:
        return any(list(violations(case, answer)) for case, answer in _short_walk(mutant))
    except CaseError:
        return True


def _short_walk(catalogue):
    """A part of every walk, a little of each in turn."""
    heads = [None, *actuators()[1:5], seen("likely", "twist_knob")]
    confirmed = seen("confirmed", "hung-top"), seen("confirmed", "twist_knob")
    sealed = seen("confirmed", "sealed-top"), seen("likely", "twist_knob")
    stacked, front = ((seen("confirmed", g), None) for g in ("stacked-front", "sealed-front"))
    likely = seen("likely", "hung-top"), None
    before = [*gate_cases(catalogue, heads, [None], ())]
    random.Random(SEED).shuffle(before)
    return in_turn(
        ((case, module.troubleshoot(case, catalogue)) for case in before),
        steps(catalogue, [confirmed, sealed, likely, stacked, front], ("dead",)),
        steps(catalogue, [confirmed, sealed], ("no_charge_lamps", "runs_down", "hand_only_dead")),
        on_the_way_down(catalogue, [seen("confirmed", "squeeze_tabs"), None]),
        said_differently(catalogue),
        circumstances(catalogue, ("no_charge_lamps",)),
        two_findings(catalogue, ("dead",), every=61),
        worked_and_found(catalogue),
    )


def in_turn(*walks):
    """One state of each walk after the other, until all are walked."""
    left = list(walks)
    while left:
        for walk in list(left):
            state = next(walk, None)
            if state is None:
                left.remove(walk)
            else:
                yield state


def worked_and_found(catalogue):
    """A repair that worked, with damage before it or trouble after it."""
    found = Done(id="look_hand_cord", outcome="damaged"), Done(id="try_hand_control", outcome="dead")
    worked = Done(id="push_hand_plug", outcome="works")
    for role, other in product(ROLES, found):
        for done in ((other, worked), (worked, other)):
            for context in ({}, {"wet": "yes"}):
                case = Case(
                    role=role, person_in_sling="no", danger_signs=(), symptom="dead", done=done, context=context
                )
                yield case, module.troubleshoot(case, catalogue)
    wet = {"symptom": "dead", "done": (worked,), "context": {"wet": "yes"}}
    for role in ROLES:
        case = Case(role=role, person_in_sling="no", danger_signs=(), **wet)
        yield case, module.troubleshoot(case, catalogue)


@pytest.mark.thorough
def test_the_short_walk_finds_nothing_in_the_sound_catalogue(catalogue):
    assert_safe(_short_walk(catalogue), at_least=1000)
