"""How much one photo may say, and how much a second one of the same lift adds: measured on the calibration split.

The doubt is the share of every reading that is taken to say nothing, of `DOUBTS` that of least mean log loss of the
true values, over all readings; never under the smallest one, for photos that are unlike the renders.

The correlation is that of `guidance.identify.heard`: of `CORRELATIONS` the largest whose mean log loss, over lifts with
two photos, is no more than one standard error above the least one (the rule of Breiman et al. 1984 for pruning, from
memory): what few lifts leave open is decided for the caution that two photos share their errors. Without
`FEWEST_LIFTS` such lifts it stays at `CHOSEN_CORRELATION`, which nobody measured.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from classifier.identify import PhotoReading, decide
from classifier.model import Model, ReadingFacts
from classifier.taxonomy import CONCEPTS
from guidance.identify.heard import heard
from guidance.identify.sources import Source, most_probable_subjects, photo_sources
from training.config import CHOSEN_CORRELATION, LEAST_DOUBT
from training.data.manifest import Record
from training.measure.collect import RawPhoto
from training.ood.gate import Gate

DOUBTS = (LEAST_DOUBT, 0.005, 0.01, 0.02, 0.05, 0.1)
CORRELATIONS = tuple(round(0.05 * step, 2) for step in range(21))
FEWEST_LIFTS = 50


@dataclass(frozen=True)
class Merging:
    """What the metadata's reader gets, and how it was measured, as plain values."""

    doubt: float
    correlation: float
    told: dict


@dataclass(frozen=True)
class Case:
    """What one photo says of one concept, and the values that are right: one, unless the photo leaves more open."""

    lift: object
    source: Source
    right: frozenset[str]
    visible: bool

    @property
    def loss(self) -> float:
        """Minus the log of what the source believes of the right values."""
        return _loss(np.array(list(self.source.belief.values())), tuple(self.source.belief), self.right)

    @property
    def wrong(self) -> bool:
        """Whether the likeliest value is not a right one."""
        return max(self.source.belief, key=self.source.belief.__getitem__) not in self.right


def fit_merging(raw: Sequence[RawPhoto], records: Sequence[Record], model: Model) -> Merging:
    """Doubt and correlation of a model by the module's rules, from what its networks said of these records."""
    readings = readings_of(raw, records, model)
    by_doubt = {}
    for doubt in DOUBTS:
        facts = replace(model.facts, doubt=doubt)
        losses = [case.loss for record, reading in zip(records, readings, strict=True)
                  for case in cases_of(record, reading, facts)]  # fmt: skip
        by_doubt[doubt] = float(np.mean(losses)) if losses else 0.0
    facts = replace(model.facts, doubt=min(by_doubt, key=lambda doubt: by_doubt[doubt]))
    pairs = pairs_of([case for record, reading in zip(records, readings, strict=True)
                      for case in cases_of(record, reading, facts)])  # fmt: skip
    correlation = fit_correlation(pairs)
    told = {
        "readings": len(losses),
        "log_loss_by_doubt": {str(doubt): loss for doubt, loss in by_doubt.items()},
        "lifts_with_two_photos": len({one.lift for one, _ in pairs}),
        "correlation_is_measured": correlation is not None,
    }
    return Merging(facts.doubt, CHOSEN_CORRELATION if correlation is None else correlation, told | errors_alike(pairs))


def readings_of(raw: Sequence[RawPhoto], records: Sequence[Record], model: Model) -> list[PhotoReading]:
    """What the model says of records, from outputs of its networks that were kept: no network runs again."""
    gate, readings = Gate.of(model), []
    for photo, record in zip(raw, records, strict=True):
        proposed = gate.proposed(photo)
        subjects = decide([gate.found(s) for s in proposed], [s.logits for s in proposed], model)
        readings.append(PhotoReading(record.path.name, record.width, record.height, photo.quality, subjects))
    return readings


def cases_of(record: Record, reading: PhotoReading, facts: ReadingFacts) -> Iterator[Case]:
    """Every concept that the photo is taken to tell of, where its kind is there once."""
    for kind, subject in most_probable_subjects(reading).items():
        truths = [s for s in record.subjects if s.kind == kind]
        if len(truths) != 1:
            continue
        for source in photo_sources(record.path.name, subject, facts):
            truth = truths[0].concepts[source.feature]
            right = truth.possible if truth.visible else (truth.value,)
            yield Case(record.lift, source, frozenset(right), truth.visible)


def pairs_of(cases: Sequence[Case]) -> list[tuple[Case, Case]]:
    """The first two photos of a lift that tell of one concept, for every lift and concept."""
    together: dict[tuple, list[Case]] = {}
    for case in cases:
        if case.lift is not None:
            together.setdefault((case.lift, case.source.feature), []).append(case)
    return [(group[0], group[1]) for group in together.values() if len(group) > 1]


def fit_correlation(pairs: Sequence[tuple[Case, Case]]) -> float | None:
    """The correlation of the module's rule; None with too few lifts."""
    lifts = list(dict.fromkeys(one.lift for one, _ in pairs))
    if len(lifts) < FEWEST_LIFTS:
        return None
    losses = np.zeros((len(CORRELATIONS), len(lifts)))
    counts = np.zeros(len(lifts))
    for one, other in pairs:
        place, values = lifts.index(one.lift), CONCEPTS[one.source.feature]
        counts[place] += 1
        for row, correlation in enumerate(CORRELATIONS):
            sources = [replace(case.source, correlation=correlation) for case in (one, other)]
            message = heard(one.source.feature, values, sources).likelihood
            losses[row, place] += _loss(message / message.sum(), values, one.right & other.right)
    losses /= counts
    above = losses - losses[losses.mean(axis=1).argmin()]  # (correlations, lifts)
    allowed = above.mean(axis=1) <= above.std(axis=1, ddof=1) / np.sqrt(len(lifts)) + 1e-12
    return CORRELATIONS[int(np.flatnonzero(allowed).max())]


def errors_alike(pairs: Sequence[tuple[Case, Case]]) -> dict:
    """Pearson's correlation of being wrong on both photos, where both show the concept; null without any error."""
    shown = [(one.wrong, other.wrong) for one, other in pairs if one.visible and other.visible]
    wrong = np.array(shown, dtype=float).reshape(-1, 2)
    varied = len(wrong) > 1 and bool((wrong.std(axis=0) > 0).all())
    return {
        "pairs_of_readings": len(shown),
        "wrong_on_both": int(wrong.all(axis=1).sum()),
        "wrong_on_one": int((wrong.sum(axis=1) == 1).sum()),
        "correlation_of_errors": float(np.corrcoef(wrong.T)[0, 1]) if varied else None,
    }


def _loss(belief: np.ndarray, values: Sequence[str], right: frozenset[str]) -> float:
    return float(-np.log(sum(p for p, value in zip(belief, values, strict=True) if value in right)))
