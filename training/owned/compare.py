"""Old model against new on the same held-out pictures: what got better, what got worse, and how little that proves."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from classifier.identify import PhotoReading
from classifier.recipe import Recipe
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONCEPTS_OF, CONTROL_BOX, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from training.data.manifest import Record
from training.evaluate.evaluate import judge_photos
from training.evaluate.scores import Judged, confirmed_and_wrong, true_generation
from training.measure.measures import Share

FOUND, EMPTY, SOBER = "parts found", "photos of no lift part, nothing seen", "confirmed answers that are right"
SURE = "parts that are rightly confirmed"
SIGNIFICANT = 0.05  # one-sided, for the sign test over the cases on which the two models differ
ZERO_ERRORS_TO_CLAIM = 0.005  # the share of wrong confirmed answers that the project allows itself

Outcomes = dict[str, dict[object, bool]]
"""For each figure its cases with whether they came out right."""


@dataclass(frozen=True)
class Row:
    """One figure of both models over the same cases; only the old one got `lost` cases right, only the new `gained`."""

    pictures: str
    figure: str
    n: int
    old_hits: int
    new_hits: int
    lost: int
    gained: int

    @property
    def worse(self) -> bool:
        """Whether the new share lies under the old one's interval, or the cases that changed say so by themselves."""
        low, _ = Share(self.old_hits, self.n).interval
        return self.new_hits < self.old_hits and (
            self.new_hits / self.n < low or sign_test(self.lost, self.gained) <= SIGNIFICANT
        )


@dataclass(frozen=True)
class Comparison:
    """All figures; `reasons_against` is empty when the new model may be promoted."""

    old_version: str
    new_version: str
    rows: tuple[Row, ...]

    @property
    def reasons_against(self) -> tuple[str, ...]:
        """One sentence for each figure that got worse beyond its interval, and one when nothing was measured."""
        reasons = [
            f"{row.figure} on {row.pictures}: {Share(row.old_hits, row.n)} before, {Share(row.new_hits, row.n)} now; "
            f"{row.lost} cases lost, {row.gained} gained"
            for row in self.rows
            if row.worse
        ]
        if not any(row.n and row.figure in CONCEPTS for row in self.rows):
            reasons.append("no held-out photo shows anything to read, so nothing says that the new model is no worse")
        return tuple(reasons)

    def as_dict(self) -> dict:
        """Plain values for JSON."""
        rows = [asdict(row) | {"worse": row.worse} for row in self.rows]
        versions = {"old": self.old_version, "new": self.new_version}
        return versions | {"rows": rows, "reasons_against": list(self.reasons_against)}

    def as_text(self) -> str:
        """A table for a terminal, and what the number of photos can prove."""
        lines = [f"old model {self.old_version}, new model {self.new_version}; share right (95 % interval, n)"]
        for row in self.rows:
            if row.n:
                old, new = Share(row.old_hits, row.n), Share(row.new_hits, row.n)
                mark = "  WORSE" if row.worse else ""
                lines.append(f"  {row.pictures:<13}{row.figure:<37}{old}  ->  {new}  -{row.lost} +{row.gained}{mark}")
        return "\n".join([*lines, *what_it_proves(self.rows)])


def compare_models(
    old: Path, new: Path, held: dict[str, Sequence[Record]], boxed: set[Path], catalogue: Catalogue, workers: int
) -> Comparison:
    """Both models over the same held-out pictures; finding is judged where a person or a renderer drew the boxes."""
    found = {}
    for pictures, records in held.items():
        found[pictures] = tuple(
            outcomes(weights, records, boxed if pictures == "owned photos" else None, catalogue, workers)
            for weights in (old, new)
        )
    versions = [Recipe.read(weights)[0].version for weights in (old, new)]
    return comparison_of(*versions, found)


def comparison_of(old_version: str, new_version: str, found: dict[str, tuple[Outcomes, Outcomes]]) -> Comparison:
    """Every figure of the old and the new model's outcomes, by what the pictures are."""
    rows = [
        _row(pictures, figure, before.get(figure, {}), after.get(figure, {}))
        for pictures, (before, after) in found.items()
        for figure in _figures()
    ]
    return Comparison(old_version, new_version, tuple(rows))


def outcomes(
    weights: Path, records: Sequence[Record], boxed: set[Path] | None, catalogue: Catalogue, workers: int
) -> Outcomes:
    """Which cases the model in this folder gets right."""
    return outcomes_of(judge_photos(weights, records, catalogue, workers), boxed, catalogue)


