"""One case on one screen, for an agent and, with a workshop beside it, for a technician."""

from typing import Any

from fastapi import Request, Response

from api.cases.basket import MOST_OF_ONE, basket_of, kept_in
from api.cases.events import ASSET, CLOSED, LONGEST_FIELD, LONGEST_NOTE, NOTE, RETURNED
from api.cases.known_lift import earlier_of
from api.cases.learned.stating import states_of, telling_parts
from api.cases.line import about_of, assignee_of
from api.cases.looking import others_looking
from api.cases.photos import picture_of
from api.cases.summary import plate_of, queue_row, settings_of, summary_text
from api.cases.view import CaseView
from api.cases.why import PLAIN_WHY, why_words
from api.cases.words import (
    ABOUT_WORDS,
    MEASURED,
    PROOF_WORDS,
    so_far,
    to_the_minute,
    who_words,
)
from api.http.sessions import Session
from api.pages.caregiver.told import told
from api.pages.drawings import drawings_of
from api.pages.languages import Language
from api.pages.staff.labelling import disputed
from api.pages.staff.screens import show_staff, staff_language, staff_view
from api.pages.staff.shown_link import link_shown
from api.pages.staff.workshop import (
    NONE_OF_THE_LIST,
    contradictions_of,
    crops_of,
    entered,
    evidence_of,
    fit_rows,
    open_names,
    settled_lines,
)
from api.settings import MOST_PHOTOS
from api.state import state_of
from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.documents.answer import Advice
from guidance.documents.case import WORKS
from guidance.safety.sentences import say

READING_FIELDS = {
    "block_1_v": "First block at rest, V",
    "block_2_v": "Second block at rest, V",
    **MEASURED,
    "loaded_block_1_v": "First block under load, V",
    "loaded_block_2_v": "Second block under load, V",
}
"""What is asked for, with its unit; `guidance/electricity/verdict.py` judges it."""

FAULTS_SHOWN = 8


def show_case(request: Request, session: Session, case_id: str, status: int = 200, **more: Any) -> Response:
    """One case on one screen; `more` overrides what the page says."""
    state = state_of(request)
    row = state.cases.by_id(case_id)
    seen = staff_view(request, session, row)
    catalogue = state.resources.catalogue
    there = {p.id: picture_of(state.cases, state.shelf, row.id, p.id) is not None for p in seen.photos}
    language = staff_language(request)
    values = {
        **_known(seen, there, catalogue, language),
        "closed_cases": state.learning.cases,
        "state": queue_row(row, catalogue, state.cases.now_ms()),
        "here": f"/{language.tag}/staff/cases/{case_id}",
        "path": f"/staff/cases/{case_id}",
        "changed": language.said(more.pop("changed", "")),
        "errors": {},
        "plate_read": {},
        "plate_boxes": (),
        "plate_again": False,
        "plate_open": False,
        "typed": {},
        **link_shown(request, seen),
        **_caller(request, session, seen, catalogue, language),
    }
    if session.role != "technician":
        return show_staff(request, "staff/case.html", session, status=status, **{**values, **more})
    bench = _workshop(seen, there, catalogue, language) | {"keep_days": state.settings.photo_days}
    return show_staff(request, "staff/technician.html", session, status=status, **{**values, **bench, **more})


def _caller(
    request: Request, session: Session, seen: CaseView, catalogue: Catalogue, language: Language
) -> dict[str, Any]:
    """Who calls, whose case it is, who else looks at it, and what an earlier case says of this lift."""
    store = state_of(request).cases
    earlier = earlier_of(store, seen)
    names = component_names(catalogue)
    return {
        "about": about_of(seen.live),
        "typed_about": {},
        "about_words": ABOUT_WORDS,
        "longest_field": LONGEST_FIELD,
        "longest_note": LONGEST_NOTE,
        "assignee": assignee_of(seen.live),
        "notes": [e for e in seen.live if e.kind == NOTE],
        "others": others_looking(store, seen.row.id, session.actor),
        "earlier": earlier,
        "earlier_box": names["generation_names"].get(earlier.generation, "") if earlier else "",
        "earlier_head": names["mechanism_names"].get(earlier.mechanism, "") if earlier else "",
        "earlier_at": to_the_minute(earlier.at_ms) if earlier else "",
        "earlier_by": who_words(earlier.role, earlier.actor, language) if earlier else "",
        "which_box": WHICH_BOX,
        "to_the_minute": to_the_minute,
        "closed_now": seen.said(CLOSED) and not seen.up,
    }


