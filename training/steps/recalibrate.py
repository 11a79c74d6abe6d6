"""The recipe fitted anew to own photos, drawn towards the one in use by how little was seen. Networks stay."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from classifier.calibration import concept_probabilities
from classifier.model import Model
from classifier.recipe import CLASSES, ConceptRecipe, ReaderRecipe, Scaling
from classifier.taxonomy import CONCEPTS
from training.calibrate.calibrate import concept_cases
from training.calibrate.conformal import set_thresholds
from training.config import COVERAGE
from training.data.manifest import Record
from training.ood.gate import Gate
from training.steps.shrink import shrunk_scaling, shrunk_share, shrunk_shares
from training.steps.teach import Seen


def recalibrated(model: Model, own: Seen, renders: Seen) -> ReaderRecipe:
    """The reader's recipe with scaling, mix of values, hidden shares and sets by own photos.

    `renders` are those of the replay set that may be learned from: sets have to hold the truth on either.
    """
    gate, reader = Gate.of(model), model.reader.recipe
    concepts = {concept: _concept(concept, reader.concepts[concept], own, renders, gate) for concept in CONCEPTS}
    return reader.with_(concepts=concepts)


def _concept(concept: str, shipped: ConceptRecipe, own: Seen, renders: Seen, gate: Gate) -> ConceptRecipe:
    logits, truths, _ = concept_cases(*own, concept, gate)
    scaling = shrunk_scaling(concept, logits, truths, shipped)
    met, hidden = _met(concept, own[1])
    return shipped.with_(
        **scaling.model_dump(),
        priors=shrunk_shares(shipped.priors, met),
        hidden_shares={v: shrunk_share(shipped.hidden_shares[v], hidden[v], met[v]) for v in CONCEPTS[concept]},
        set_thresholds=_sets(concept, scaling, shipped, (logits, truths), concept_cases(*renders, concept, gate)[:2]),
    )


def _met(concept: str, records: Sequence[Record]) -> tuple[Counter[str], Counter[str]]:
    """How often each value is met in these pictures, and how often it is hidden then."""
    told = [s.concepts[concept] for record in records for s in record.subjects if concept in s.concepts]
    return Counter(reading.value for reading in told), Counter(r.value for r in told if not r.visible)


def _sets(
    concept: str,
    scaling: Scaling,
    shipped: ConceptRecipe,
    own: tuple[np.ndarray, np.ndarray],
    renders: tuple[np.ndarray, np.ndarray],
) -> dict[str, float]:
    """Set thresholds that cover own photos and renders together; never below the shipped one.

    So a set only ever grows by few photos: what is confirmed has to have one value in it.
    """
    logits, truths = (np.concatenate(pair) for pair in zip(own, renders, strict=True))
    fitted = set_thresholds(concept_probabilities(logits, concept, scaling), truths, CLASSES[concept], COVERAGE)
    counts = np.bincount(truths, minlength=len(CLASSES[concept]))
    return {
        value: max(shipped.set_thresholds[value], fitted[value]) if counts[n] >= FEWEST_OF_A_VALUE
        else shipped.set_thresholds[value]
        for n, value in enumerate(CLASSES[concept])
    }  # fmt: skip


FEWEST_OF_A_VALUE = 19  # with fewer a set of 95 % coverage would hold the value always
