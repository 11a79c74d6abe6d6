"""What happened in a case in words: each kind of event, and what was said in it, as the catalogue words it."""

import datetime as dt
import re
from collections.abc import Mapping

from api.cases.events import (
    ABOUT,
    ASSET,
    ASSIGNED,
    BASKET,
    CHECKED,
    HANDED_OVER,
    LABEL,
    LEARN,
    NOTE,
    OPENED,
    PHOTO,
    RETURNED,
    SURVEYED,
    VIEW,
    WAY_DOWN,
    WITHDRAWN,
    CaseEvent,
)  # fmt: skip
from api.cases.store import CONFIRMS_AGAIN, DELETE_ABANDONED, HELD_BACK, spoken_code
from api.cases.view import CaseView
from api.pages.languages import Language
from api.surveys.wanted import STATE_WORDS, VIEW_NAMES
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import Proof
from guidance.documents.case import SKIPPED, STILL, UNSURE, WORKS
from guidance.safety.lowering import LOWERING_OUTCOMES
from guidance.safety.sentences import NO_SIGN

ACTION_WORDS = {
    OPENED: "Opened the case for a caller",
    SURVEYED: "Opened the case on a survey",
    VIEW: "Wanted photo of a survey",
    ABOUT: "Caller and lift",
    NOTE: "Note",
    ASSIGNED: "Whose case",
    "person_in_sling": "Whether somebody is up",
    "danger_signs": "Danger signs",
    WAY_DOWN: "On the way down",
    "symptom": "Trouble",
    "context": "Circumstance",
    "step": "Step",
    "observation": "Seen of the lift",
    "could_hurt": "Whether somebody was hurt",
    "readings": "Meter readings",
    "plate": "Rating plate",
    "photo": "Photo",
    LEARN: "Agreed that this tool may learn from a photo",
    WITHDRAWN: "Took back that this tool may learn from photos",
    LABEL: "Said what a photo shows",
    ASSET: "Inventory number",
    "no_photo": "Went on without a photo",
    "went_on": "Went on from the photo",
    "basket": "Basket",
    "checked": "Checked before ordering",
    RETURNED: "Came back: did not fit",
    "undo": "Took the last back",
    "handed_over": "Handed over",
    "closed": "Closed",
    "sign in": "Signed in",
    "sign out": "Signed out",
    "sign in refused": "Could not sign in",
    "survey": "Began a survey",
    "link": "Made a link for photos",
    "export": "Exported the case",
    "delete": "Deleted the case",
    DELETE_ABANDONED: "Deleted the case, its time was over",
    HELD_BACK["control_box"]: "Stopped confirming control boxes",
    HELD_BACK["actuator"]: "Stopped confirming lowering mechanisms",
    CONFIRMS_AGAIN["control_box"]: "Confirms control boxes again",
    CONFIRMS_AGAIN["actuator"]: "Confirms lowering mechanisms again",
}
"""Every action of the audit log; the kinds of event come first."""

PROOF_WORDS: dict[Proof, str] = {
    "measured": "It was measured",
    "exchanged": "The part was exchanged, and that ended it",
    "mended": "It works again; the cause is not proven",
}
"""How a fault was confirmed, in the words of whoever closes the case."""

FORGOT, EXPORTED = "forgot {count} pictures", "exported {count} photos"
"""The actions that carry a number."""

OF_A_USER = {
    "user added": "Added the user {name}",
    "user disabled": "Disabled the user {name}",
    "user enabled": "Enabled the user {name} again",
    "user's role changed": "Changed the role of {name}",
    "password reset": "Gave {name} a new password",
    "password changed": "Changed the password of {name}",
}
"""What was done to a user; in the audit log the name follows after a colon."""

HOW_WORDS = {"at_the_lift": "I saw it at the lift", "from_the_photo": "I judge by the photo"}
"""How somebody knows what a part in a photo is."""

ABOUT_WORDS = {
    "caller": "Caller",
    "phone": "Call-back number",
    "site": "Site",
    ASSET: "Inventory number",
    "serial": "Serial number",
}
"""What is written down of a caller and a lift."""

KIND_WORDS = {
    "control_box": "Control box",
    "actuator_head": "Motor end of the arm",
    "hand_control": "Hand control",
    "charger": "Charger",
}
"""What a photo can show, and what each is called."""

NOT_A_PART = "nothing of a lift"

ROLE_WORDS = {role: role for role in ("caregiver", "agent", "technician", "administrator", "system")}

NOT_PEOPLE = ("by link", "program", "command line")
"""Who acts without a name of their own."""

ANSWER_WORDS = {
    "yes": "Yes",
    "no": "No",
    UNSURE: "Don't know",
    SKIPPED: "Could not be done",
    WORKS: "It works again",
    STILL: "The trouble is still there",
    NO_SIGN: "None of these",
}
"""Answers that mean the same everywhere; any other is worded by the catalogue."""

