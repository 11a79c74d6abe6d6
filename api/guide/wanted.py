"""What the camera is to show next: the box from both front corners, the motor end; nothing once that is settled."""

from dataclasses import dataclass

from api.cases.view import CaseView
from api.guide.framing import ON_EVERY_BOX, View
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX
from guidance.catalogue.catalogue import Catalogue

MOST_TAKEN = 4
"""Photos of a case from which on the camera asks for no more: what is open then is asked, or photographed by hand."""

BOX = View(
    "box", "Control box", "Show the box with the red stop button from one of its front corners.",
    CONTROL_BOX, ON_EVERY_BOX,
)  # fmt: skip
OTHER_CORNER = "Now go round and show its other front corner."
MOTOR_END = View(
    "motor_end", "Motor end of the arm",
    "Show the motor end from its side: the thick end of the tube that lifts the arm.", ACTUATOR_HEAD, ("lowering",),
)  # fmt: skip
GUIDED = {view.id: view for view in (BOX, MOTOR_END)}


@dataclass(frozen=True)
class Wanted:
    """A view; `again` when a photo shows the part already, and another side of it is wanted."""

    view: View
    again: bool = False

    @property
    def ask(self) -> str:
        """How it is taken."""
        return OTHER_CORNER if self.again and self.view is BOX else self.view.framing


def wanted_now(seen: CaseView, catalogue: Catalogue) -> Wanted | None:
    """The view that would settle most of what is open; None when no photo would, or there are enough."""
    if len(seen.photos) >= MOST_TAKEN:
        return None
    lowering = seen.help.lowering
    if lowering is not None:
        return None if lowering.basis == "confirmed" else _of(MOTOR_END, seen)
    found = seen.identification
    if found is None or not seen.photos:
        return _of(BOX, seen)
    if found.control_box.decision != "confirmed" and _shown(BOX, seen) < 2:
        return _of(BOX, seen)  # one photo alone mistakes a listed box for none of the list
    if asks_about_box(seen, catalogue):
        return None
    if found.next is not None and found.next.kind == "photo":
        row = next(view for view in catalogue.views if view.id == found.next.id)
        return _of(MOTOR_END if "lowering" in row.visible else BOX, seen)
    return _of(MOTOR_END, seen) if found.actuator.decision == "not_seen" else None


def asks_about_box(seen: CaseView, catalogue: Catalogue) -> bool:
    """Whether an answer about the box settles more than any further photo: who stands there can give it at once."""
    found, question = seen.identification, seen.question
    if found is None or seen.stage != "answer" or not found.control_box.is_open:
        return False
    return question is not None and catalogue.observations_by_id[question.id].about not in (None, "lowering")


def _of(view: View, seen: CaseView) -> Wanted:
    return Wanted(view, _shown(view, seen) > 0)


def _shown(view: View, seen: CaseView) -> int:
    """Photos that show this part."""
    return sum(any(s.kind == view.kind for s in photo.reading.subjects) for photo in seen.photos)
