"""What is understood at every question of a conversation: that somebody is up, how it goes with them, and a danger."""

import re
from collections.abc import Iterable

from api.cases.record import Event, Record
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.case import DOWN, STILL, WORSE, Troubleshooting
from guidance.safety.sentences import ASK_SLING

UP, DANGER = "up", "d"
"""Somebody is up in the sling; a danger sign is to be reported."""

HINT = f"{DANGER} danger; {UP}, {STILL}, {WORSE}, {DOWN} of somebody in the sling"

SHORTEST_WORD = 3
"""Letters of a word by which a danger sign is known; shorter ones stand in every sentence."""


def said_of_the_person(word: str, record: Record, answer: Troubleshooting) -> Record | None:
    """The record with what the word says of somebody in the sling; None for any other word."""
    if word in (UP, DOWN):
        return record.after(_person("yes" if word == UP else "no"))
    if word not in (STILL, WORSE):
        return None
    if answer.state != "bring_down":
        record = record.after(_person("yes"))
    tried = answer.lowering.current if word == STILL and answer.lowering else None
    return record.after(Event(kind="way_down", id=tried or "", answer=word))


def signs_named(typed: str, catalogue: Catalogue) -> tuple[str, ...]:
    """The danger signs that somebody named in their own words: each by a word that no other sign and no trouble has."""
    words = {sign.id: set(_words([sign.id.replace("_", " "), sign.name])) for sign in catalogue.stop_signs}
    troubles = [row.say for row in catalogue.symptoms] + [row.name for row in catalogue.components]
    ordinary = set(_words(troubles + [outcome.words for outcome in ASK_SLING.outcomes]))
    said = set(_words([typed]))
    found = []
    for id_, own in words.items():
        others = ordinary.union(*(w for other, w in words.items() if other != id_))
        if said & (own - others) or set(_words([id_.replace("_", " ")])) <= said:
            found.append(id_)
    return tuple(found)


def _person(answer: str) -> Event:
    return Event(kind="person_in_sling", id="person_in_sling", answer=answer)


def _words(texts: Iterable[str]) -> list[str]:
    return [word for text in texts for word in re.findall(r"\w+", text.lower()) if len(word) > SHORTEST_WORD]
