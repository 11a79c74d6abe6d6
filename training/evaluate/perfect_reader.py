"""What would be answered if every part were found and read rightly: what is still open then, no network can settle."""

from collections.abc import Mapping, Sequence

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import Model
from classifier.quality import Quality
from classifier.recipe import CLASSES
from classifier.taxonomy import NOT_VISIBLE
from guidance.catalogue.catalogue import Catalogue
from training.data.manifest import Reading, Record
from training.evaluate.scores import Judged, fair_ones, figures, judged
from training.evaluate.two_photos import answered, lifts_of, two_photo_figures

Priors = Mapping[str, Mapping[str, float]]

CERTAINTIES = (0.99, 0.999)
"""How sure of each value the perfect reader says it is; at 0.99 a confirmed lowering mechanism is out of reach."""

DISPLAYS_TURNED_AWAY = 0.07
"""Share of the displays that cannot be read where the front can: of 236 in 700 scenes of the held-out style 17."""


def perfect_reading(record: Record, certainty: float, priors: Priors) -> PhotoReading:
    """The truth of a record as a reading: each value that its picture leaves possible shares `certainty`.

    `priors` tell how often a concept has each value, which a model's readings go by (`ReadingFacts`). That there are no
    service buttons is told of the front and one side, and half of those at the side are on the far one; that there is
    no display is told of the front, and some stand on the top or a side.
    """
    subjects = tuple(
        SubjectReading(
            subject.kind,
            subject.box,
            certainty,
            {concept: _reading(concept, truth, certainty, priors) for concept, truth in subject.concepts.items()},
        )
        for subject in record.subjects
    )
    return PhotoReading(record.path.name, record.width, record.height, Quality(True, ()), subjects)


def perfect_figures(records: Sequence[Record], catalogue: Catalogue, model: Model) -> dict:
    """For each certainty what is right and what confirmed in fair photos, and what a second photo settles."""
    found = {}
    for certainty in CERTAINTIES:
        photos = [_perfect(record, certainty, catalogue, model) for record in records]
        fair = figures(fair_ones(photos), catalogue)
        two_photos = two_photo_figures(lifts_of(photos, catalogue, model), catalogue)
        right = {part: fair[part]["right"] for part in ("generation", "lowering")}
        found[str(certainty)] = {"fair_right": right, "fair_confirmed": fair["confirmed"], "two_photos": two_photos}
    return found


def _perfect(record: Record, certainty: float, catalogue: Catalogue, model: Model) -> Judged:
    reading = perfect_reading(record, certainty, model.facts.priors)
    return judged(record, reading, answered([reading], catalogue, model))


def _reading(concept: str, truth: Reading, certainty: float, priors: Priors) -> ConceptReading:
    shown = dict.fromkeys(truth.possible, 1 / len(truth.possible)) if truth.visible else {NOT_VISIBLE: 1.0}
    if concept in ("service_buttons", "charge_display") and "none" in shown:
        bare = priors[concept]["none"]
        beyond = DISPLAYS_TURNED_AWAY * (1 - bare) if concept == "charge_display" else priors[concept]["side"] / 2
        shown = {"none": bare / (bare + beyond), NOT_VISIBLE: beyond / (bare + beyond)}
    others = [value for value in CLASSES[concept] if value not in shown]
    probabilities = dict.fromkeys(others, (1 - certainty) / len(others))
    return ConceptReading(probabilities | {v: certainty * share for v, share in shown.items()}, tuple(shown))
