"""One photo of a lift against two from different sides, merged by the very function that answers a user."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from classifier.identify import PhotoReading
from classifier.model import Model
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX
from guidance.advise.answer import answer
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.answer import Answer, ModelInfo
from training.evaluate.scores import Judged, true_generation
from training.measure.measures import share

FIGURES = ("undecided", "confirmed", "confirmed_wrong", "wrong")
"""Shares of lifts: neither seen nor decided; confirmed; confirmed and wrong; decided at all, and wrong."""

_DECIDED = ("confirmed", "likely", "unlisted")


@dataclass(frozen=True)
class Lift:
    """The first two photos of one lift, each judged by itself, and the answer for both."""

    photos: tuple[Judged, Judged]
    answer: Answer


def answered(readings: Sequence[PhotoReading], catalogue: Catalogue, model: Model) -> Answer:
    """What a user is told of these photos of one lift, without any question answered."""
    info = ModelInfo.model_validate(asdict(model.info))
    return answer(readings, [], catalogue, info, model.facts)


def lifts_of(photos: Sequence[Judged], catalogue: Catalogue, model: Model) -> list[Lift]:
    """Every lift that has two photos among these."""
    groups: dict[object, list[Judged]] = {}
    for photo in photos:
        if photo.record.lift is not None:
            groups.setdefault(photo.record.lift, []).append(photo)
    pairs = [(group[0], group[1]) for group in groups.values() if len(group) > 1]
    return [Lift(pair, answered([photo.reading for photo in pair], catalogue, model)) for pair in pairs]


def two_photo_figures(lifts: Sequence[Lift], catalogue: Catalogue) -> dict:
    """For generation and lowering the `FIGURES` by the first photo and by both, over lifts whose truth is known."""
    found: dict = {"lifts": len(lifts)}
    for part in ("generation", "lowering"):
        known = [(lift, truth) for lift in lifts if (truth := _truth(lift, part, catalogue)) is not None]
        one = [_outcome(lift.photos[0].answer, part, truth) for lift, truth in known]
        two = [_outcome(lift.answer, part, truth) for lift, truth in known]
        found[part] = {
            "one": {name: share([case[name] for case in one]).as_dict() for name in FIGURES},
            "two": {name: share([case[name] for case in two]).as_dict() for name in FIGURES},
            "settled_by_the_second": sum(a["undecided"] and not b["undecided"] for a, b in zip(one, two, strict=True)),
            "unsettled_by_the_second": sum(
                b["undecided"] and not a["undecided"] for a, b in zip(one, two, strict=True)
            ),
        }
    return found


def _truth(lift: Lift, part: str, catalogue: Catalogue) -> str | None:
    """What the lift is, from the first photo that shows the part; None where neither does, or one shows several."""
    kind = CONTROL_BOX if part == "generation" else ACTUATOR_HEAD
    if any(sum(s.kind == kind for s in photo.record.subjects) > 1 for photo in lift.photos):
        return None
    photo = next((photo for photo in lift.photos if photo.true_subject(kind)), None)
    if photo is None:
        return None
    if part == "generation":
        return true_generation(photo, catalogue)
    return photo.true_subject(kind).concepts["lowering"].value


def _outcome(told: Answer, part: str, truth: str) -> dict[str, bool]:
    component = told.control_box if part == "generation" else told.actuator
    decided = component.decision in _DECIDED
    wrong = decided and component.favourite != truth
    confirmed = component.decision == "confirmed"
    return {
        "undecided": not decided,
        "confirmed": confirmed,
        "confirmed_wrong": confirmed and wrong,
        "wrong": wrong,
    }
