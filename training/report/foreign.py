"""Real photographs of other things, and the yardstick of temperature scaling.

The photographs are those that scikit-image and scikit-learn ship; no lift part is in any of them, so that each has to
be answered `not_seen`. They are photographs, but none of a lift: they say nothing on how real lift parts are read.
"""

from collections.abc import Sequence
from importlib import util
from pathlib import Path

import numpy as np

from classifier.calibration import concept_probabilities, softmax
from classifier.identify import read_photo
from classifier.model import Model
from classifier.photo import PhotoLimits
from classifier.taxonomy import CONCEPTS
from training.calibrate.calibrate import concept_cases
from training.data.manifest import Record
from training.measure.collect import RawPhoto
from training.measure.measures import calibration_error, share
from training.ood.gate import Gate, separations
from training.report.adaptive import compare_sets
from training.report.figures import bootstrap_interval

PHOTOGRAPHS = {
    "skimage/data": ("astronaut.png", "brick.png", "camera.png", "chelsea.png", "clock_motion.png", "coffee.png",
                     "coins.png", "grass.png", "gravel.png", "hubble_deep_field.jpg", "ihc.png", "moon.png",
                     "motorcycle_left.png", "motorcycle_right.png", "page.png", "retina.jpg", "rocket.jpg"),
    "sklearn/datasets/images": ("china.jpg", "flower.jpg"),
}  # fmt: skip
"""Photographs, scans and instrument pictures among the packages' data; drawings and made-up patterns are left out."""

PUBLISHED = (
    ("CIFAR-10, ResNet-110", 0.046, 0.0083),
    ("CIFAR-100, ResNet-110", 0.1653, 0.0126),
    ("Birds, ResNet-50", 0.0919, 0.0185),
    ("Cars, ResNet-50", 0.043, 0.0235),
)
"""Expected calibration error (15 bins) before and after temperature scaling: Guo et al. 2017, Table 1."""


def foreign_photographs() -> list[Path]:
    """Those that lie on this machine; none where neither package is installed."""
    found = []
    for folder, names in PHOTOGRAPHS.items():
        package, _, rest = folder.partition("/")
        spec = util.find_spec(package)
        if spec and spec.origin:
            found += [path for name in names if (path := Path(spec.origin).parent / rest / name).is_file()]
    return found


def foreign_figures(weights: Path) -> dict:
    """How many foreign photographs are answered `not_seen`, and what is seen on the others."""
    model, seen = Model.load(weights), {}
    photographs = foreign_photographs()
    for path in photographs:
        reading = read_photo(path.read_bytes(), path.name, model, PhotoLimits())
        seen[path.name] = [(subject.kind, subject.probability) for subject in reading.subjects]
    return {"not_seen": share([not subjects for subjects in seen.values()]).as_dict(), "seen": seen}


def raw_figures(raw: Sequence[RawPhoto], records: Sequence[Record], model: Model, rng: np.random.Generator) -> dict:
    """What needs logits: errors before and after calibration, kinds of sets, parts against look-alikes."""
    recipe = model.reader.recipe
    gate = Gate.of(model)
    errors, kinds_of_sets = {}, {}
    for concept in CONCEPTS:
        logits, truths, _ = concept_cases(raw, records, concept, gate)
        errors[concept] = {"n": len(truths), "temperature": recipe.concepts[concept].temperature}
        calibrated = concept_probabilities(logits, concept, recipe.concepts[concept])
        for name, probabilities in (("before", softmax(logits, 1.0)), ("after", calibrated)):
            errors[concept][name] = _error(probabilities, truths, rng)
        kinds_of_sets[concept] = compare_sets(calibrated, truths, recipe.coverage, rng)
    return {
        "temperature_scaling": errors,
        "kinds_of_sets": kinds_of_sets,
        "out_of_distribution": separations(raw, [bool(record.subjects) for record in records], gate),
    }


def _error(probabilities: np.ndarray, truths: np.ndarray, rng: np.random.Generator) -> dict:
    if not len(truths):
        return {"error": None, "interval": None}
    sure, right = probabilities.max(axis=1), probabilities.argmax(axis=1) == truths
    interval = bootstrap_interval(len(truths), lambda rows: calibration_error(sure[rows], right[rows]), rng)
    return {"error": calibration_error(sure, right), "interval": interval}
