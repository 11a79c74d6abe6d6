"""What the reader is to say of each concept of a picture, and how much that counts."""

from collections.abc import Mapping

import numpy as np

from classifier.recipe import CLASSES
from classifier.taxonomy import NOT_VISIBLE, SMALLEST_EVIDENCE_PX
from training.data.manifest import Reading

FAINT_PX, CLEAR_PX = 25.0, 64.0
"""Evidence between these may be seen or not: the rule's 40 is no cliff in a picture."""

HIDDEN_SHARES = {
    "stop_position": 0.17, "battery": 0.07, "service_buttons": 0.54, "charge_display": 0.36, "lowering": 0.18,
}  # fmt: skip
"""Share of subjects whose evidence is hidden in calibration renders, on which the probabilities are fitted: the served
weights' `hidden_shares` (weights-330742), each value as often as its prior; of `lowering` as in 1,529 streamed windows,
since `none` is said of the ends that show."""
LARGEST_GAIN = 4.0

RELATIONS = ("neck_between", "opposed", "touching")
"""What a head's mechanism is defined by: bare neck between what turns and the housing; two things that face each other
to be pinched; what turns sits on the housing. Taught beside the values, never served."""
_RELATIONS_OF = {
    "none": (0.0, 0.0, 0.0), "squeeze_tabs": (0.0, 1.0, 0.0), "twist_knob": (0.0, 0.0, 1.0),
    "pull_twist_knob": (1.0, 0.0, 0.0),
}  # fmt: skip


def target_of(concept: str, reading: Reading | None) -> np.ndarray:
    """Soft target (values + 1,): one class; faint evidence is shared between its value and `not_visible`.

    What a picture leaves open is taught by what is true, so that the reader learns how sure one can be.
    """
    classes = CLASSES[concept]
    target = np.zeros(len(classes), np.float32)
    if reading is None:
        return target
    clear = (reading.evidence_px - FAINT_PX) / (CLEAR_PX - FAINT_PX)
    hidden_by_rule = not reading.visible and reading.evidence_px >= SMALLEST_EVIDENCE_PX  # for another reason than size
    seen = 0.0 if hidden_by_rule else float(np.clip(clear, 0, 1))
    target[classes.index(reading.value)] = seen
    target[classes.index(NOT_VISIBLE)] = 1 - seen
    return target


def relations_of(reading: Reading | None) -> tuple[float, ...]:
    """1, 0 or NaN (not to be told) for each of `RELATIONS` of a head's mechanism.

    Told where the mechanism shows clearly; where the neck is hidden, only that nothing is there to be pinched.
    """
    if reading is None or not reading.visible or reading.evidence_px < CLEAR_PX:
        return (float("nan"),) * len(RELATIONS)
    if len(reading.possible) > 1:
        return (float("nan"), 0.0, float("nan"))
    return _RELATIONS_OF[reading.value]


class Balance:
    """Weights under which a stream counts as calibration renders do, whatever share of it shows what.

    Each visible value of a concept counts equally, and hidden evidence with its share of `HIDDEN_SHARES`. A view is
    learned from twice at most, so that the rare cannot be drawn oftener: it weighs more.
    """

    def __init__(self) -> None:
        self.mass = {concept: np.zeros(len(classes)) for concept, classes in CLASSES.items()}

    def add(self, targets: Mapping[str, np.ndarray]) -> None:
        """Count the targets (V, values + 1) of views that came."""
        for concept, rows in targets.items():
            self.mass[concept] += rows.sum(axis=0)

    def weighed(self, concept: str, targets: np.ndarray) -> np.ndarray:
        """The targets (N, values + 1) of one concept, each row times its weight, which is 1 on average of the stream.

        A faint row keeps the ratio of its classes.
        """
        mass, hidden = self.mass[concept], HIDDEN_SHARES[concept]
        shown = mass[:-1] > 0
        wanted = np.append(np.where(shown, (1 - hidden) / max(shown.sum(), 1), 0.0), hidden)
        gain = np.divide(wanted * mass.sum(), mass, out=np.ones(len(mass)), where=mass > 0).clip(max=LARGEST_GAIN)
        return targets * (targets * gain).sum(axis=1, keepdims=True).astype(np.float32)
