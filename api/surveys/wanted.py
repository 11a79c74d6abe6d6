"""The photos that a survey wants of every lift, and what can be wrong with one, in words."""

from api.guide.framing import NOTHING, ON_EVERY_BOX, TOO_FAR, WRONG_SIDE, View
from classifier.quality import ADVICE
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX

PLATE_VIEW = View("plate", "Rating plate", "Fill the picture with the code on the plate, in even light.")

WANTED = (
    View(
        "box_left", "Control box from its left corner",
        "Stand at its left front corner, one step away. Let the box fill half the picture.", CONTROL_BOX, ON_EVERY_BOX,
    ),
    View(
        "box_right", "Control box from its right corner",
        "Stand at its right front corner, one step away. Let the box fill half the picture.", CONTROL_BOX, ON_EVERY_BOX,
    ),
    View(
        "motor_end", "Motor end of the arm from its side",
        "Stand beside the arm. Let the motor end fill half the picture.", ACTUATOR_HEAD, ("lowering",),
    ),
    PLATE_VIEW,
)  # fmt: skip
VIEWS_BY_ID = {view.id: view for view in WANTED}

CODE = "code"
"""In the place of a view: the code by which a lift is known."""

VIEW_NAMES = {view.id: view.name for view in WANTED} | {CODE: "Code of the lift"}

GOOD, KEPT, SKIPPED, NOT_YET = "good", "kept", "skipped", ""
"""How a view can be: fit for use, taken as it is by whoever stood there, impossible there, not photographed yet."""

SAME_PHOTO, FULL, NO_CODE = "same_photo", "full", "no_code"

STATE_WORDS = {
    GOOD: "good",
    KEPT: "kept as it is",
    SKIPPED: "it cannot be photographed",
    NOT_YET: "no photo yet",
    NOTHING: "The part was not found in the photo. Show the whole part, without anything before it.",
    TOO_FAR: "It is too far away. Go closer, until the part fills half the picture.",
    WRONG_SIDE: "The photo does not show what it has to. Step to the side that is asked for.",
    SAME_PHOTO: "This is the photo of the other corner. Go to this corner and take another one.",
    FULL: "This lift has as many photos as it may have. Go on with what there is.",
    NO_CODE: "No code was read. Fill the picture with the code, in even light.",
    **ADVICE,
}
"""How a view is, and of a photo that is not good what to do about it."""
