"""Learning curves on pictures of a foreign world: how much each step gains from how many photos, labels wrong or not.

Photos are drawn lift by lift from those of style `pool-learn`; seven lifts in ten teach, the others decide as an
owner's held-out photos do whether the model may be promoted. Every figure is of style `pool-held`: lifts that no draw
contains, built of shapes of which it contains none. Intervals are bootstrapped over lifts, since photos of one lift are
alike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from classifier.model import Model
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS
from guidance.catalogue.catalogue import Catalogue
from training.calibrate.merging import readings_of
from training.data.manifest import Reading, Record, Subject, read_manifests
from training.evaluate.evaluate import judge_readings
from training.evaluate.scores import Judged, confirmed_and_wrong
from training.measure.collect import collect_proposed
from training.measure.measures import calibration_error
from training.owned.compare import may_be_confirmed
from training.steps.own import Own
from training.steps.replay import with_logits_of
from training.steps.step import STEPS, Known, compare, learn, networks_of

LEARN, HELD = "pool-learn", "pool-held"
TEACHING = 0.7  # of the lifts of a draw; the others judge
RESAMPLED = 2000


@dataclass(frozen=True)
class Draw:
    """One point of a curve before it is measured."""

    step: str
    photos: int
    wrong_labels: float
    number: int


def pool_of(weights: Path, replay: Path, folders: Sequence[Path], workers: int) -> tuple[bytes, Known]:
    """The served reader, and all that a step works on with the photos of drawn pools in place of an owner's."""
    model = Model.load(weights)
    reader, heads, kept = networks_of(model, weights, replay)
    records = tuple(read_manifests(folders))
    own = Own(
        tuple(record.path.stem for record in records), records, tuple(collect_proposed(weights, records, workers))
    )
    return reader, Known(model, heads, own, kept)


def curves(
    at: Known, reader: bytes, catalogue: Catalogue, counts: Sequence[int], draws: int, wrong: Sequence[float]
) -> Iterator[dict]:
    """One plain row a draw, the model as it is shipped first; `at.own` holds both styles of photos."""
    held = at.own.of((HELD,))
    before = judged_by(at.model, at.heads, held, catalogue)
    yield {"step": "shipped", "photos": 0, "wrong_labels": 0.0, "draw": 0} | figures(before, catalogue)
    for photos in counts:
        for share in wrong:
            for number in range(draws):
                for step in STEPS:
                    draw = Draw(step, photos, share, number)
                    yield _measured(draw, at, reader, catalogue, held, before)


def _measured(draw: Draw, at: Known, reader: bytes, catalogue: Catalogue, held: Own, before: list[Judged]) -> dict:
    own = drawn(at.own.of((LEARN,)), draw)
    here = replace(at, own=own)
    new = learn(draw.step, here, reader)
    comparison = compare(here, new, None, catalogue)
    found = figures(judged_by(new.model, new.heads, held, catalogue), catalogue)
    promoted = not comparison.reasons_against
    served = found if promoted else figures(before, catalogue)
    row = {"step": draw.step, "photos": len(own.ids), "wrong_labels": draw.wrong_labels, "draw": draw.number}
    reasons = {"reasons": list(comparison.reasons_against)}
    return row | {"promoted": promoted} | found | reasons | {"as_promoted": _short(served)}


def judged_by(model: Model, heads: dict, own: Own, catalogue: Catalogue) -> list[Judged]:
    """Photos answered by a model with these heads, each as a lift of its own."""
    raw = [with_logits_of(photo, heads) for photo in own.raw]
    return judge_readings(own.records, readings_of(raw, own.records, model), catalogue, model)


def drawn(own: Own, draw: Draw) -> Own:
    """Whole lifts in a random order until there are so many photos; some labels made wrong; split by lift."""
    rng = np.random.default_rng([draw.number, draw.photos])
    lifts = list(dict.fromkeys(record.lift for record in own.records))
    order = [lifts[n] for n in rng.permutation(len(lifts))]
    chosen: list[int] = []
    teaching = set()
    for place, lift in enumerate(order):
        if len(chosen) >= draw.photos:
            break
        chosen += [n for n, record in enumerate(own.records) if record.lift == lift]
        if place % 10 < 10 * TEACHING:
            teaching.add(lift)
    records = []
    for n in chosen[: draw.photos]:
        style = "train" if own.records[n].lift in teaching else "heldout"
        record = replace(own.records[n], style=style)
        records.append(mislabelled(record, rng) if rng.random() < draw.wrong_labels else record)
    return Own(
        tuple(own.ids[n] for n in chosen[: draw.photos]),
        tuple(records),
        tuple(own.raw[n] for n in chosen[: draw.photos]),
    )


