"""Shares of classes out of readings that were made under other shares, by maximum likelihood.

With L[n, k] = P(what was read of n | class k), up to a factor of each n, the shares that make all readings likeliest
are found by expectation-maximisation (Saerens, Latinne and Decaestecker 2002): each reading is divided among the
classes by the shares so far, and what each class got are the next shares. Calibrated posteriors give L when they are
divided by the prior that is in them; a confusion matrix gives it as its columns, and then the result is the inverse of
the confusion where that is possible, and the nearest in likelihood where it is not.
"""

import numpy as np

MOST_ROUNDS = 20_000
CLOSE_ENOUGH = 1e-9


def likeliest_shares(
    likelihoods: np.ndarray, weights: np.ndarray | None = None, known: np.ndarray | None = None
) -> np.ndarray:
    """The shares (K,) for likelihoods (N, K). `weights` (N,): how often each row came; `known` (K,): lifts beside."""
    rows, classes = likelihoods.shape
    times = np.ones(rows) if weights is None else weights
    beside = np.zeros(classes) if known is None else known
    total = times.sum() + beside.sum()
    shares = np.full(classes, 1 / classes)
    for _ in range(MOST_ROUNDS if total else 0):
        divided = likelihoods * shares
        divided /= np.maximum(divided.sum(axis=1, keepdims=True), 1e-300)
        after = (times @ divided + beside) / total
        moved, shares = float(np.abs(after - shares).max()), after
        if moved < CLOSE_ENOUGH:
            break
    return shares
