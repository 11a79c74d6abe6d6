"""Boxes as the networks give them before calibration, stated by hand."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from classifier.quality import Quality
from classifier.recipe import CLASSES, KINDS, FinderRecipe
from classifier.taxonomy import SUBJECTS
from training.data.manifest import Reading, Record, Subject
from training.measure.collect import RawSubject

USABLE = Quality(True, ())
BOX = (0.1, 0.1, 0.5, 0.5)
HEAD = Subject("actuator_head", BOX, False, {"lowering": Reading("none", True, ("none",), 90.0)})


def record(*subjects: Subject) -> Record:
    return Record(Path("x.jpg"), None, 100, 100, "calibration", "close", (), True, None, subjects, ())


def raw(
    probability: float, matched: int, kind: str = "actuator_head", reader: str | None = None, **features
) -> RawSubject:
    logits = {"kind": np.where(np.array(KINDS) == (reader or kind), 4.0, 0.0)}
    logits |= {concept: np.arange(len(values), dtype=float) for concept, values in CLASSES.items()}
    logits["features"] = features.get("features", np.zeros(3))
    return RawSubject(kind, BOX, probability, matched, 1.0 if matched >= 0 else 0.0, logits)


def finder() -> FinderRecipe:
    """A finder whose probabilities are believed, from one in ten on."""
    return FinderRecipe(
        file="", sha256="", input_px=320, mean=0.5, std=0.5, stride=8, kinds=tuple(SUBJECTS), temperature=1.0,
        thresholds=dict.fromkeys(SUBJECTS, 0.1),
    )  # fmt: skip


def apart(*boxes: RawSubject) -> tuple[RawSubject, ...]:
    """The same boxes, each somewhere else: what lies on one thing is answered once."""
    return tuple(replace(each, box=(place, place, place + 0.1, place + 0.1)) for place, each in enumerate(boxes))
