"""What happened in a case in words: each kind of event, and what was said in it, as the catalogue words it."""

from collections.abc import Mapping

from api.cases import DELETE_ABANDONED, CaseEvent
from api.languages import Language
from guidance.case_model import SKIPPED, STILL, UNSURE, WORKS
from guidance.catalogue import Catalogue
from guidance.safety import NO_SIGN

ACTION_WORDS = {
    "person_in_sling": "Whether somebody is up",
    "danger_signs": "Danger signs",
    "symptom": "Trouble",
    "context": "Circumstance",
    "step": "Step",
    "observation": "Seen of the lift",
    "could_hurt": "Whether somebody was hurt",
    "readings": "Meter readings",
    "plate": "Rating plate",
    "photo": "Photo",
    "no_photo": "Went on without a photo",
    "went_on": "Went on from the photo",
    "basket": "Basket",
    "checked": "Checked before ordering",
    "undo": "Took the last back",
    "handed_over": "Handed over",
    "closed": "Closed",
    "sign in": "Signed in",
    "link": "Made a link for photos",
    "export": "Exported the case",
    "delete": "Deleted the case",
    DELETE_ABANDONED: "Deleted the case, its time was over",
}
"""Every action of the audit log; the kinds of event come first."""

FORGOT = "forgot {0} pictures"
"""The one action that carries a number."""

ROLE_WORDS = {role: role for role in ("caregiver", "agent", "technician", "administrator", "system")}

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

READ = {
    "blocks_v": "Both blocks at rest, V",
    "pack_v": "Whole pack at rest, V",
    "rest_hours": "Rest before that, hours",
    "meter_error_percent": "Error of the meter, %",
    "loaded_v": "While the arm raises, V",
    "load_current_a": "Current meanwhile, A",
}
"""Each meter reading with its unit."""


def action_words(action: str, language: Language) -> str:
    """One action of the audit log, in words."""
    return language.said(ACTION_WORDS.get(action, action))


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
        return f"{language.say(asked)} – {language.say((ANSWER_WORDS | dict(options)).get(answer, answer))}"
    if event.kind == "closed":
        fault = catalogue.faults_by_id.get(answer)
        settings = catalogue.contexts_by_id[catalogue.fault_settings.setting].options
        return f"{language.say(fault.name) if fault else answer}; {language.say(settings.get(id_, id_))}"
    if event.kind in ("person_in_sling", "could_hurt"):
        return language.say(ANSWER_WORDS.get(answer, answer))
    if event.kind == "photo":
        return (
            language.say("The picture is kept") if event.said.get("kept") else language.say("The picture is not kept")
        )
    if event.kind == "readings":
        taken = dict(event.said.get("readings", {}))
        return "; ".join(
            f"{language.say(words)}: {_number(taken[name])}" for name, words in READ.items() if name in taken
        )
    if event.kind == "basket":
        return f"{said['quantity']} × {said['number']} {language.say(said['name'])}"
    if event.kind == "checked":
        sentences = {row.id: row.text for part in catalogue.components for row in part.confirm}
        return f"{language.say(sentences.get(id_, id_))} – {language.say(ANSWER_WORDS.get(answer, answer))}"
    return " ".join(said[key] for key in ("gtin", "serial", "batch", "produced") if said.get(key))


def _number(taken: float | list[float]) -> str:
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
