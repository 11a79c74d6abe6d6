"""Components of which nothing is confirmed at present: the catalogue says so, and every answer that comes of it."""

from collections.abc import Collection
from typing import Final, Literal, get_args

from guidance.catalogue.catalogue import Catalogue

Held = Literal["control_box", "actuator"]
COMPONENTS: Final[tuple[Held, ...]] = get_args(Held)
"""The components that an answer decides on, and that can be held back."""

WRONG_TOO_OFTEN: Final = (
    "Answers that counted as sure were wrong too often lately. Until staff have looked into it, this one is only "
    "probable."
)
"""Why, when the alarm over confirmed answers did it."""


def holding_back(catalogue: Catalogue, components: Collection[str], reason: str = WRONG_TOO_OFTEN) -> Catalogue:
    """The same catalogue, with these components held back; without any, the catalogue itself."""
    if not components:
        return catalogue
    costs = {name: getattr(catalogue.decision, name).model_copy(update={"held_back": reason}) for name in components}
    return catalogue.model_copy(update={"decision": catalogue.decision.model_copy(update=costs)})
