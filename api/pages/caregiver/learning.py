"""Taking back that photos are learned from: at the caregiver's own address, even without the case, and by a link."""

from pathlib import Path

from fastapi import APIRouter, Request, Response
from sqlalchemy import ColumnElement

from api.cases.learned.consent import agreed, of_owner, sent_by_link, withdraw
from api.cases.links import case_of_link
from api.cases.photos import BY_LINK
from api.cases.store import NoSuchCase
from api.pages.caregiver.screens import count_look, language_of, who_asks
from api.state import state_of

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/c/{token}/learning")
@router.get("/u/{token}/learning")
def learning_page(request: Request, token: str) -> Response:
    """How many photos may be learned from, and the button that takes it back."""
    count_look(request, token)
    state, language, here = state_of(request), language_of(request), _here(request, token)
    values = {"count": agreed(state.cases, _photos(request, token)), "open": _is_open(request, token)}
    return state.pages.show("withdrawn.html", language, f"{here}/learning", here=f"/{language.tag}{here}", **values)


@router.post("/c/{token}/learning")
@router.post("/u/{token}/learning")
def take_back(request: Request, token: str) -> Response:
    """Delete these photos wherever they are kept."""
    count_look(request, token)
    state, door = state_of(request), request.url.path.split("/")[2]
    who = who_asks(request, BY_LINK if door == "u" else "")
    withdraw(state.cases, state.shelf, _photos(request, token), who, Path(state.settings.weights))
    return learning_page(request, token)


def _here(request: Request, token: str) -> str:
    """The address that the photos belong to, without the language."""
    return f"/{request.url.path.split('/')[2]}/{token}"


def _photos(request: Request, token: str) -> ColumnElement[bool]:
    """The caregiver's own photos, or those that were sent by this link. Raises `NoSuchCase` for a link that is over."""
    if _here(request, token).startswith("/c/"):
        return of_owner(token)
    return sent_by_link(case_of_link(state_of(request).cases, token))


def _is_open(request: Request, token: str) -> bool:
    """Whether there is a page to go back to: a labelled photo outlives its case."""
    try:
        return not _here(request, token).startswith("/c/") or bool(state_of(request).cases.by_token(token))
    except NoSuchCase:
        return False
