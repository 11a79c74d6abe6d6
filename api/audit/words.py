"""What an audit says of lifts and photos, in words that every language has."""

from api.audit.grouping import DOUBTS
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX

WAY_WORDS = {
    "table": "by the table that was given",
    "folder": "by folder",
    "label": "by the label in the photo",
    "time": "by time and place",
    "alone": "by nothing: each photo for itself",
}
FAILURE_WORDS = {
    "unreadable": "not there, cut off or damaged",
    "too_large": "too large",
    "not_a_photo": "no photo in a format that is read",
    "not_let_in": "nobody is let in to read it",
    "ended_worker": "reading it ended the process",
}
MISSING_WORDS = {
    CONTROL_BOX: "Photo missing: the control box",
    ACTUATOR_HEAD: "Photo missing: the motor end of the arm",
}
DECISION_WORDS = {
    "confirmed": "confirmed",
    "likely": "likely",
    "undecided": "undecided",
    "unlisted": "unlisted",
    "not_seen": "not seen",
}
SAID = (
    *WAY_WORDS.values(),
    *FAILURE_WORDS.values(),
    *MISSING_WORDS.values(),
    *DECISION_WORDS.values(),
    *DOUBTS.values(),
)
