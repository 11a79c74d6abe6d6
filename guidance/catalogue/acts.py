"""The vocabulary by which sentences are checked against each other: what they have somebody do, and what must hold.

A pool's catalogue uses these words and adds none, as with the taxonomy's: the rules of safety hang on them.
"""

from typing import Literal, get_args

Act = Literal[
    "prepare:landing", "press:stop", "release:stop", "press:lower", "press:raise", "lower:by_hand",
    "plug:charger", "unplug:charger", "bypass:adapter", "touch:battery", "call:emergency", "call:helper",
    "call:help", "hold:person", "move:person", "lift:person", "read:instructions",
]  # fmt: skip
"""What a sentence has somebody do, as verb and thing; buttons are those of the hand control or of the box itself."""

ACTS: tuple[Act, ...] = get_args(Act)

Need = Literal["stop:released", "stop:pressed", "charger:plugged", "charger:unplugged"]
"""What must hold for a sentence to make sense."""

NEEDS: tuple[Need, ...] = get_args(Need)

OPPOSITES: tuple[tuple[Act, Act], ...] = (("press:stop", "release:stop"), ("plug:charger", "unplug:charger"))
"""Acts of which each undoes the other."""

ENDED_BY: dict[Need, Act] = {
    "stop:released": "press:stop",
    "stop:pressed": "release:stop",
    "charger:plugged": "unplug:charger",
    "charger:unplugged": "plug:charger",
}
"""The act after which what is needed holds no longer."""

ON_THE_LIFT: tuple[Act, ...] = (
    "press:stop", "release:stop", "press:lower", "press:raise", "lower:by_hand", "plug:charger", "unplug:charger",
    "bypass:adapter", "touch:battery", "lift:person",
)  # fmt: skip
"""Acts that nobody can do who keeps away from the lift."""

Gives = Literal["emergency_call", "disposal", "lowering_failed"]
"""What a row sets off: emergency numbers are said, separate collection is said, lowering by hand is not tried again."""


def opposite(act: str) -> str | None:
    """The act that undoes this one."""
    return next((b if act == a else a for a, b in OPPOSITES if act in (a, b)), None)
