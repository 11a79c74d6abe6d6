"""Which photos to label next: those that the model is least sure of, and that are least like each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from classifier.errors import PhotoError
from classifier.finder import Finder
from classifier.identify import decide
from classifier.model import Model
from classifier.photo import PhotoLimits, open_photo
from classifier.quality import judge
from classifier.reader import FEATURES
from training.measure.collect import LOWEST_PROBABILITY

MISSED_BITS = 1.0
"""What a photo is worth in which something may be a part but none is answered."""


@dataclass(frozen=True)
class Candidate:
    """One photo without a label: the doubt of its readings in bits, its features (F,), and why it is asked for."""

    path: Path
    doubt_bits: float
    features: np.ndarray
    why: str


def candidates(paths: Sequence[Path], model: Model) -> tuple[list[Candidate], list[str]]:
    """What a label would settle in each photo; and remarks on those that tell nothing or cannot be read."""
    found, remarks = [], []
    for path in paths:
        try:
            found.append(_candidate(path, model))
        except (PhotoError, OSError) as problem:
            remarks.append(f"{path.name}: {getattr(problem, 'reason', problem)}")
    return [each for each in found if each], remarks


def next_photos(pool: Sequence[Candidate], count: int, known: np.ndarray, model: Model) -> list[Candidate]:
    """The `count` photos worth most: doubt times the distance to what is labelled (`known` (N, F)) or chosen already.

    Greedy; the distance is that in which everything the networks meet spreads alike.
    """
    factor, middle = model.acceptance.space.all_factor, model.acceptance.space.all_mean
    if not model.acceptance.space.fitted or not len(pool):
        return sorted(pool, key=lambda each: -each.doubt_bits)[:count]
    places = (np.array([each.features for each in pool]) - middle) @ factor  # (P, F)
    nearest = _distances(places, (known - middle) @ factor) if len(known) else np.full(len(pool), np.inf)
    doubts, chosen = np.array([each.doubt_bits for each in pool]), []
    while len(chosen) < min(count, len(pool)):
        worth = doubts * np.where(np.isinf(nearest), 1.0, nearest)
        worth[chosen] = -1.0
        best = int(worth.argmax())
        chosen.append(best)
        nearest = np.minimum(nearest, _distances(places, places[best : best + 1]))
    return [pool[place] for place in chosen]


def _candidate(path: Path, model: Model) -> Candidate | None:
    photo = open_photo(path.read_bytes(), path.name, PhotoLimits())
    if not judge(photo).usable:
        return None
    recipe = model.finder.recipe
    eager = recipe.with_(thresholds=dict.fromkeys(recipe.kinds, LOWEST_PROBABILITY))
    proposed = Finder(model.finder.session, eager)(photo)[:3]
    if not proposed:
        return None
    read = model.reader(photo, proposed)
    answered = decide(proposed, read, model)
    features = np.mean([each[FEATURES] for each in read], axis=0)
    if not answered:
        kind = proposed[0].kind.replace("_", " ")
        return Candidate(path, MISSED_BITS, features, f"perhaps a {kind} that is not seen")
    most = max(answered, key=lambda each: each.doubt_bits)
    open_ = max(most.concepts, key=lambda concept: most.concepts[concept].doubt_bits, default="")
    return Candidate(path, most.doubt_bits, features, f"{open_} is open" if open_ else "a part without features")


def _distances(places: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Of each place (P, F) how far the nearest of the others (N, F) is, (P,)."""
    return np.sqrt(((places[:, None] - others[None]) ** 2).sum(axis=2)).min(axis=1)