MEASURED = {
    "pack_v": "Whole pack at rest, V",
    "rest_hours": "Rest before that, hours",
    "meter_error_percent": "Error of the meter, %",
    "loaded_v": "Pack under load, V",
    "load_current_a": "Current meanwhile, A",
    "temperature_c": "Temperature of the pack, °C",
    "charge_hours": "From flat to full, hours",
    "gauge_bars_percent": "Gauge of the box, %",
}
"""What a meter, a clock or the box's gauge shows, with its unit, as it is asked for and as it is told."""

READ = {
    "blocks_v": "Both blocks at rest, V",
    **MEASURED,
    "loaded_blocks_v": "Both blocks under load, V",
    "beeps_under_load": "Beeps while the arm raises",
}
"""Each meter reading with its unit."""

PLATE_NAMES = {"gtin": "article number", "serial": "serial number", "model": "type", "batch": "batch",
               "produced": "produced on", "volts": "voltage, V"}  # fmt: skip


def action_words(action: str, language: Language) -> str:
    """One action of the audit log, in words."""
    for counted in (FORGOT, EXPORTED):
        if found := re.fullmatch(counted.format(count=r"(\d+)"), action):
            return language.fill(counted, count=found[1])
    done, colon, name = action.partition(": ")
    if colon and done in OF_A_USER:
        return language.fill(OF_A_USER[done], name=name)
    return language.say(ACTION_WORDS.get(action, action))


def who_words(role: str, actor: str, language: Language) -> str:
    """Who did something: the name as given at sign-in, and the role."""
    named = language.say(actor) if actor in NOT_PEOPLE else actor
    return f"{language.apart(named)}, {language.say(role)}" if named else language.say(role)


def said_words(event: CaseEvent, catalogue: Catalogue, language: Language) -> str:
    """What was said in an event, without its kind. What the catalogue no longer knows is said by its id."""
    said = {key: "" if value is None else str(value) for key, value in event.said.items()}
    id_, answer = said.get("id", ""), said.get("answer", "")
    if event.kind == "danger_signs":
        names = {row.id: row.name for row in catalogue.stop_signs} | ANSWER_WORDS
        return "; ".join(language.say(names.get(sign, sign)) for sign in answer.split(","))
    if event.kind == "symptom":
        row = catalogue.symptoms_by_id.get(answer)
        return language.say(row.say) if row else answer
    if event.kind in ("observation", "context", "step"):
        asked, options = _asked(event.kind, id_, catalogue)
        words = f"{language.say(asked)} – {language.say((ANSWER_WORDS | dict(options)).get(answer, answer))}"
        return words + _as_before(said.get("earlier", ""), language)
    if event.kind == "closed":
        return _of_closing(said, catalogue, language)
    if event.kind in (NOTE, ASSIGNED, ABOUT, HANDED_OVER):
        return _of_the_call(event.kind, said, language)
    if event.kind == WAY_DOWN:
        return language.say(LOWERING_OUTCOMES.get(answer, answer))
    if event.kind in ("person_in_sling", "could_hurt"):
        return language.say(ANSWER_WORDS.get(answer, answer))
    if event.kind == LABEL:
        return label_words(event, catalogue, language)
    if event.kind in (PHOTO, WITHDRAWN, ASSET, VIEW):
        return _of_pictures(event, language)
    if event.kind == "readings":
        taken = dict(event.said.get("readings", {}))
        return "; ".join(
            f"{language.say(words)}: {language.apart(_taken(taken[name], language))}"
            for name, words in READ.items()
            if name in taken
        )
    if event.kind in (BASKET, CHECKED, RETURNED):
        return _of_the_order(event.kind, said, catalogue, language)
    named = ((words, said[key]) for key, words in PLATE_NAMES.items() if said.get(key))
    return "; ".join(f"{language.say(words)}: {language.apart(value)}" for words, value in named)


def _of_the_order(kind: str, said: Mapping[str, str], catalogue: Catalogue, language: Language) -> str:
    if kind == CHECKED:
        sentences = {row.id: row.text for part in catalogue.components for row in part.confirm}
        sentence, answer = sentences.get(said["id"], said["id"]), said["answer"]
        return f"{language.say(sentence)} – {language.say(ANSWER_WORDS.get(answer, answer))}"
    part = f"{language.apart(said['number'])} {language.say(said['name'])}"
    if kind == RETURNED:
        return part
    other = catalogue.parts_by_id.get(said.get("instead_of", ""))
    instead = "" if other is None else language.fill(" (instead of {part})", part=language.say(other.name))
    return f"{said['quantity']} × {part}{instead}"


