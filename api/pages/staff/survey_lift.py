"""One lift of a survey: which it is, its wanted photos one by one, each judged at once, and its readings to accept."""

from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, RedirectResponse

from api.cases.learned.accepting import say_words, words_on_lift
from api.cases.photos import picture_of
from api.http.sessions import Session, staff
from api.identification import NamedPhoto
from api.pages.forms import photo_form, version_of
from api.pages.staff.screens import show_staff, staff_form, staff_language, staff_photos, staff_view
from api.pages.staff.survey import show_survey, view_words
from api.pages.staff.workshop import crops_of
from api.state import state_of
from api.surveys.progress import LiftState, states_of
from api.surveys.register import Survey, SurveyLift, drop, join, lift_of, lifts_of, open_lift, survey_of
from api.surveys.taking import LONGEST_NUMBER, Taker, leave_view, plain_number, read_code, say_number, take_view
from api.surveys.wanted import KEPT, SKIPPED, STATE_WORDS, VIEWS_BY_ID
from classifier.errors import InputError
from classifier.messages import Message
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import UNSURE, ConceptWords

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.post("/survey/{survey_id}/lifts")
async def next_lift(request: Request, survey_id: str) -> Response:
    """A lift by its inventory number, or by a photo of its code.

    Sent from a telephone's queue it is taken also when the code cannot be read, so that its photos have a place.
    """
    return await _with_photo(request, survey_id, _next_lift)


@router.get("/survey/{survey_id}/lifts/{lift}")
def lift_page(request: Request, survey_id: str, lift: str) -> Response:
    """One lift as it stands."""
    session = staff(request)
    survey = survey_of(state_of(request).cases, survey_id)
    return _show(request, session, survey, lift_of(state_of(request).cases, survey_id, lift))


@router.post("/survey/{survey_id}/lifts/{lift}/views")
async def view_of_lift(request: Request, survey_id: str, lift: str) -> Response:
    """A photo of one wanted view, judged at once; or going on without, or with the photo as it is."""

    def take(request: Request, session: Session, survey: Survey, photo: NamedPhoto | None, form: dict) -> Response:
        return _take_view(request, session, survey, lift, photo, form)

    return await _with_photo(request, survey_id, take)


@router.post("/survey/{survey_id}/lifts/{lift}/number")
async def number_of_lift(request: Request, survey_id: str, lift: str) -> Response:
    """Which lift it is: a typed number, or that it is the earlier one."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_number, request, session, survey_id, lift, form)


@router.post("/survey/{survey_id}/lifts/{lift}/readings")
async def accept_readings(request: Request, survey_id: str, lift: str) -> Response:
    """What somebody says of the lift, its readings before them."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_accept, request, session, survey_id, lift, form)


async def _with_photo(request: Request, survey_id: str, take: Any) -> Response:
    """Run `take` in a slot, since photos are read there, with the photo of the form, if one came."""
    session = await run_in_threadpool(staff, request)
    state = state_of(request)
    async with staff_photos(request, session, photo_form) as (photos, fields):
        survey = await run_in_threadpool(survey_of, state.cases, survey_id)
        return await state.slots.run(take, request, session, survey, photos[0] if photos else None, fields)


def _taker(request: Request, session: Session, survey: Survey) -> Taker:
    state = state_of(request)
    days = state.settings.photo_days if survey.keep else 0
    return Taker(state.cases, state.shelf, state.loaded, days, session.who(request), Path(state.settings.weights))


def _next_lift(
    request: Request, session: Session, survey: Survey, photo: NamedPhoto | None, form: dict[str, str]
) -> Response:
    taker, language, number = _taker(request, session, survey), staff_language(request), form.get("number", "")
    token, queued, told = form.get("lift", ""), form.get("queued") == "yes", ""
    try:
        typed = "" if photo and not number.strip() else plain_number(number)
    except InputError as error:
        if not queued:
            words = language.said(error.message)
            return show_survey(request, session, survey, 422, told=words, typed=number, token=token)
        typed = ""
    lift = open_lift(taker.store, survey, token, language.tag, taker.who)
    if typed:
        say_number(taker, lift, typed)
    elif photo and (problem := read_code(taker, lift, photo)):
        told = language.say(STATE_WORDS[problem])
        if not queued:
            return show_survey(request, session, survey, 422, told=told, token=token)
    return _answered(request, survey, lift, f"lifts/{token}", told)


