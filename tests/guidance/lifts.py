"""Synthetic readings for the guidance tests, and callers who look at an imagined lift and err at the stated rates."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.quality import Quality
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONCEPTS_OF, CONTROL_BOX, NOT_VISIBLE
from guidance.answer import answer
from guidance.answer_model import Answer, ModelInfo, Next, TrainedOn
from guidance.catalogue import Catalogue
from guidance.evidence import Observed

EVEN_PRIORS = {concept: {v: 1.0 / len(values) for v in values} for concept, values in CONCEPTS.items()}
MODEL = ModelInfo(version="test", sha256="0" * 64, trained_on=TrainedOn(synthetic=0, owned_photos=0))


def reading(concept: str, **probabilities: float) -> ConceptReading:
    """A concept reading; what is left of 1 is shared evenly by the values that are not named."""
    values = (*CONCEPTS[concept], NOT_VISIBLE)
    others = [v for v in values if v not in probabilities]
    rest = 1.0 - sum(probabilities.values())
    full = {v: probabilities.get(v, rest / max(1, len(others))) for v in values}
    return ConceptReading(full, tuple(v for v in values if full[v] >= 0.05))


def subject(kind: str, concepts: Mapping[str, ConceptReading], probability: float = 1.0) -> SubjectReading:
    """A subject; concepts that are not given are not visible."""
    hidden = {c: reading(c, not_visible=1.0) for c in CONCEPTS_OF[kind]}
    return SubjectReading(kind, (0.2, 0.2, 0.7, 0.8), probability, {**hidden, **concepts})


def photo(*subjects: SubjectReading, name: str = "photo.jpg") -> PhotoReading:
    return PhotoReading(name, 480, 360, Quality(True, ()), tuple(subjects))


def box_photo(sure: float = 0.99, **values: str) -> PhotoReading:
    """A photo of a control box that reads each given concept value with probability `sure`."""
    return photo(subject(CONTROL_BOX, {c: reading(c, **{v: sure}) for c, v in values.items()}))


def head_photo(**probabilities: float) -> PhotoReading:
    """A photo of an actuator head with the given probabilities of `lowering`."""
    return photo(subject(ACTUATOR_HEAD, {"lowering": reading("lowering", **probabilities)}))


def ask(
    catalogue: Catalogue, readings: Sequence[PhotoReading] = (), *observed: tuple[str, str], role="caregiver"
) -> Answer:
    return answer(readings, [Observed(i, a) for i, a in observed], catalogue, MODEL, EVEN_PRIORS, role)


@dataclass
class Caller:
    """Somebody at a lift whose features are known to the test; answers and photos err as the catalogue states."""

    features: Mapping[str, str]
    catalogue: Catalogue
    rng: np.random.Generator
    person_in_sling: str = "no"

    def respond(self, wanted: Next) -> PhotoReading | Observed:
        if wanted.kind == "photo":
            return self.photograph(wanted.id)
        return self.tell(wanted.id)

    def tell(self, question: str) -> Observed:
        row = self.catalogue.observations_by_id[question]
        if row.about is None:
            return Observed(question, self.person_in_sling)
        chances = row.reliability[self.features[row.about]]
        return Observed(question, str(self.rng.choice(list(chances), p=list(chances.values()))))

    def photograph(self, view: str) -> PhotoReading:
        """Read what the view shows; a reading names the wrong value as often as the catalogue's accuracy says."""
        row = next(v for v in self.catalogue.views if v.id == view)
        accuracy = self.catalogue.next_step.reading_accuracy
        kind = ACTUATOR_HEAD if "lowering" in row.visible else CONTROL_BOX
        concepts = {}
        for concept, chance in row.visible.items():
            if self.rng.random() < chance:
                others = [v for v in CONCEPTS[concept] if v != self.features[concept]]
                right = self.rng.random() < accuracy
                named = self.features[concept] if right else str(self.rng.choice(others))
                concepts[concept] = reading(concept, **{named: accuracy, NOT_VISIBLE: 0.0})
        return photo(subject(kind, concepts))
