"""Things without a name: one of a dozen builds with one to four of two dozen things on it, so hundreds of kinds.

What makes a lift part is never all there. A mushroom button stands on no closed housing, and what is round has nothing
to turn on its axis, since a drum on a tube with a knob would be an actuator.
"""

import numpy as np

from synthetic_samples.geometry import Piece
from synthetic_samples.grammar.nameless.additions import ADDITIONS
from synthetic_samples.grammar.nameless.builds import BUILDS
from synthetic_samples.splits import PRODUCTIONS

CLOSED = ("case", "stack", "wedge")
"""Builds that could be taken for a control unit's housing."""


def mixture(rng: np.random.Generator, style: str) -> tuple[str, list[Piece]]:
    """A name that tells build and additions, and the thing itself in real size (metres) about the origin."""
    plans, additions = PRODUCTIONS["build"][style], PRODUCTIONS["addition"][style]
    plan = plans[int(rng.integers(len(plans)))]
    build = BUILDS[plan](rng, style)
    allowed = [name for name in additions if not (name == "mushroom" and plan in CLOSED)]
    count = min(int(rng.choice([1, 2, 3, 4], p=[0.25, 0.35, 0.25, 0.15])), len(allowed))
    names = sorted(str(name) for name in rng.choice(allowed, count, replace=False))
    pieces = list(build.pieces)
    for name in names:
        pieces += ADDITIONS[name](rng, style, build)
    return "_".join([plan, "with", *names]), pieces
