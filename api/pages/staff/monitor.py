"""How right is it here: what was shown against what technicians found, and the way back after an alarm."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from api.http.sessions import Session, staff
from api.monitor.held_back import LONGEST_REASON, confirm_again
from api.monitor.report import Report, report
from api.pages.languages import Language
from api.pages.staff.audit import in_utc
from api.pages.staff.screens import show_staff, staff_form, staff_language
from api.pages.staff.workshop import NONE_OF_THE_LIST
from api.state import state_of
from classifier.errors import InputError
from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.monitor.figures import FEW
from guidance.monitor.shares import Share

ROLE = "administrator"
COMPONENT_WORDS = {"control_box": "Control box", "actuator": "Lowering by hand"}
VERDICT_WORDS = {
    "confirmed": "confirmed",
    "held_back": "held back",
    "likely": "likely",
    "undecided": "undecided",
    "unlisted": "unlisted",
    "not_seen": "not seen",
    "sure": "one value left",
    "open": "several values left",
    "not_visible": "not visible",
}
"""Every verdict of an answer and of a reading."""

router = APIRouter(prefix="/staff", include_in_schema=False)


@router.get("/monitor")
def how_right(request: Request) -> Response:
    """The whole report on one page."""
    return _page(request, staff(request))


@router.post("/monitor")
async def set_back(request: Request) -> Response:
    """Let a component be confirmed again, with a reason."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_set_back, request, session, form)


def _set_back(request: Request, session: Session, form: dict[str, str]) -> Response:
    component, reason = form.get("component", ""), form.get("reason", "")
    try:
        confirm_again(state_of(request).cases, component, reason, session.who(request))
    except InputError:
        words = "Nothing changed. It has to be held back, and a reason of at most {longest} characters is wanted."
        wrong = staff_language(request).fill(words, longest=LONGEST_REASON)
        return _page(request, session, 422, wrong=wrong, typed=reason)
    return RedirectResponse("monitor", 303)


def _page(request: Request, session: Session, status: int = 200, wrong: str = "", typed: str = "") -> Response:
    state, language = state_of(request), staff_language(request)
    found = report(state.cases)
    values = {
        "report": found,
        "values": _value_words(state.loaded.catalogue, language),
        "abouts": _about_words(state.loaded.catalogue, language),
        "verdicts": VERDICT_WORDS,
        "of": lambda share: of_words(share, language),
        "part": part_words,
        "unchecked": _unchecked(found),
        "few": FEW,
        "longest_reason": LONGEST_REASON,
        "since": {name: in_utc(one.since_ms) for name, one in found.held_back.items()},
        "wrong": wrong,
        "typed": typed,
        "may_set_back": session.role == ROLE,
    }
    return show_staff(request, "staff/monitor.html", session, status=status, **values)


def part_words(part: float) -> str:
    """A share in per cent, with digits behind the point where fewer would hide what is left of 0 or 100."""
    left = min(part, 1 - part)
    digits = 0 if left == 0 or left >= 0.1 else 1 if left >= 0.005 else 2
    return f"{100 * part:.{digits}f} %"


def of_words(share: Share, language: Language) -> str:
    """So many of so many, with the interval; a dash without any."""
    if not share.n:
        return "–"
    low, high = share.interval
    words = "{hits} of {n} ({low} to {high})"
    return language.fill(words, hits=share.hits, n=share.n, low=part_words(low), high=part_words(high))


def _unchecked(found: Report) -> int:
    return found.figures.cases - found.figures.checked_cases


def _about_words(catalogue: Catalogue, language: Language) -> dict[str, str]:
    components = {name: language.say(words) for name, words in COMPONENT_WORDS.items()}
    return components | {name: language.say(row.name) for name, row in catalogue.concepts.items()}


def _value_words(catalogue: Catalogue, language: Language) -> Mapping[str, dict[str, Any]]:
    """By what it is about, the words of each value."""
    boxes = {row.id: language.say(row.name) for row in catalogue.generations}
    components = {
        "control_box": boxes | {UNLISTED: language.say(NONE_OF_THE_LIST)},
        "actuator": {row.id: language.say(row.name) for row in catalogue.mechanisms},
    }
    concepts = {
        name: {value: language.say(words) for value, words in row.values.items()}
        for name, row in catalogue.concepts.items()
    }
    return components | concepts
