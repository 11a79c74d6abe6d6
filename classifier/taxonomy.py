"""What a photo can show: the one vocabulary that renderer, networks, catalogue, API and tests share.

Everything is a generic layout described by its geometry. Colours, label texts and proportions carry no meaning.
"""

from typing import Final

CONTROL_BOX: Final = "control_box"
ACTUATOR_HEAD: Final = "actuator_head"
HAND_CONTROL: Final = "hand_control"
CHARGER: Final = "charger"

SUBJECTS: Final[tuple[str, ...]] = (CONTROL_BOX, ACTUATOR_HEAD, HAND_CONTROL, CHARGER)
"""Subjects that get a bounding box, in the order of the finder's output channels."""

NOT_VISIBLE: Final = "not_visible"
"""The answer of a concept whose evidence this photo does not show."""

UNLISTED: Final = "unlisted"
"""A control box, but of no generation that the catalogue lists."""

CONTROL_BOX_CONCEPTS: Final[dict[str, tuple[str, ...]]] = {
    "stop_position": ("top", "front"),
    "battery": ("built_in", "stacked_pack", "hung_pack"),
    "service_buttons": ("side", "front", "none"),
    "charge_display": ("lamp_row", "gauge", "none"),
}
"""Concepts read off a control box, with their values; each may also be `not_visible` in one photo."""

ACTUATOR_CONCEPTS: Final[dict[str, tuple[str, ...]]] = {
    "lowering": ("none", "squeeze_tabs", "twist_knob", "pull_twist_knob"),
}
"""Concepts read off an actuator head, with their values; each may also be `not_visible` in one photo."""

CONCEPTS: Final[dict[str, tuple[str, ...]]] = {**CONTROL_BOX_CONCEPTS, **ACTUATOR_CONCEPTS}
"""Every concept with its values, in the order of the reader's heads."""

LEFT_OPEN: Final[dict[str, tuple[str, str]]] = {"lowering": ("twist_knob", "pull_twist_knob")}
"""Two values of a concept between which a photo can leave the choice open, where a neck would be hidden."""

CONCEPTS_OF: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    CONTROL_BOX: CONTROL_BOX_CONCEPTS,
    ACTUATOR_HEAD: ACTUATOR_CONCEPTS,
    HAND_CONTROL: {},
    CHARGER: {},
}
"""Concepts that are read off each subject."""

SMALLEST_SUBJECT_FRACTION: Final = 0.002
"""A subject counts from this share of the picture's area upward."""

SMALLEST_EVIDENCE_PX: Final = 40
"""Evidence smaller than this many pixels, in a photo `EVIDENCE_WIDTH_PX` wide, is `not_visible`."""

EVIDENCE_WIDTH_PX: Final = 500
"""The photo width for which `SMALLEST_EVIDENCE_PX` is counted."""

FAIR_SUBJECT_FRACTION: Final = 0.06
"""In a fair close photo the values are asked of what covers this share of it; anything smaller is background."""
