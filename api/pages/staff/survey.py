"""A walk round the pool: where it begins, how far it is, what is missing, and what the lifts of it prove."""

import secrets
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from api.cases.learned.consent import agreed, withdraw
from api.http.sessions import Session, staff
from api.pages.staff.monitor import of_words, part_words
from api.pages.staff.screens import show_staff, staff_form, staff_language
from api.state import state_of
from api.surveys.progress import MANY, LiftState, counted, lifts_to_show, proven, states_of, whole_lifts
from api.surveys.register import LONGEST_NAME, Survey, begin, lifts_of, listed, sent_on, stop_learning, survey_of
from api.surveys.taking import LONGEST_NUMBER
from api.surveys.wanted import STATE_WORDS, VIEW_NAMES, WANTED
from classifier.errors import InputError

WELL = 0.95
"""What somebody may want to be shown of a pool: at least this share is read right."""

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/survey")
def surveys(request: Request) -> Response:
    """Every survey, and the form that begins one."""
    return _list(request, staff(request))


@router.post("/survey")
async def start(request: Request) -> Response:
    """Begin a survey; it is asked once, for the whole of it, what its owner agreed to."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_start, request, session, form)


@router.get("/survey/{survey_id}")
def overview(request: Request, survey_id: str, recorded: str = "") -> Response:
    """How far a survey is, and the next lift."""
    session = staff(request)
    told = staff_language(request).say("What you said is recorded.") if recorded else ""
    return show_survey(request, session, survey_of(state_of(request).cases, survey_id), told=told)


@router.get("/survey/{survey_id}/missing")
def missing(request: Request, survey_id: str) -> Response:
    """What is missing, lift by lift, to be printed."""
    session = staff(request)
    survey = survey_of(state_of(request).cases, survey_id)
    return show_survey(request, session, survey, template="staff/survey_missing.html")


@router.post("/survey/{survey_id}/learning")
async def take_back(request: Request, survey_id: str) -> Response:
    """The owner takes back that photos of this survey are learned from: they are deleted wherever they are kept."""
    session, _ = await staff_form(request)
    await run_in_threadpool(_take_back, request, session, survey_id)
    return RedirectResponse(f"../{survey_id}", 303)


def show_survey(
    request: Request,
    session: Session,
    survey: Survey,
    status: int = 200,
    template: str = "staff/survey.html",
    **more: Any,
) -> Response:
    """One survey; `more` overrides what the page says."""
    state, language = state_of(request), staff_language(request)
    states = states_of(state.cases, lifts_of(state.cases, survey.id))
    values = {
        "survey": survey,
        "here": f"/{language.tag}/staff/survey/{survey.id}",
        "path": f"/staff/survey/{survey.id}",
        "states": states,
        "lifts": counted(states),
        "open_lifts": [one for one in states if not one.gone and not one.whole and not one.lift.joined],
        "wanted": WANTED,
        "token": secrets.token_hex(16),
        "told": "",
        "typed": "",
        "longest_number": LONGEST_NUMBER,
        "known": [{"token": one.lift.token, "number": one.lift.number, "place": one.place} for one in states],
        "learned": agreed(state.cases, sent_on(survey.id)),
        "names": {id_: row.name for id_, row in state.resources.catalogue.concepts.items()},
        "of": lambda share: of_words(share, language),
        "part": part_words,
        **_proof(states),
        **view_words(),
    }
    return show_staff(request, template, session, status=status, **{**values, **more})


def view_words() -> dict[str, Any]:
    """How views and their states are called, by the names that the templates know."""
    return {"view_names": VIEW_NAMES, "state_words": STATE_WORDS}


def _proof(states: list[LiftState]) -> dict[str, Any]:
    whole = whole_lifts(states)
    return {"proven": proven(states), "whole": whole, "many": MANY, "well": WELL, "lifts_to_show": lifts_to_show(WELL)}


def _list(request: Request, session: Session, told: str = "", status: int = 200, **typed: Any) -> Response:
    state = state_of(request)
    values = {
        "surveys": listed(state.cases),
        "new": secrets.token_hex(8),
        "longest_name": LONGEST_NAME,
        "keep_days": state.settings.photo_days,
        "told": told,
        "typed": {"name": "", "learn": False, "keep": False} | typed,
    }
    return show_staff(request, "staff/surveys.html", session, status=status, **values)


def _start(request: Request, session: Session, form: dict[str, str]) -> Response:
    given = {"name": form.get("name", ""), "learn": form.get("learn") == "yes", "keep": form.get("keep") == "yes"}
    survey_id = form.get("survey", "")
    try:
        begin(state_of(request).cases, survey_id, **given, who=session.who(request))
    except InputError as error:
        return _list(request, session, staff_language(request).said(error.message), 422, **given)
    return RedirectResponse(f"survey/{survey_id}", 303)


def _take_back(request: Request, session: Session, survey_id: str) -> None:
    state, who = state_of(request), session.who(request)
    stop_learning(state.cases, survey_of(state.cases, survey_id))
    withdraw(state.cases, state.shelf, sent_on(survey_id), who, Path(state.settings.weights))
