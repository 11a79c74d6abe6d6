"""Photos whose truth and readings are stated by hand, judged as an evaluation judges them."""

from functools import cache
from pathlib import Path

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import ReadingFacts
from classifier.quality import Quality
from classifier.recipe import CLASSES
from classifier.taxonomy import CONCEPTS_OF
from guidance.advise.answer import answer
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.documents.answer import ModelInfo
from training.data.manifest import Reading, Record, Subject
from training.evaluate.scores import Judged, judged

BOX, ELSEWHERE = (0.2, 0.2, 0.6, 0.6), (0.7, 0.7, 0.95, 0.95)
SEALED_TOP = {"stop_position": "top", "battery": "built_in", "service_buttons": "none", "charge_display": "lamp_row"}
NO_GENERATION = {**SEALED_TOP, "battery": "stacked_pack"}
INFO = ModelInfo(version="1", sha256="0" * 64, trained_on={"synthetic": 1, "owned_photos": 0}, coverage=0.95)
FACTS = ReadingFacts(
    {c: {v: 1 / (len(vs) - 1) for v in vs[:-1]} for c, vs in CLASSES.items()},
    {c: dict.fromkeys(vs[:-1], 0.5) for c, vs in CLASSES.items()},
    doubt=0.002,
    correlation=0.5,
)


@cache
def demo_catalogue() -> Catalogue:
    """The demo pool, loaded once."""
    return load(DEMO_CATALOGUE)


def truth(kind: str, values: dict[str, str], possible: tuple[str, ...] = (), box: tuple = BOX) -> Subject:
    return Subject(kind, box, False, {c: Reading(v, True, possible or (v,), 100.0) for c, v in values.items()})


def said(kind: str, values: dict[str, str], box: tuple = BOX, sure: float = 0.999) -> SubjectReading:
    concepts = {}
    for concept in CONCEPTS_OF[kind]:
        classes = CLASSES[concept]
        rest = (1 - sure) / (len(classes) - 1)
        probabilities = {value: sure if value == values[concept] else rest for value in classes}
        concepts[concept] = ConceptReading(probabilities, (values[concept],))
    return SubjectReading(kind, box, 0.99, concepts)


def photo(true: tuple[Subject, ...], read: tuple[SubjectReading, ...]) -> Judged:
    record = Record(Path("x.jpg"), None, 100, 100, "heldout", "close", (), True, 0.5, true, ())
    reading = PhotoReading("x.jpg", 100, 100, Quality(True, ()), read)
    return judged(record, reading, answer([reading], [], demo_catalogue(), INFO, FACTS))
