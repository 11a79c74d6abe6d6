"""Synthetic readings for the guidance tests, and catalogues changed for one test."""

import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import ReadingFacts
from classifier.quality import Quality
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONCEPTS_OF, CONTROL_BOX, NOT_VISIBLE
from guidance.advise.answer import answer
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue
from guidance.catalogue.rows import Role
from guidance.documents.answer import Answer, ModelInfo, TrainedOn
from guidance.identify.sources import Observed

EVEN_PRIORS = {concept: {v: 1.0 / len(values) for v in values} for concept, values in CONCEPTS.items()}
AS_OFTEN_HIDDEN = {concept: dict.fromkeys(values, 0.5) for concept, values in CONCEPTS.items()}
FACTS = ReadingFacts(EVEN_PRIORS, AS_OFTEN_HIDDEN, doubt=0.002, correlation=0.5)
HUNG_TOP = {"stop_position": "top", "battery": "hung_pack", "service_buttons": "front", "charge_display": "gauge"}
"""The values of one box in the demo catalogue."""

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
    catalogue: Catalogue,
    readings: Sequence[PhotoReading] = (),
    *observed: tuple[str, str],
    role: Role = "caregiver",
    model: ModelInfo = MODEL,
) -> Answer:
    return answer(readings, [Observed(i, a) for i, a in observed], catalogue, model, FACTS, role)


def rows_of(catalogue: Catalogue) -> dict[str, Any]:
    """The rows as a file would hold them: without the roles of steps, which follow from their minutes."""
    rows = catalogue.model_dump(exclude_unset=True)
    for step in (*rows.get("checks", ()), *rows.get("repairs", ())):
        del step["roles"]
    return rows


def changed_demo(folder: Path, file: str, old: str, new: str) -> Path:
    """A copy of the demo catalogue in which the first `old` in one file is replaced by `new`."""
    copied = shutil.copytree(DEMO_CATALOGUE, folder / "pool")
    path = copied / file
    text = path.read_text()
    if old not in text:
        raise ValueError(f"{file} does not hold {old!r}")
    path.write_text(text.replace(old, new, 1))
    return copied