def outcomes_of(photos: Sequence[Judged], boxed: set[Path] | None, catalogue: Catalogue) -> Outcomes:
    """Which cases came out right; a part that is not seen is a wrong case of each of its concepts."""
    found: Outcomes = {figure: {} for figure in _figures()}
    for photo in photos:
        record, reading = photo.record, photo.reading
        for concept, right in _concepts(record, reading):
            found[concept][record.path] = right
        if not record.subjects:
            found[EMPTY][record.path] = not reading.subjects
        elif boxed is None or record.path in boxed:
            found[FOUND] |= {(record.path, n): n in photo.matches for n in range(len(record.subjects))}
        confirmed = confirmed_and_wrong(photo, catalogue)
        found[SOBER] |= {(record.path, kind): not bad for kind, bad in confirmed.items()}
        found[SURE] |= {
            (record.path, kind): confirmed.get(kind) is False for kind in may_be_confirmed(photo, catalogue)
        }
    return found


def sign_test(lost: int, gained: int) -> float:
    """Chance of at least so many losses among the cases that changed, were a loss as likely as a gain."""
    changed = lost + gained
    return sum(math.comb(changed, k) for k in range(lost, changed + 1)) / 2**changed


def what_it_proves(rows: Iterable[Row]) -> list[str]:
    """Plain sentences on what the held-out owned photos can and cannot show."""
    sizes = [row.n for row in rows if row.pictures == "owned photos" and row.figure in CONCEPTS and row.n]
    if not sizes:
        return ["No held-out owned photo shows anything to read: nothing is proved."]
    fewest, most = min(sizes), max(sizes)
    low, _ = Share(most, most).interval
    return [
        f"A concept was tried on {fewest} to {most} held-out owned photos. Even {most} right of {most} would only say "
        f"that the true share is probably over {100 * low:.0f} %.",
        f"To show 95 % on a concept takes {cases_for_share(0.95)} photos without a mistake; to show that at most "
        f"{100 * ZERO_ERRORS_TO_CLAIM:.1f} % of confirmed answers are wrong, "
        f"{cases_for_zero_errors(ZERO_ERRORS_TO_CLAIM)} confirmed answers without one.",
    ]


def cases_for_share(share: float) -> int:
    """Fewest cases, all right, whose Wilson interval lies at or over `share`."""
    return next(n for n in range(1, 10_000) if Share(n, n).interval[0] >= share)


def cases_for_zero_errors(largest: float) -> int:
    """Fewest cases without an error that rule out, at 95 %, an error rate over `largest` (exact binomial)."""
    return math.ceil(math.log(0.05) / math.log(1 - largest))


def _figures() -> tuple[str, ...]:
    return (*CONCEPTS, FOUND, EMPTY, SURE, SOBER)


def may_be_confirmed(photo: Judged, catalogue: Catalogue) -> Iterable[str]:
    """The kinds of which this photo shows one part that could be confirmed: a listed generation, or a head."""
    if photo.true_subject(CONTROL_BOX) and true_generation(photo, catalogue) != UNLISTED:
        yield CONTROL_BOX
    if photo.true_subject(ACTUATOR_HEAD):
        yield ACTUATOR_HEAD


def _concepts(record: Record, reading: PhotoReading) -> Iterable[tuple[str, bool]]:
    """For each concept of each kind that the photo shows once: whether the likeliest reading of that kind is right."""
    for subject in record.subjects:
        if sum(other.kind == subject.kind for other in record.subjects) > 1:
            continue
        seen = [s for s in reading.subjects if s.kind == subject.kind]
        best = max(seen, key=lambda s: s.probability, default=None)
        for concept in CONCEPTS_OF[subject.kind]:
            truth = subject.concepts[concept]
            allowed = set(truth.possible) if truth.visible else {truth.truth}
            read = best.concepts[concept].probabilities if best else {}
            yield concept, bool(read) and max(read, key=read.__getitem__) in allowed


def _row(pictures: str, figure: str, old: dict[object, bool], new: dict[object, bool]) -> Row:
    """Both models over the cases of either; where a model says nothing at all it has said nothing wrong."""
    cases = set(old) | set(new)
    before, after = ([chosen.get(case, True) for case in cases] for chosen in (old, new))
    lost = sum(b and not a for b, a in zip(before, after, strict=True))
    gained = sum(a and not b for b, a in zip(before, after, strict=True))
    return Row(pictures, figure, len(cases), sum(before), sum(after), lost, gained)
