"""What a sentence tells whoever reads it, taken from its words alone and never from the data beside it.

Common practice, no source: how a careful person at the lift would understand each phrase.
"""

import re
from dataclasses import dataclass, field
from functools import cache

OPPOSITE = {
    "press:stop": "release:stop",
    "release:stop": "press:stop",
    "plug:charger": "unplug:charger",
    "unplug:charger": "plug:charger",
}

ORDERS = [
    (r"press the red stop(?! button)|press the red stop button", "press:stop"),
    (r"turn (it|the red stop button) until it springs out|^release the stop\b|\. release the stop\b", "release:stop"),
    (r"try the lower button|press raise, then lower", "press:lower"),
    (r"press raise\b|presses raise|raises? a test weight|while raising", "press:raise"),
    (r"\bplug (in )?(the|a good|a spare) charger|\bplug the charger into", "plug:charger"),
    (r"charger itself, plugged in|on its charger|good charger straight in the box", "plug:charger"),
    (r"unplug the charger(?! before)|pull the charger's plug", "unplug:charger"),
    (r"(pinch both tabs|^turn the knob|^pull the knob|hold it out and turn it)", "lower:by_hand"),
    (r"have a chair or bed under|put a bed or chair under", "prepare:landing"),
    (r"call the fire service|call the emergency number", "call:emergency"),
    (r"call a second helper", "call:helper"),
    (r"call for help", "call:help"),
]
"""Phrases that have somebody do something."""

FORBIDS = [
    (r"do not raise the arm", {"press:raise"}),
    (r"press no button", {"press:raise", "press:lower"}),
    (r"do not charge it", {"plug:charger"}),
    (r"leave it pressed", {"release:stop", "press:raise", "press:lower"}),
    (r"do not try that lowering again", {"lower:by_hand"}),
    (r"do not pull, turn or squeeze", {"lower:by_hand"}),
    (r"do not touch the fluid", {"touch:battery"}),
]

KEEPS_AWAY = r"touch the lift no more|leave the lift alone|lock this lift away|keep people and sparks away"

ONLY_LATER = r"^once the person is (down|away)\b"
"""What begins so holds later: it orders nothing now."""

CONDITIONAL = r"after danger, leave it pressed"
"""A caution that names the exception to what comes next."""

NEEDS_POWER = {"press:lower", "press:raise"}
"""Buttons do nothing while the stop is pressed."""


@dataclass(frozen=True)
class Told:
    """What one sentence orders and forbids, whether it sends people away, and whether it holds only later."""

    orders: frozenset[str] = frozenset()
    forbids: frozenset[str] = frozenset()
    keeps_away: bool = False
    later: bool = False


@dataclass
class Heard:
    """What was heard so far, one sentence after the other."""

    orders: set[str] = field(default_factory=set)
    forbids: set[str] = field(default_factory=set)

    def objections(self, told: Told) -> list[str]:
        """What in a sentence cannot be followed after what was heard before."""
        if told.later:
            return []
        found = [f"orders {a} after {OPPOSITE[a]}" for a in told.orders if OPPOSITE.get(a) in self.orders]
        found += [f"orders {act}, which was forbidden" for act in told.orders & self.forbids]
        found += [f"forbids {act}, which was ordered" for act in told.forbids & self.orders]
        if told.orders & NEEDS_POWER and "press:stop" in self.orders:
            found.append("needs the stop released after it was pressed")
        return found

    def hear(self, told: Told) -> None:
        if not told.later:
            self.orders |= told.orders
            self.forbids |= told.forbids


@cache
def read(text: str) -> Told:
    """Read one row's words."""
    words = text.lower().replace("’", "'")
    later = bool(re.search(ONLY_LATER, words))
    orders = {act for pattern, act in ORDERS if re.search(pattern, words)}
    forbids = set()
    if not re.search(CONDITIONAL, words):
        forbids = {act for pattern, acts in FORBIDS if re.search(pattern, words) for act in acts}
    return Told(frozenset(orders), frozenset(forbids), bool(re.search(KEEPS_AWAY, words)), later)
