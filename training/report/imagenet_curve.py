"""The learning curve of heads on ImageNet's features alone, beside that on the reader's: what the renders are worth."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import torch

from classifier.finder import Found
from classifier.model import Model
from classifier.photo import PhotoLimits, open_photo
from classifier.reader import FEATURES
from classifier.recipe import CLASSES
from training.data.manifest import Record
from training.measure.collect import RawPhoto
from training.nets.model import imagenet_classifier
from training.steps.curves import HELD, LEARN, Draw, drawn, interval
from training.steps.own import Own
from training.steps.step import Known
from training.steps.teach import GRID, best_hold, cases_of, fit_head

NOTHING_WATCHED = ((), ())
FROM_NOTHING = (0.01, 0.1, *GRID)


def imagenet_curves(at: Known, counts: Sequence[int], draws: int) -> Iterator[dict]:
    """Readings that are right, of the boxes that the served finder found: by heads taught on either features.

    The heads begin at nought on ImageNet's features, and at the shipped heads on the reader's.
    """
    foreign = replace(at.own, raw=tuple(_features_of(at.model, at.own)))
    for count in counts:
        for number in range(draws):
            draw = Draw("imagenet heads", count, 0.0, number)
            for name, own, shipped in (
                ("ImageNet features", foreign, None),
                ("features of the renders", at.own, at.heads),
            ):
                learned = drawn(own.of((LEARN,)), draw)
                cases = [case for concept in CLASSES for case in _judged(concept, learned, own.of((HELD,)), shipped)]
                yield {"step": name, "photos": count, "wrong_labels": 0.0, "draw": number} | {
                    "right": interval([(lift, right) for lift, right, _ in cases]),
                    "lowering_wrong": interval([(lift, not right) for lift, right, of in cases if of == "lowering"]),
                }


def _judged(concept: str, learned: Own, held: Own, shipped: dict | None) -> list[tuple[str, bool, str]]:
    mine, judged = cases_of(concept, learned.raw, learned.records), cases_of(concept, held.raw, held.records)
    if not len(judged.truths):
        return []
    width, classes = judged.features.shape[1], len(CLASSES[concept])
    head = shipped[concept] if shipped else (np.zeros((classes, width)), np.zeros(classes))
    if len(mine.truths):
        watched = cases_of(concept, *NOTHING_WATCHED)
        head = fit_head(head, mine, best_hold(head, mine, watched))
    answers = (judged.features @ head[0].T + head[1]).argmax(axis=1)
    return [(lift, bool(a == t), concept) for lift, a, t in zip(judged.groups, answers, judged.truths, strict=True)]


@torch.no_grad()
def _features_of(model: Model, own: Own) -> Iterator[RawPhoto]:
    """The photos with ImageNet's 1280 features in place of the reader's, of the same windows."""
    net = imagenet_classifier().eval()
    for record, photo in zip(own.records, own.raw, strict=True):
        yield _one(net, model, record, photo)


def _one(net: torch.nn.Module, model: Model, record: Record, photo: RawPhoto) -> RawPhoto:
    picture = open_photo(record.path.read_bytes(), record.path.name, PhotoLimits())
    found = []
    for subject in photo.found:
        if subject.matched < 0:
            continue
        windows = np.stack(model.reader.windows(picture, Found(subject.kind, subject.box, 1.0)))
        features = net.forward_head(net.forward_features(torch.from_numpy(windows)), pre_logits=True)
        found.append(replace(subject, logits=subject.logits | {FEATURES: features.mean(dim=0).numpy()}))
    return RawPhoto(photo.quality, tuple(found), ())
