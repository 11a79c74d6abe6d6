"""One thing that was shown of a lift, and whether a person found it right."""

from dataclasses import dataclass
from typing import Final

CONFIRMED: Final = "confirmed"
HELD_BACK: Final = "held_back"
"""The verdict of an answer that would have been confirmed, but for what is held back."""

SURE, OPEN, HIDDEN = "sure", "open", "not_visible"
"""What a photo's reading can be: one value is left, several are, or no photo shows it."""


@dataclass(frozen=True)
class Shown:
    """An answer about a component, or the reading of a concept, in one case.

    `probability` is what was stated for `value`. `truth`: what a person found instead or as well; empty when nobody
    said. `right` is None while nobody has checked it.
    """

    about: str
    verdict: str
    value: str
    probability: float | None = None
    truth: str = ""
    right: bool | None = None


@dataclass(frozen=True)
class ClosedFacts:
    """One closed case: in which month (2026-11), what was shown, and how it went on.

    `days` are those on which a technician said something; `returned` counts parts that came back since they did not
    fit. `nothing_found`: photos came, and none showed a part of a lift.
    """

    month: str
    shown: tuple[Shown, ...]
    photos: int = 0
    nothing_found: bool = False
    days: int = 0
    ordered: int = 0
    returned: int = 0

    @property
    def checked(self) -> bool:
        """Whether a person checked anything that was shown."""
        return any(each.right is not None for each in self.shown)