def mislabelled(record: Record, rng: np.random.Generator) -> Record:
    """A photo whose parts carry another label: of each one concept has another value."""
    return replace(record, subjects=tuple(_wrong(subject, rng) for subject in record.subjects))


def _wrong(subject: Subject, rng: np.random.Generator) -> Subject:
    if not subject.concepts:
        return subject
    concept = list(subject.concepts)[int(rng.integers(len(subject.concepts)))]
    told = subject.concepts[concept]
    others = [value for value in CONCEPTS[concept] if value not in told.possible]
    value = others[int(rng.integers(len(others)))]
    return replace(
        subject, concepts=subject.concepts | {concept: Reading(value, told.visible, (value,), told.evidence_px)}
    )


def figures(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    """What came out on these photos, each share as hits, n and an interval over lifts."""
    lifts = [str(photo.record.lift or photo.record.path) for photo in photos]
    cases: dict[str, list[tuple[str, bool]]] = {name: [] for name in ("confirmed", "confirmed_wrong", "lowering_wrong")}
    for lift, photo in zip(lifts, photos, strict=True):
        confirmed = confirmed_and_wrong(photo, catalogue)
        cases["confirmed"] += [(lift, confirmed.get(k) is not None) for k in may_be_confirmed(photo, catalogue)]
        cases["confirmed_wrong"] += [(lift, wrong) for wrong in confirmed.values()]
        head = photo.true_subject(ACTUATOR_HEAD)
        if head and head.concepts["lowering"].visible and len(head.concepts["lowering"].possible) == 1:
            wrong = photo.answer.actuator.favourite != head.concepts["lowering"].value
            cases["lowering_wrong"].append((lift, wrong))
    read = [case for lift, photo in zip(lifts, photos, strict=True) for case in _read(lift, photo)]
    cases["right"] = [(lift, right) for lift, right, _, _ in read]
    sure, right = (np.array([case[place] for case in read]) for place in (2, 1))
    return {name: interval(those) for name, those in cases.items()} | {
        "calibration_error": round(calibration_error(sure, right), 4),
        "brier": round(float(np.mean([brier for _, _, _, brier in read])), 4),
    }


def _read(lift: str, photo: Judged) -> Iterator[tuple[str, bool, float, float]]:
    """For each reading that the photo settles: whether it is right, how sure it was, and its Brier score."""
    for subject, number in zip(photo.reading.subjects, photo.matches, strict=True):
        if number < 0:
            continue
        for concept, truth in photo.record.subjects[number].concepts.items():
            if truth.visible and len(truth.possible) > 1:
                continue
            read = subject.concepts[concept].probabilities
            likeliest = max(read, key=read.__getitem__)
            score = sum((p - (value == truth.truth)) ** 2 for value, p in read.items())
            yield lift, likeliest == truth.truth, read[likeliest], score


def interval(cases: Sequence[tuple[str, bool]]) -> dict:
    """Hits, n and the 95 % interval of the share, bootstrapped over lifts (percentiles; the seed is fixed)."""
    if not cases:
        return {"hits": 0, "n": 0, "interval_95": [0.0, 1.0]}
    names = sorted({lift for lift, _ in cases})
    hits, counts = np.zeros(len(names)), np.zeros(len(names))
    for lift, right in cases:
        hits[names.index(lift)] += right
        counts[names.index(lift)] += 1
    chosen = np.random.default_rng(0).integers(0, len(names), (RESAMPLED, len(names)))
    shares = hits[chosen].sum(axis=1) / counts[chosen].sum(axis=1)
    low, high = np.percentile(shares, [2.5, 97.5]).tolist()
    return {"hits": int(hits.sum()), "n": int(counts.sum()), "interval_95": [round(low, 4), round(high, 4)]}


def _short(found: dict) -> dict:
    return {name: found[name] for name in ("right", "confirmed", "confirmed_wrong", "lowering_wrong")}
