"""Which geometry family is drawn: families are what is held out, and a style has several of each kind."""

from collections.abc import Sequence
from typing import Final

import numpy as np

_ENDLESS: Final = ("assembled", "waved", "plates", "fins", "wings")
"""Families in which no two are alike: each comes up as often as `_AS_OFTEN` others."""

_AS_OFTEN: Final = 5


def drawn_family(rng: np.random.Generator, families: Sequence[str]) -> str:
    """One of a style's families."""
    return str(rng.choice([name for name in families for _ in range(_AS_OFTEN if name in _ENDLESS else 1)]))
