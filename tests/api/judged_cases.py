"""Closed cases for the tests of the monitor: what was shown, what a technician then found, and how it ended."""

from api.cases.store import CaseStore, Said, Who

ANA, TOM = Who("agent", "Ana"), Who("technician", "Tom")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
CONFIRMED = {
    "control_box": ["confirmed", "hung-top"],
    "actuator": ["confirmed", "squeeze_tabs"],
    "stated": {"control_box": 0.995, "actuator": 0.998},
    "held_back": [],
}
"""What was known to whoever said something: both components confirmed."""

CLOSING = Said("closed", {"id": "in_service", "answer": "fuse_blown", "proof": "measured"}, CONFIRMED)


def found(id_: str, answer: str, known: dict = CONFIRMED) -> Said:
    """A technician's word about the lift."""
    return Said("observation", {"id": id_, "answer": answer}, known)


def came_back(*about: str) -> Said:
    """A part that did not fit."""
    return Said("returned", {"id": "p", "number": "N-1", "name": "part", "about": list(about)}, CONFIRMED)


def closed(store: CaseStore, *said: Said, closing: Said = CLOSING) -> str:
    """A case in which a technician said this, then closed; its id."""
    case_id, _ = store.start("en", ANA, NOBODY_UP)
    for version, each in enumerate((*said, closing), 1):
        store.say(case_id, version, each, TOM)
    return case_id


def wrong_lowerings(store: CaseStore, times: int) -> list[str]:
    """So many cases in which a confirmed mechanism was another."""
    return [closed(store, found("lowering", "twist_knob")) for _ in range(times)]
