"""What was done, for those who answer for it: the audit log for administrators, one case's history for all staff."""

import datetime as dt
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response

from api.cases.audit import LARGEST_ID, AuditPage, audit_page
from api.cases.events import CaseEvent, in_force
from api.cases.store import CaseRow, NoSuchCase, spoken_code
from api.cases.words import action_words, said_words, who_words
from api.http.sessions import staff
from api.pages.languages import Language
from api.pages.staff.screens import show_staff, staff_language
from api.state import state_of
from guidance.catalogue.catalogue import Catalogue

router = APIRouter(prefix="/staff", include_in_schema=False)


@dataclass(frozen=True)
class Happened:
    """One line of a case's history, in words; `holds` until it is taken back."""

    at: str
    who: str
    what: str
    said: str
    holds: bool


@router.get("/audit")
def audit_log(request: Request, case: str = "", day: str = "", before: str = "") -> Response:
    """Who did what, when, in which case: newest first, filtered by case and day."""
    session, language = staff(request), staff_language(request)
    page, told = AuditPage((), None), ""
    try:
        page = audit_page(state_of(request).cases, case.strip(), _day(day), _before(before))
    except NoSuchCase:
        told = language.fill("No case has the code {code}. Have it read out again, letter by letter.", code=case)
    except ValueError:
        told = language.fill("{day} is no day. Write it as 2026-03-31.", day=day)
    lines = [
        (line, in_utc(line.at_ms), who_words(line.role, line.actor, language), action_words(line.action, language))
        for line in page.lines
    ]
    older = urlencode({"case": case, "day": day, "before": page.older}) if page.older else ""
    values = {
        "lines": lines,
        "older": older,
        "case": case,
        "day": day,
        "told": told,
        "first": not before,
        "spoken": spoken_code,
    }
    return show_staff(request, "staff/audit.html", session, status=422 if told else 200, **values)


@router.get("/cases/{case_id}/history")
def history(request: Request, case_id: str) -> Response:
    """Everything that was said in one case, what was taken back included, in order."""
    session, state = staff(request), state_of(request)
    row = state.cases.by_id(case_id)
    rows = history_of(row, state.resources.catalogue, staff_language(request))
    values = {"rows": rows, "code": spoken_code(row.code), "case_id": row.id}
    return show_staff(request, "staff/history.html", session, **values)


def history_of(row: CaseRow, catalogue: Catalogue, language: Language) -> list[Happened]:
    """A case's events in words, oldest first."""
    live = {event.version for event in in_force(row.events)}
    return [_happened(event, event.version in live, catalogue, language) for event in row.events]


def in_utc(at_ms: int) -> str:
    """A time as the pages of the staff write it, to the second."""
    return f"{dt.datetime.fromtimestamp(at_ms / 1000, dt.UTC):%Y-%m-%d %H:%M:%S}"


def _happened(event: CaseEvent, live: bool, catalogue: Catalogue, language: Language) -> Happened:
    return Happened(
        at=in_utc(event.at_ms),
        who=who_words(event.role, event.actor, language),
        what=action_words(event.kind, language),
        said=said_words(event, catalogue, language),
        holds=live or event.kind == "undo",
    )


def _day(came: str) -> dt.date | None:
    return dt.datetime.strptime(came.strip(), "%Y-%m-%d").date() if came.strip() else None


def _before(came: str) -> int:
    return min(int(came), LARGEST_ID) if came.isascii() and came.isdecimal() and len(came) < 12 else LARGEST_ID
