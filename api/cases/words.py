"""What happened in a case in words: each kind of event, and what was said in it, as the catalogue words it."""

from collections.abc import Mapping

from api.cases.store import DELETE_ABANDONED, CaseEvent
from api.cases.view import CaseView
from api.pages.languages import Language
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import LAST_RESORT
from guidance.diagnose.explain import whole_percent
from guidance.documents.case import SKIPPED, STILL, UNSURE, WORKS, OutcomeOut, StepOut
from guidance.safety.sentences import NO_SIGN

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
    "loaded_v": "While the arm raises, V",
    "load_current_a": "Current meanwhile, A",
    "charge_hours": "From flat to full, hours",
    "gauge_bars_percent": "Gauge of the box, %",
}
"""What a meter, a clock or the box's gauge shows, with its unit, as it is asked for and as it is told."""

READ = {"blocks_v": "Both blocks at rest, V", **MEASURED, "beeps_under_load": "Beeps while the arm raises"}
"""Each meter reading with its unit."""

PLATE_NAMES = {"gtin": "article number", "serial": "serial number", "batch": "batch", "produced": "produced on"}


def action_words(action: str, language: Language) -> str:
    """One action of the audit log, in words."""
    return language.said(ACTION_WORDS.get(action, action))


def who_words(role: str, actor: str, language: Language) -> str:
    """Who did something: the name as given at sign-in, and the role."""
    named = language.say(actor) if actor in NOT_PEOPLE else actor
    return f"{named}, {language.say(role)}" if named else language.say(role)


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
            f"{language.say(words)}: {_taken(taken[name], language)}" for name, words in READ.items() if name in taken
        )
    if event.kind == "basket":
        return f"{said['quantity']} × {said['number']} {language.say(said['name'])}"
    if event.kind == "checked":
        sentences = {row.id: row.text for part in catalogue.components for row in part.confirm}
        return f"{language.say(sentences.get(id_, id_))} – {language.say(ANSWER_WORDS.get(answer, answer))}"
    return "; ".join(f"{language.say(words)}: {said[key]}" for key, words in PLATE_NAMES.items() if said.get(key))


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
    """What holds in a case by now, in order: who, what, and what was said."""
    return [
        (who_words(e.role, e.actor, language), action_words(e.kind, language), said_words(e, catalogue, language))
        for e in view.live
    ]


def why_words(step: StepOut, language: Language) -> str:
    """Why a step comes next, as `guidance/diagnose/explain.py` says it to staff, in any language."""
    if step.kind == LAST_RESORT:
        return language.say("What is left to try here is expected to take longer than this.")
    if step.kind in ("adjust", "replace"):
        share = _share(step.outcomes[0].probability, language)
        reasons = [language.fill("It ends the trouble in {share} of such cases.", share=share)]
    else:
        reasons = [_shifts_words(outcome, language) for outcome in step.outcomes if outcome.shifts]
    if step.otherwise_minutes is not None:
        saved = step.otherwise_minutes - step.expected_minutes
        fewer = "About {minutes} minutes until it works, {saved} fewer than with the next best step first."
        as_many = "About {minutes} minutes until it works, as many as with the next best step first."
        minutes, less = f"{step.expected_minutes:.0f}", f"{saved:.1f}"
        reasons.append(language.fill(fewer if saved >= 0.05 else as_many, minutes=minutes, saved=less))
    return " ".join(reasons)


def _shifts_words(outcome: OutcomeOut, language: Language) -> str:
    moves = ", ".join(
        f"{language.say(s.name)} {_share(s.before, language)} → {_share(s.after, language)}" for s in outcome.shifts
    )
    share, answer = _share(outcome.probability, language), language.say(outcome.words)
    return language.fill("If “{answer}” ({share}): {moves}.", answer=answer, share=share, moves=moves)


def _share(probability: float, language: Language) -> str:
    return language.say(whole_percent(probability).replace("\u00a0%", " %")).replace(" %", "\u00a0%")
