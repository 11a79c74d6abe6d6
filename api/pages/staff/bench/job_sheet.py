"""The job sheet: the lift, what was found and what is to be ordered, to be printed and as JSON."""

import json
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request, Response

from api.cases.basket import STANDING_WORDS, Basket, basket_of
from api.cases.events import ASSET, PLATE
from api.cases.line import about_of
from api.cases.photos import picture_of
from api.cases.summary import QueueRow, plate_of, queue_row
from api.cases.view import CaseView
from api.cases.words import ABOUT_WORDS, said_words, who_words
from api.gate.address import own_address
from api.http.sessions import Session, staff
from api.pages.languages import Language
from api.pages.staff.case_screen import READING_FIELDS, component_names
from api.pages.staff.screens import as_file, show_staff, staff_language, staff_view
from api.pages.staff.shown_link import code_of
from api.pages.staff.workshop import crops_of, entered, evidence_of
from api.state import state_of
from guidance.catalogue.catalogue import Catalogue
from guidance.parts.fitting import fits_of

SCHEMA_VERSION = "1"

WHERE = ("site", ASSET, "serial")
"""What the sheet says of which lift it is and where it stands, by the names of `about_of`."""

router = APIRouter(prefix="/staff", include_in_schema=False)


@router.get("/cases/{case_id}/sheet")
def sheet(request: Request, case_id: str) -> Response:
    """The job sheet: for the workshop, to be printed."""
    session, state = staff(request), state_of(request)
    row, catalogue = state.cases.by_id(case_id), state.resources.catalogue
    seen, language = staff_view(request, session, row), staff_language(request)
    values = {
        **component_names(catalogue),
        "view": seen,
        "here": f"/{language.tag}/staff/cases/{case_id}",
        "state": queue_row(row, catalogue, state.cases.now_ms()),
        "plate": plate_of(seen),
        "basket": basket_of(seen, catalogue),
        "instead": {fit.part.id: fit.stands_in_for for fit in fits_of(catalogue, seen.lift)},
        "standing_words": STANDING_WORDS,
        "entered": entered(seen),
        "reading_fields": READING_FIELDS,
        "evidence": evidence_of(seen, catalogue, language),
        "done": _done(seen, catalogue, language),
        **_which_lift(request, session, seen, catalogue),
    }
    return show_staff(request, "staff/sheet.html", session, **values)


@router.get("/cases/{case_id}/sheet.json")
def sheet_as_json(request: Request, case_id: str) -> Response:
    """The job sheet for another program."""
    session, state = staff(request), state_of(request)
    row, catalogue = state.cases.by_id(case_id), state.resources.catalogue
    seen = staff_view(request, session, row)
    summary = queue_row(row, catalogue, state.cases.now_ms())
    document = job_document(seen, summary, basket_of(seen, catalogue), catalogue)
    document |= {"date": _today(request), "case_address": _address_of(request, seen)}
    text = json.dumps(document, ensure_ascii=False, indent=2) + "\n"
    return as_file(text, "application/json", f"job-{row.code}.json")


def job_document(view: CaseView, state: QueueRow, basket: Basket, catalogue: Catalogue) -> dict[str, Any]:
    """The sheet, ready for JSON. Readings carry their units in their names; an open part carries no number."""
    found, verdict = view.identification, view.help.electricity
    plates = [event.said for event in view.live if event.kind == PLATE]
    taken = [event.said["readings"] for event in view.live if event.kind == "readings"]
    return {
        "schema_version": SCHEMA_VERSION,
        "case": view.row.code,
        "version": view.row.version,
        **{name: about_of(view.live)[name] for name in WHERE},
        "catalogue": view.help.catalogue.model_dump(),
        "person_in_sling": state.occupied,
        "trouble": state.trouble,
        "status": state.status,
        "control_box": found.control_box.model_dump(mode="json") if found else None,
        "actuator": found.actuator.model_dump(mode="json") if found else None,
        "plate": dict(plates[-1]) if plates else None,
        "readings": taken[-1] if taken else None,
        "battery": verdict.model_dump(mode="json") if verdict else None,
        "probably_at_fault": [{"component": c.id, "probability": c.probability} for c in view.help.components],
        "parts": [
            {
                "number": None if fit.verdict == "not_sure_yet" else fit.part.number,
                "name": fit.part.name,
                "component": fit.part.component,
                "fit": fit.verdict,
                "supplied_instead": fit.supplied.number if fit.supplied and fit.verdict != "not_sure_yet" else None,
            }
            for fit in fits_of(catalogue, view.lift)
        ],
        "order": {
            "ready": basket.ready,
            "lines": [
                {"quantity": row.quantity, "number": row.number, "name": row.name, "standing": row.standing}
                for row in basket.lines
            ],
            "confirm_before_order": [asdict(row) for row in basket.confirm],
            "mixed_families": list(basket.mixed),
        },
    }


def _which_lift(request: Request, session: Session, seen: CaseView, catalogue: Catalogue) -> dict[str, Any]:
    """Date, place, number and pictures of the lift, and the code that leads back to the case."""
    state, language = state_of(request), staff_language(request)
    there = {p.id: picture_of(state.cases, state.shelf, seen.row.id, p.id) is not None for p in seen.photos}
    about, address = about_of(seen.live), _address_of(request, seen)
    return {
        "date": _today(request),
        "where": [(ABOUT_WORDS[name], about[name]) for name in WHERE],
        "crops": sorted(crops_of(seen, there, catalogue, language), key=lambda crop: (crop.number, crop.place)),
        "address": address,
        "qr": code_of(address) if address else "",
    }


def _address_of(request: Request, seen: CaseView) -> str:
    """Where the case is found by whoever may sign in; empty where this server does not know its own address."""
    own = own_address(request)
    return f"{own}/{staff_language(request).tag}/staff/cases/{seen.row.id}" if own else ""


def _today(request: Request) -> str:
    return datetime.fromtimestamp(state_of(request).cases.now_ms() / 1000, UTC).date().isoformat()


def _done(seen: CaseView, catalogue: Catalogue, language: Language) -> list[str]:
    """What was said and done so far, each with who said it."""
    done = (event for event in seen.live if event.kind in ("context", "step"))
    return [f"{said_words(e, catalogue, language)} ({who_words(e.role, e.actor, language)})" for e in done]