def echo_words(event: CaseEvent, catalogue: Catalogue, language: Language) -> str:
    """What was said in an event, to be repeated to whoever said it: with the question only where it needs one."""
    answer = str(event.said.get("answer", ""))
    if event.kind not in ("observation", "context", "step") or answer in ANSWER_WORDS:
        return said_words(event, catalogue, language)
    _, options = _asked(event.kind, str(event.said.get("id", "")), catalogue)
    return language.say(dict(options).get(answer, answer))


def label_words(event: CaseEvent, catalogue: Catalogue, language: Language) -> str:
    """What somebody says a part of a photo is: its kind, its values, and how they know."""
    said = event.said
    facts = [language.say(KIND_WORDS.get(str(said["kind"]), NOT_A_PART))]
    for concept, value in dict(said["values"]).items():
        row = catalogue.concepts[concept]
        facts += [] if value == UNSURE else [f"{language.say(row.name)}: {language.say(row.values[value])}"]
    return "; ".join([*facts, language.say(HOW_WORDS[str(said["how"])])])


def _of_closing(said: Mapping[str, str], catalogue: Catalogue, language: Language) -> str:
    """The fault, the setting, and how it was confirmed."""
    id_, answer = said.get("id", ""), said.get("answer", "")
    fault = catalogue.faults_by_id.get(answer)
    settings = catalogue.contexts_by_id[catalogue.fault_settings.setting].options
    proof = language.say(PROOF_WORDS[said["proof"]]) if said.get("proof") in PROOF_WORDS else ""
    where = language.say(settings.get(id_, id_))
    return "; ".join(filter(None, (language.say(fault.name) if fault else answer, where, proof)))


def _of_the_call(kind: str, said: Mapping[str, str], language: Language) -> str:
    """What was written down of the caller and the lift, a note, or whose case it is."""
    if kind == ABOUT:
        named = ((words, said[name]) for name, words in ABOUT_WORDS.items() if name in said)
        return "; ".join(f"{language.say(words)}: {language.apart(value or '–')}" for words, value in named)
    return said.get("note", "") if kind == HANDED_OVER else said["answer"] or language.say("no one's")


def _as_before(earlier: str, language: Language) -> str:
    """From which earlier case it was offered, if it was."""
    return " " + language.fill("(as in case {code})", code=spoken_code(earlier)) if earlier else ""


def _of_pictures(event: CaseEvent, language: Language) -> str:
    """What was said of a picture, or of which lift it shows."""
    if event.kind == ASSET:
        return str(event.said["answer"])
    if event.kind == VIEW:
        view, state = VIEW_NAMES[str(event.said["id"])], STATE_WORDS[str(event.said["answer"])]
        return f"{language.say(view)} – {language.say(state)}"
    if event.kind == WITHDRAWN:
        return language.fill("Pictures deleted: {count}", count=len(event.said["photos"]))
    return language.say("The picture is kept") if event.said.get("kept") else language.say("The picture is not kept")


def _taken(taken: float | bool | list[float], language: Language) -> str:
    if isinstance(taken, bool):
        return language.say("Yes" if taken else "No")
    return ", ".join(f"{one:g}" for one in taken) if isinstance(taken, list) else f"{taken:g}"


def _asked(kind: str, id_: str, catalogue: Catalogue) -> tuple[str, Mapping[str, str]]:
    """The question in a few words, and its answers."""
    if kind == "context":
        row = catalogue.contexts_by_id.get(id_)
        return (row.ask, row.options) if row else (id_, {})
    if kind == "step" and id_ in catalogue.checks_by_id:
        finding = catalogue.findings_by_id[catalogue.checks_by_id[id_].finding]
        return finding.name, finding.outcomes
    if kind == "step":
        repair = catalogue.repairs_by_id.get(id_)
        return (repair.text, {}) if repair else (id_, {})
    if id_ in catalogue.concepts:
        return catalogue.concepts[id_].name, catalogue.concepts[id_].values
    row = catalogue.observations_by_id.get(id_)
    return (row.ask, row.options) if row else (id_, {})


def so_far(view: CaseView, catalogue: Catalogue, language: Language) -> list[tuple[str, str, str]]:
    """What holds in a case by now, in order: who and when, what, and what was said."""
    return [
        (
            f"{who_words(e.role, e.actor, language)}, {language.apart(to_the_minute(e.at_ms))}",
            action_words(OPENED if never_said(e) else e.kind, language),
            "" if never_said(e) else said_words(e, catalogue, language),
        )
        for e in view.live
    ]


def never_said(event: CaseEvent) -> bool:
    """Whether it is the "don't know" with which staff opened a case once: nobody had been asked."""
    return event.version == 1 and event.role != "caregiver" and event.kind == "person_in_sling"


def to_the_minute(at_ms: int) -> str:
    """A time in UTC, as the staff's pages write it."""
    return f"{dt.datetime.fromtimestamp(at_ms / 1000, dt.UTC):%Y-%m-%d %H:%M}"
