"""The queue: everyone who is up on top of every page; search, filters and ages for the others; a case for a caller."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from api.cases.events import OPENED
from api.cases.line import STATUSES
from api.cases.queue import LONGEST_SEARCH, NOBODY_S, Wanted, mark_of, mark_words, queue_page
from api.cases.store import NoSuchCase, Said
from api.cases.summary import age_words, told_row
from api.http.sessions import Session, staff
from api.pages.staff.screens import show_staff, staff_form, staff_language
from api.state import state_of

MINE = "mine"

WHOSE = {"": "anyone's", MINE: "mine", NOBODY_S: "no one's"}
LONG = {"": "at any time", "1": "more than a day ago", "7": "more than a week ago"}
"""Choices of the filters, by their values in an address."""

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/cases")
def queue(
    request: Request, q: str = "", status: str = "", whose: str = "", days: str = "", after: str = ""
) -> Response:
    """Everyone who is up, then the cases that fit; one at once by the code that a caller reads out."""
    session, store = staff(request), state_of(request).cases
    language, q = staff_language(request), q[:LONGEST_SEARCH].strip()
    if q:
        try:
            return RedirectResponse(f"/{language.tag}/staff/cases/{store.by_code(q).id}", 303)
        except NoSuchCase:
            pass
    asked = {
        "q": q,
        "status": status if status in STATUSES else "",
        "whose": whose if whose in WHOSE else "",
        "days": days if days in LONG else "",
    }
    page = queue_page(store, _wanted(asked, session), mark_of(after))
    catalogue, now = state_of(request).resources.catalogue, store.now_ms()
    further = urlencode({**{name: value for name, value in asked.items() if value}, "after": mark_words(page.after)})
    return show_staff(
        request,
        "staff/queue.html",
        session,
        up=[told_row(row, catalogue, now) for row in page.up],
        rows=[told_row(row, catalogue, now) for row in page.rows],
        asked=asked,
        filtered=any(asked.values()),
        begun=bool(mark_of(after)),
        further=further if page.after else "",
        statuses=STATUSES,
        whose_words=WHOSE,
        long_words=LONG,
        age=lambda minutes: age_words(minutes, language),
    )


def _wanted(asked: dict[str, str], session: Session) -> Wanted:
    whose = session.actor if asked["whose"] == MINE else asked["whose"]
    return Wanted(asked["q"], asked["status"], whose, int(asked["days"] or 0))


@router.post("/cases")
async def open_case(request: Request) -> Response:
    """Open a case for a caller who has none yet."""
    session, _ = await staff_form(request)
    tag = staff_language(request).tag
    first = Said(OPENED, {"id": "", "answer": ""}, {})
    case_id, _ = await run_in_threadpool(state_of(request).cases.start, tag, session.who(request), first)
    return RedirectResponse(f"/{tag}/staff/cases/{case_id}", 303)
