"""Shares of classes under another mix are those that another implementation finds."""

import numpy as np
import pytest
from quapy.method.aggregative import ACC, EMQ

from guidance.pool.shift import likeliest_shares


def test_shares_by_posteriors_are_those_of_its_expectation_maximisation() -> None:
    rng = np.random.default_rng(1)
    prior, mix = np.array([0.5, 0.3, 0.2]), np.array([0.1, 0.2, 0.7])
    seen = rng.normal(size=(4000, 3)) + 2.0 * np.eye(3)[rng.choice(3, 4000, p=mix)]
    likelihoods = np.exp(2.0 * seen)
    posteriors = likelihoods * prior / (likelihoods * prior).sum(axis=1, keepdims=True)
    theirs, _ = EMQ.EM(prior, posteriors, epsilon=1e-7)
    assert likeliest_shares(posteriors / prior) == pytest.approx(theirs, abs=2e-4)
    assert theirs == pytest.approx(mix, abs=0.03)


def test_shares_by_a_confusion_matrix_are_those_of_its_inverse() -> None:
    confusion = np.array([[0.8, 0.15, 0.05], [0.1, 0.7, 0.2], [0.05, 0.05, 0.9]])  # class by outcome
    counted = np.array([0.1, 0.2, 0.7]) @ confusion
    theirs = ACC.solve_adjustment(confusion.T, counted, method="inversion", solver="exact-raise")
    assert likeliest_shares(confusion.T, counted * 1000) == pytest.approx(theirs, abs=1e-5)
