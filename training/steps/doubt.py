"""Labels that look wrong: photos of one lift that disagree, and the model surely against what a person said."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from classifier.calibration import named_probabilities
from classifier.model import Model
from training.data.manifest import Record
from training.measure.collect import RawPhoto
from training.ood.gate import Gate

SURELY = 0.95
"""From this probability of another value on the model is surely against a label."""

HARDLY = 0.02
"""And the labelled value, and that it is hidden, have this probability together at most."""


@dataclass(frozen=True)
class Doubt:
    """A label that somebody should look at again: photo, concept, what is labelled, and what speaks against it."""

    photo: str
    concept: str
    labelled: str
    against: str

    def as_text(self) -> str:
        return f"{self.photo}: {self.concept} {self.labelled}; {self.against}"


def doubtful(entries: Sequence[dict], records: Sequence[Record], raw: Sequence[RawPhoto], model: Model) -> list[Doubt]:
    """Every doubt about the labels of a store, those that two photos of one lift contradict first."""
    return [*disagreeing(entries), *against_the_model(entries, records, raw, model)]


def disagreeing(entries: Sequence[dict]) -> Iterator[Doubt]:
    """A lift has one box and one actuator, so photos of it that name different values cannot all be right."""
    said: dict[tuple, dict[str, list[dict]]] = defaultdict(lambda: defaultdict(list))
    for entry in entries:
        lift = entry["owned"]["lift"]
        kinds = [subject["kind"] for subject in entry["subjects"]]
        for subject in entry["subjects"]:
            if lift and kinds.count(subject["kind"]) == 1:
                for concept, reading in subject["concepts"].items():
                    said[lift, concept][reading["value"]].append(entry)
    for (lift, concept), by_value in said.items():
        if len(by_value) < 2:
            continue
        most = max(map(len, by_value.values()))
        alone = sum(len(those) == most for those in by_value.values()) == 1  # a majority is not named itself
        for value, those in by_value.items():
            for entry in () if alone and len(those) == most else those:
                who = entry["owned"].get("said_by")
                others = ", ".join(f"{len(them)} of {lift} say {v}" for v, them in by_value.items() if v != value)
                yield Doubt(entry["file"], concept, f"{value}{f' (said by {who})' if who else ''}", f"but {others}")


def against_the_model(
    entries: Sequence[dict], records: Sequence[Record], raw: Sequence[RawPhoto], model: Model
) -> Iterator[Doubt]:
    gate = Gate.of(model)
    for entry, record, photo in zip(entries, records, raw, strict=True):
        for subject in gate.accepted(photo):
            if subject.matched < 0:
                continue
            for concept, truth in record.subjects[subject.matched].concepts.items():
                read = named_probabilities(subject.logits[concept], concept, model.reader.recipe.concepts[concept])
                likeliest = max(read, key=read.__getitem__)
                allowed = sum(read[value] for value in {*truth.possible, truth.truth})
                if read[likeliest] >= SURELY and allowed <= HARDLY:
                    sure = f"the model reads {likeliest} with {100 * read[likeliest]:.0f} %"
                    yield Doubt(entry["file"], concept, truth.truth, sure)
