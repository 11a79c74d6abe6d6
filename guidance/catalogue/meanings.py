"""What the fields of a catalogue mean, for those that no docstring of their row explains; an editor shows it."""

import re
from typing import Any, get_args

from guidance.catalogue.rows import Row

MEANINGS = {
    "id": "A name of your own: small letters, digits, - and _. Other rows refer to it.",
    "name": "What people call it, as it stands in the middle of a sentence.",
    "source": 'Where it comes from; "common practice, no source" and "placeholder" are honest answers.',
    "note": "What else to know.",
    "version": "Change it with every change that somebody should notice.",
    "title": "The pool's name, as people see it.",
    "text": "One short sentence, as it is said.",
    "ask": "The question or request, as it is said.",
    "say": "The complaint in the words of those who complain.",
    "options": "The answers: an id each, and the words that are shown.",
    "roles": "Who is told it; left out, everybody.",
    "signal": "How badly somebody can be hurt who does not follow it; left out, no signal word.",
    "effort_min": "Minutes that it takes each role. A role that is not listed is not asked.",
    "minutes": "Minutes that it takes each role. A role that is not listed is not asked.",
    "fleet_share": "How many of the pool's have it, from 0 to 1; over all rows it adds up to 1.",
    "stop_position": "Where the red stop stands.",
    "battery": "How the battery sits.",
    "service_buttons": "Where the box itself has buttons to raise and lower.",
    "charge_display": "How the box shows its charge.",
    "traits": "What no photo shows: the trait that a question is about, and this box's value of it.",
    "ordering_threshold": "The least probability at which a part may be ordered, or a lowering action told as fact.",
    "feature_threshold": "The least probability that all features are right when fleet shares are left out of account.",
    "wrong_action_min": "Minutes lost by acting on the wrong thing, a wrong part ordered for example.",
    "wrong_lead_min": "Minutes lost by advice for a favourite that turns out wrong.",
    "question_min": "Minutes that one more question costs.",
    "undecided_min": "Minutes that all remaining questions cost when there is no favourite.",
    "held_back": "Why nothing is confirmed of this component at present; empty while it may be.",
    "control_box": "What deciding on the control box costs.",
    "actuator": "What deciding on the actuator costs.",
    "reading_accuracy": "How often a feature that a photo shows is read rightly.",
    "repeat_visibility": "What each photo that failed to show a feature leaves of the chance that the next one does.",
    "least_gain_bits": "The least information for which one more question is worth asking.",
    "none_of_these": "The words of the answer that it is none of the boxes.",
    "reliability": "How often people who answer are right.",
    "visible": "For each concept, the probability that such a photo shows it.",
    "values": "The words for each value, as they stand after a name.",
    "place": "Where in the answer the sentence stands.",
    "moment": "When the sentence is said.",
    "steps": "What to do with it, in this order, once it is confirmed.",
    "rates_note": "What is said of the rates wherever they are shown: where they come from, and how far to trust them.",
    "component": "The row of `components` that it is of.",
    "generations": "The generations that it fits or that have it; left out, all.",
    "mechanisms": "The lowering mechanisms that it fits; left out, all.",
    "depends_on": "What has to be confirmed before its part number is shown.",
    "confirm": "What to have confirmed before one is ordered.",
    "photo": "The photo to ask for before one is ordered.",
    "shares": "How often each answer is the case; adds up to 1.",
    "outcomes": "What can come out, from normal to worst: an id each, and the words that are shown.",
    "kind": "What sort of step it is.",
    "finding": "The row of `findings` that it finds out.",
    "findings": "The findings that the complaint is, each with its outcome.",
    "gone": "The one of these findings that is normal again once the trouble is over.",
    "access": 'What it touches; everything but "outside" is a technician\'s alone.',
    "area": "What has to be opened first, an area of `fault_settings.opening_min`.",
    "needs": "What has to be at hand.",
    "risk": "What can go wrong while doing it.",
    "check": "The check that comes first; the repair follows only when it comes out other than normal.",
    "repair": "The repair that the list has here.",
    "number": "The maker's order number.",
    "substitutes": "Parts that do as well.",
    "order_with": "Parts that are ordered with it.",
    "capacity_ah": "Rated capacity in ampere hours.",
    "rated_hours": "Hours of discharge for which the capacity is rated; 20 for most blocks.",
    "peukert_exponent": "How much less a fast discharge gives: from least to most.",
    "health_percent": "What is left of the capacity when nobody knows the age: from least to most, in per cent.",
    "resistance_mohm": "Resistance of a sound pack with its leads, in milliohm at 25 °C; twice the most has failed.",
    "age": "The context that asks for the age of the battery.",
    "health_by_age": "For each answer to that, what is left of the capacity, in per cent.",
    "by_meter": "Which outcome it is when meter readings prove something; left out, they say nothing of this finding.",
    "lifting_current_a": "Current while lifting: from least to most.",
    "seconds_per_lift": "How long one lift takes: from least to most.",
}


def row_classes() -> list[type[Row]]:
    """Every class of rows that is loaded, each once."""
    found: list[type[Row]] = [Row]
    for row in found:  # grows while it is walked
        found += [sub for sub in row.__subclasses__() if sub not in found]
    return found


def field_meaning(row: type[Row], field: str) -> str:
    """What the docstrings of a row and its bases say of a field, else what it means in every row; or nothing."""
    named = re.compile(rf"`{field}[`\[]")
    for base in row.__mro__:
        if issubclass(base, Row) and (said := [sentence for sentence in _sentences(base) if named.search(sentence)]):
            return " ".join(said)
    return MEANINGS.get(field, "")


def row_meaning(row: type[Row]) -> str:
    """What a row is, in a sentence."""
    return _sentences(row)[0]


def section_meaning(catalogue: type[Row], section: str) -> str:
    """What the rows of a section are."""
    return row_meaning(section_row(catalogue, section))


def section_row(catalogue: type[Row], section: str) -> type[Row]:
    """The class of a section's rows."""
    found: list[Any] = [catalogue.model_fields[section].annotation]
    for annotation in found:
        found += get_args(annotation)
    return next(row for row in found if isinstance(row, type) and issubclass(row, Row))


def _sentences(row: type[Row]) -> list[str]:
    return re.split(r"(?<=[.?]) (?=[A-Z`])", " ".join((row.__doc__ or "").split()))