def _known(seen: CaseView, there: dict[str, bool], catalogue: Catalogue, language: Language) -> dict[str, Any]:
    """What is known of the case and asked next, by the names of the templates; `there`: photos that are still kept."""
    return {
        "view": seen,
        "question": seen.to_ask,
        "mechanism": _confirmed_mechanism(seen),
        **_lines(seen, catalogue),
        "drawings": drawings_of(seen.to_ask, catalogue, language),
        "told": told(seen, there, catalogue, language) if seen.identification else None,
        "catalogue": catalogue,
        **component_names(catalogue),
        "faults": seen.help.faults[:FAULTS_SHOWN],
        "settings": settings_of(catalogue),
        "proofs": PROOF_WORDS,
        "all_faults": sorted(catalogue.faults, key=lambda f: f.name),
        "summary": summary_text(seen, catalogue, language),
        "plate": plate_of(seen),
        "reading_fields": READING_FIELDS,
        "why": _why(seen, language),
        "figures": _figures(seen, language),
        "needs": [language.say(need) for need in seen.to_ask.needs] if seen.to_ask else [],
        "contradictions": contradictions_of(seen, catalogue, language),
        **_closing(seen, catalogue, language),
        "so_far": so_far(seen, catalogue, language),
    }


def _closing(seen: CaseView, catalogue: Catalogue, language: Language) -> dict[str, Any]:
    """What a closing says of the lift beside the fault: a part of the basket, and what is confirmed."""
    parts = telling_parts(catalogue)
    in_basket = [part.id for part in parts if part.id in kept_in(seen.live)]
    closing = states_of(CLOSED, {}, seen.help.role, seen.summary(), catalogue)
    words = ((catalogue.concepts[concept], value) for concept, value in closing.items())
    assets = [str(event.said["answer"]) for event in seen.live if event.kind == ASSET]
    return {
        "telling_parts": parts,
        "mended_by": in_basket[0] if len(in_basket) == 1 else "",
        **_ended_by(seen, catalogue),
        "closing_says": [f"{language.say(row.name)}: {language.say(row.values[value])}" for row, value in words],
        "asset": assets[-1] if assets else "",
    }


def _ended_by(seen: CaseView, catalogue: Catalogue) -> dict[str, str]:
    """What a closing begins with, from what happened: the fault that the step that helped most probably mended.

    Empty where nothing is said to have helped: then somebody chooses.
    """
    worked = [e for e in seen.live if e.kind == "step" and e.said["answer"] == WORKS]
    settings = {str(e.said["id"]): str(e.said["answer"]) for e in seen.live if e.kind == "context"}
    chosen = {"ended_fault": "", "ended_proof": "", "ended_setting": settings.get(catalogue.fault_settings.setting, "")}
    repair = catalogue.repairs_by_id.get(str(worked[-1].said["id"])) if worked else None
    if repair is None or not repair.mends:
        return chosen
    likely = {fault.id: fault.probability for fault in seen.help.faults}
    best = max(repair.mends, key=lambda fault: repair.mends[fault] * likely.get(fault, 0.0))
    return chosen | {"ended_fault": best, "ended_proof": "exchanged" if repair.kind == "replace" else "mended"}


def _confirmed_mechanism(seen: CaseView) -> str:
    """The mechanism whose steps are shown; empty when none is confirmed, or nobody is up."""
    lowering = seen.help.lowering
    return lowering.mechanisms[0] if lowering is not None and lowering.basis == "confirmed" else ""


def _lines(seen: CaseView, catalogue: Catalogue) -> dict[str, list[Advice]]:
    """What is said now in full; before a step, of what always holds the first, and the rest folded up."""
    safety = list(seen.help.safety)
    if seen.help.state not in ("ask", "next_step"):
        return {"lines": safety, "more_lines": []}
    always = say(catalogue, "always", seen.help.role)
    folded = [row for row in safety[1:] if row in always]
    return {"lines": [row for row in safety if row not in folded], "more_lines": folded}


def _why(seen: CaseView, language: Language) -> str:
    """Why this is asked now, in one plain sentence."""
    asked = seen.to_ask
    if asked is None:
        return ""
    why = PLAIN_WHY[asked.step_kind] if asked.kind in ("context", "step") else asked.why
    return language.say(why)


def _figures(seen: CaseView, language: Language) -> str:
    """The figures behind that sentence; empty where there are none."""
    asked = seen.to_ask
    return why_words(seen.help.next, language) if asked is not None and asked.kind in ("context", "step") else ""


def component_names(catalogue: Catalogue) -> dict[str, dict[str, str]]:
    """How the pages call generations and mechanisms, by the names that the templates know."""
    return {
        "generation_names": {g.id: g.name for g in catalogue.generations} | {UNLISTED: NONE_OF_THE_LIST},
        "mechanism_names": {m.id: m.name for m in catalogue.mechanisms},
    }


def _workshop(seen: CaseView, there: dict[str, bool], catalogue: Catalogue, language: Language) -> dict[str, Any]:
    """What a technician's screen shows beside the case, by the names of the templates."""
    crops = crops_of(seen, there, catalogue, language)
    return {
        "crops": crops,
        "open_names": open_names(crops),
        "settled": settled_lines(seen, catalogue, language),
        "evidence": evidence_of(seen, catalogue, language),
        "fit_table": fit_rows(seen, catalogue, language),
        "basket": basket_of(seen, catalogue),
        "came_back": {event.said["id"] for event in seen.live if event.kind == RETURNED},
        "most_of_one": MOST_OF_ONE,
        "entered": entered(seen),
        "most_photos": MOST_PHOTOS,
        "refused": (),
        "disputed": disputed(seen),
    }
