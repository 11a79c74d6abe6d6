"""The minutes that are stated at the first step are those that following the advice takes, on average and per role."""

import numpy as np
import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose.one_core import one_core
from tests.bench.stated_minutes import Minutes, measure

WITHIN = 0.10
CALLERS = 105
"""The whole figure: `python -m tests.bench.stated_minutes --cases 1050 --seed 2`; this one allows for its own error."""


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def kept(minutes: Minutes) -> bool:
    """Whether the ratio may lie within a tenth of one, by its 95 % interval."""
    return abs(minutes.ratio - 1) <= WITHIN + minutes.half_width


@pytest.mark.thorough
@pytest.mark.parametrize("role", ROLES)
def test_stated_minutes_are_kept(catalogue, role):
    with one_core():
        minutes = measure(catalogue, role, CALLERS, np.random.default_rng(11))
    assert kept(minutes), f"stated {minutes.stated.mean():.1f}, realised {minutes.realised.mean():.1f}"
    assert not kept(Minutes(1.5 * minutes.stated, minutes.realised)), "a statement half as much again is noticed"
    assert not kept(Minutes(0.5 * minutes.stated, minutes.realised))


def test_ratio_and_interval_by_hand():
    """Stated 2 against 1 and 3: the means agree; differences ±1, so 1.96 · √2 / √2 / 2 = 0.98."""
    minutes = Minutes(np.array([2.0, 2.0]), np.array([1.0, 3.0]))
    assert minutes.ratio == 1.0 and minutes.half_width == pytest.approx(0.98)