def _take_view(
    request: Request, session: Session, survey: Survey, token: str, photo: NamedPhoto | None, form: dict[str, str]
) -> Response:
    view, state = VIEWS_BY_ID.get(form.get("view", "")), form.get("go", "")
    if view is None or (photo is None and state not in (KEPT, SKIPPED)):
        raise InputError(Message("No photo came. Take one, or say that it cannot be photographed."))
    taker = _taker(request, session, survey)
    lift = open_lift(taker.store, survey, token, staff_language(request).tag, taker.who)
    if photo is not None:
        take_view(taker, survey, lift, view, photo)
    else:
        own = next(one for one in _state(request, survey, lift).views if one.view is view)
        leave_view(taker, lift, view, state if own.photo_id else SKIPPED, own.photo_id)
    return _answered(request, survey, lift, f"../{token}#{view.id}")


def _answered(request: Request, survey: Survey, lift: SurveyLift, leads: str, told: str = "") -> Response:
    """Where a browser goes on; for a script how the lift stands."""
    if "application/json" not in request.headers.get("accept", ""):
        return RedirectResponse(leads, 303)
    language = staff_language(request)
    own = _state(request, survey, lift)
    views = {
        one.view.id: {"state": one.state, "told": language.say(STATE_WORDS[one.state]), "photo": bool(one.photo_id)}
        for one in own.views
    }
    known = {"lift": lift.token, "number": own.lift.number, "same_as": own.same_as if own.clash else 0, "told": told}
    return JSONResponse({**known, "views": views})


def _state(request: Request, survey: Survey, lift: SurveyLift) -> LiftState:
    states = states_of(state_of(request).cases, lifts_of(state_of(request).cases, survey.id))
    return next(one for one in states if one.lift.token == lift.token)


def _number(request: Request, session: Session, survey_id: str, token: str, form: dict[str, str]) -> Response:
    store = state_of(request).cases
    survey = survey_of(store, survey_id)
    lift = lift_of(store, survey_id, token)
    if form.get("same") == "yes":
        return _same(request, session, survey, lift)
    try:
        say_number(_taker(request, session, survey), lift, plain_number(form.get("number", "")))
    except InputError as error:
        return _show(request, session, survey, lift, 422, told=staff_language(request).said(error.message))
    return RedirectResponse(f"../{token}", 303)


def _same(request: Request, session: Session, survey: Survey, lift: SurveyLift) -> Response:
    """It is the earlier lift: go on there; what was photographed here counts with it."""
    store, own = state_of(request).cases, _state(request, survey, lift)
    if not own.same_as:
        return RedirectResponse(f"../{lift.token}", 303)
    earlier = lifts_of(store, survey.id)[own.same_as - 1]
    if own.photos:
        join(store, lift)
    else:
        drop(store, lift, session.who(request))
    return RedirectResponse(f"../{earlier.token}", 303)


def _accept(request: Request, session: Session, survey_id: str, token: str, form: dict[str, str]) -> Response:
    store = state_of(request).cases
    survey_of(store, survey_id)
    lift = lift_of(store, survey_id, token)
    seen = staff_view(request, session, store.by_id(lift.case_id))
    values = {concept: form.get(f"value-{concept}", "") for concept in CONCEPTS}
    words = words_on_lift(seen, version_of(form), values)
    say_words(store, seen, version_of(form), words, session.who(request))
    return RedirectResponse(f"../../../{survey_id}?recorded={token}#next", 303)


def _show(
    request: Request, session: Session, survey: Survey, lift: SurveyLift, status: int = 200, **more: Any
) -> Response:
    state, language = state_of(request), staff_language(request)
    own = _state(request, survey, lift)
    if own.gone:
        state.cases.by_id(lift.case_id)  # says that it was deleted
    seen = staff_view(request, session, state.cases.by_id(lift.case_id))
    there = {p.id: picture_of(state.cases, state.shelf, lift.case_id, p.id) is not None for p in seen.photos}
    catalogue = state.resources.catalogue
    here = f"/{language.tag}/staff/survey/{survey.id}"
    values = {
        "survey": survey,
        "lift": own,
        "view": seen,
        "crops": crops_of(seen, there, catalogue, language),
        "asked": _asked(own, catalogue),
        "told": "",
        "here": here,
        "path": f"/staff/survey/{survey.id}/lifts/{lift.token}",
        "case": f"/{language.tag}/staff/cases/{lift.case_id}",
        "longest_number": LONGEST_NUMBER,
        **view_words(),
    }
    return show_staff(request, "staff/survey_lift.html", session, status=status, **{**values, **more})


def _asked(own: LiftState, catalogue: Catalogue) -> list[tuple[str, ConceptWords, str, bool]]:
    """Each concept with its words, the value to begin with, and whether a photo shows it: said, else as it was read."""
    rows = []
    for each in own.shown:
        begins = each.truth or (each.value if each.about in own.unsaid else UNSURE)
        rows.append((each.about, catalogue.concepts[each.about], begins, bool(each.value)))
    return rows
