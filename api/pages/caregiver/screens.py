"""What every page of a caregiver is made of: the language, the case behind an address, and who says something there."""

from collections.abc import Sequence
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from api.cases.store import CaseRow, Who, hashed
from api.cases.view import CaseView, view
from api.pages.drawings import drawings_of
from api.pages.languages import Language
from api.state import count_request, state_of
from guidance.documents.answer import Advice
from guidance.safety.sentences import say

ROLE = "caregiver"


def language_of(request: Request) -> Language:
    """The language in the first part of the address."""
    return state_of(request).pages.languages[request.url.path.split("/")[1]]


def case_of(request: Request, token: str) -> CaseRow:
    """The case behind this address. Counts the look, by address and by case. Raises `NoSuchCase`."""
    count_look(request, token)
    return state_of(request).cases.by_token(token)


def count_look(request: Request, token: str = "") -> None:
    """Count one look, by the address that it comes from and by the case. Raises `TooManyRequests`."""
    count_request(request)
    if token:
        state_of(request).case_rate.take(hashed(token))


def who_asks(request: Request, actor: str = "") -> Who:
    """A caregiver as a case keeps them."""
    return Who(ROLE, actor, request.client.host if request.client else "")


def seen_by_caregiver(request: Request, row: CaseRow) -> CaseView:
    """The case as a caregiver sees it."""
    state = state_of(request)
    return view(row, state.cases, state.resources, ROLE)


def show_in_case(
    request: Request, here: str, template: str, seen: CaseView, path: str = "", **values: Any
) -> HTMLResponse:
    """One page of a case whose address without the language is `here`."""
    language = language_of(request)
    values = {"changed": "", **values}
    door = f"/{language.tag}{here}"
    return state_of(request).pages.show(template, language, f"{here}{path}", view=seen, here=door, **values)


def asked_now(request: Request, seen: CaseView) -> dict[str, Any]:
    """The question, if there is one, and what its answers look like."""
    question, catalogue = seen.question, state_of(request).resources.catalogue
    return {"question": question, "drawings": drawings_of(question, catalogue, language_of(request))}


def cautions(request: Request, seen: CaseView) -> dict[str, Sequence[Advice]]:
    """The sentences that always hold, those to know before this step is done, and the others of this state."""
    catalogue = state_of(request).resources.catalogue
    always = say(catalogue, "always", ROLE)
    before = {row.id for row in catalogue.cautions if row.moment == "beside"}
    own = [row for row in seen.help.safety if row not in always]
    return {
        "always": always,
        "beside": tuple(row for row in own if row.id in before),
        "own": tuple(row for row in own if row.id not in before),
    }
