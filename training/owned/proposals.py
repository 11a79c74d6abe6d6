"""Where a labelled part probably is and what a photo of it probably hides, as the present model sees it."""

from collections.abc import Callable
from dataclasses import replace

from classifier.calibration import named_probabilities
from classifier.finder import Finder, Found
from classifier.model import Model
from classifier.photo import Photo
from classifier.taxonomy import NOT_VISIBLE
from training.data.manifest import Box
from training.owned.labels import Labelled
from training.owned.photos import WHOLE, Propose

LEAST_PROBABILITY = 0.05  # the label says that the part is there, so a weak peak of its kind is good enough


def proposals_of(model: Model) -> Propose:
    """A function that proposes box and hidden concepts by this model; the whole photo where it finds nothing."""
    recipe = model.finder.recipe
    eager = Finder(model.finder.session, recipe.with_(thresholds=dict.fromkeys(recipe.kinds, LEAST_PROBABILITY)))

    def propose(photo: Photo, labelled: Labelled) -> tuple[Box, str, tuple[str, ...]]:
        box, box_from = (labelled.box, "owner") if labelled.box else _likeliest(eager, photo, labelled.kind)
        return box, box_from, _hidden(model, photo, replace(labelled, box=box))

    return propose


def _likeliest(finder: Callable[[Photo], list[Found]], photo: Photo, kind: str) -> tuple[Box, str]:
    found = [f for f in finder(photo) if f.kind == kind]
    return (max(found, key=lambda f: f.probability).box, "model") if found else (WHOLE, "whole photo")


def _hidden(model: Model, photo: Photo, labelled: Labelled) -> tuple[str, ...]:
    if not labelled.values:
        return ()
    logits = model.reader(photo, [Found(labelled.kind, labelled.box, 1.0)])[0]
    hidden = []
    for concept in labelled.values:
        read = named_probabilities(logits[concept], concept, model.reader.recipe.concepts[concept])
        if read[NOT_VISIBLE] > 0.5:
            hidden.append(concept)
    return tuple(hidden)
