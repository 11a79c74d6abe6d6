"""The agent's pages: sign in, the queue, and one screen for one case, made for a keyboard during a call."""

import re
from typing import Any
from urllib.parse import quote

import segno
from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from starlette.exceptions import HTTPException

from api.cases.basket import MOST_OF_ONE, basket_of
from api.cases.changes import changes
from api.cases.learning import learn
from api.cases.photos import picture_of
from api.cases.store import CaseRow, Conflict, NoSuchCase, Said
from api.cases.summary import plate_of, queue_row, settings_of, summary_text
from api.cases.view import CLOSED, HANDED_OVER, UNDO, CaseView, view
from api.cases.words import MEASURED, so_far, why_words
from api.http.sessions import COOKIE, SESSION_MS, NotAllowed, Session, own_form, sign_in, sign_out, staff
from api.pages.caregiver.told import told
from api.pages.drawings import drawings_of
from api.pages.forms import small_form, version_of
from api.pages.languages import Language
from api.pages.staff.upload_links import make_link
from api.pages.staff.workshop import NONE_OF_THE_LIST, contradictions_of, crops_of, entered, evidence_of, fit_rows
from api.pages.wording import percent
from api.settings import MOST_PHOTOS
from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE
from guidance.documents.case import SKIPPED

SHOWN_IN_QUEUE = 50
READING_FIELDS = {"block_1_v": "First block at rest, V", "block_2_v": "Second block at rest, V", **MEASURED}
"""What is asked for, with its unit; `guidance/electricity/verdict.py` judges it."""

FAULTS_SHOWN = 8

CHANGED = "Somebody else changed this case meanwhile. Nothing was overwritten; this is how it stands now."

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""

any_language = APIRouter(include_in_schema=False)


@any_language.get("/staff/{rest:path}")
def in_a_language(request: Request) -> Response:
    """The same page in the language that the browser asks for."""
    path, query = quote(request.url.path), request.url.query
    tag = request.app.state.pages.asked(request).tag
    return RedirectResponse(f"/{tag}{path}{'?' if query else ''}{query}", 307, {"Vary": "Accept-Language"})


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    """Token and name."""
    return show_staff(request, "staff/sign_in.html", None, wrong=False)


@router.post("/sign-in")
async def signed_in(request: Request) -> Response:
    """Open a session for whoever has a role's token."""
    address = request.client.host if request.client else ""
    request.app.state.sign_in_rate.take(address)
    form = await small_form(request)
    name = form.get("name", "").strip()
    try:
        if not name:
            raise NotAllowed
        cookie = await run_in_threadpool(
            sign_in, request.app.state.cases, request.app.state.settings, form.get("token", "").strip(), name, address
        )
    except NotAllowed:
        return show_staff(request, "staff/sign_in.html", None, wrong=True, status=403)
    answer = RedirectResponse(f"/{staff_language(request).tag}/staff/cases", 303)
    secure = request.url.scheme == "https"
    answer.set_cookie(COOKIE, cookie, SESSION_MS // 1000, path="/", httponly=True, samesite="strict", secure=secure)
    return answer


@router.post("/sign-out")
async def signed_out(request: Request) -> Response:
    """End the session."""
    await staff_form(request)
    await run_in_threadpool(sign_out, request.app.state.cases, request.cookies.get(COOKIE, ""))
    answer = RedirectResponse(f"/{staff_language(request).tag}/staff/sign-in", 303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.get("/cases")
def queue(request: Request, code: str = "") -> Response:
    """The cases that changed last; one by the code that a caller reads out."""
    session, store = staff(request), request.app.state.cases
    if code:
        try:
            return RedirectResponse(f"/{staff_language(request).tag}/staff/cases/{store.by_code(code).id}", 303)
        except NoSuchCase:
            pass
    catalogue = request.app.state.resources.catalogue
    rows = []
    for row in store.newest(SHOWN_IN_QUEUE):
        try:
            rows.append(queue_row(store.by_id(row["id"]), catalogue, store.now_ms()))
        except NoSuchCase:  # deleted while the list was made
            continue
    rows.sort(key=lambda row: row.rank)
    return show_staff(request, "staff/queue.html", session, rows=rows, unknown=code)


@router.post("/cases")
async def open_case(request: Request) -> Response:
    """Open a case for a caller who has none yet."""
    session, _ = await staff_form(request)
    first = Said(PERSON_IN_SLING, {"id": PERSON_IN_SLING, "answer": UNSURE}, {})
    tag = staff_language(request).tag
    case_id, _ = await run_in_threadpool(request.app.state.cases.start, tag, session.who(request), first)
    return RedirectResponse(f"/{tag}/staff/cases/{case_id}", 303)


@router.get("/cases/{case_id}")
def case_page(request: Request, case_id: str) -> Response:
    """One case on one screen."""
    return show_case(request, staff(request), case_id)


@router.get("/cases/{case_id}/changes")
def case_changes(request: Request, case_id: str, after: int) -> Response:
    """Say when somebody else has changed this case."""
    staff(request)
    return changes(request, case_id, after)


@router.get("/cases/{case_id}/photos/{photo_id}")
def picture(request: Request, case_id: str, photo_id: str) -> Response:
    """The picture of one photo, while it is there."""
    staff(request)
    found = picture_of(request.app.state.cases, request.app.state.shelf, case_id, photo_id)
    if found is None:
        raise HTTPException(404, "This picture is not kept any more.")
    return Response(found, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


@router.post("/cases/{case_id}/link")
async def link(request: Request, case_id: str) -> Response:
    """A link for the caller's telephone, as an address and as a QR code; shown once."""
    session, _ = await staff_form(request)
    return await run_in_threadpool(_link, request, session, case_id)


@router.post("/cases/{case_id}/answers")
async def answer(request: Request, case_id: str) -> Response:
    """Record an answer, a correction, an undo, a hand-over or the confirmed fault."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_answer, request, session, case_id, form)


def _answer(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    store = request.app.state.cases
    row = store.by_id(case_id)
    seen = staff_view(request, session, row)
    kind, said = form.get("kind", ""), {"id": form.get("id", ""), "answer": form.get("answer", "")}
    version = version_of(form)
    if version == row.version and not _possible(request, seen, kind, said):
        raise HTTPException(422, "This cannot be recorded in the case as it stands.")
    try:
        store.say(case_id, version, Said(kind, said, seen.summary()), session.who(request))
        if CLOSED in (kind, *(event.kind for event in seen.live if kind == UNDO)):
            learn(request.app.state)
    except Conflict:
        return show_case(request, session, case_id, changed=staff_language(request).say(CHANGED), status=409)
    return back_to(case_id, form)


def back_to(case_id: str, form: dict[str, str]) -> Response:
    """Back to the case, at the place that the form names; a relative address, so that the language stays."""
    at = form.get("at", "")
    return RedirectResponse(f"../{case_id}" + (f"#{at}" if re.fullmatch("[a-z0-9-]{1,40}", at) else ""), 303)


def _possible(request: Request, seen: CaseView, kind: str, said: dict[str, str]) -> bool:
    """Whether this may be said: what is asked, whether somebody is up, what is seen of the lift, or how it ends."""
    catalogue = request.app.state.resources.catalogue
    if kind == PERSON_IN_SLING:
        return said["answer"] in ("yes", "no", UNSURE)
    if kind == "observation":
        known = catalogue.observations_by_id.get(said["id"])
        return known is not None and said["answer"] in (*known.options, UNSURE)
    if kind == CLOSED:  # the fault, and the setting in which its rate is counted
        return said["answer"] in catalogue.faults_by_id and said["id"] in settings_of(catalogue)
    if kind in (UNDO, HANDED_OVER):
        return True
    asked = seen.to_ask
    if asked is None or (kind, said["id"]) != (asked.kind, asked.id):
        return False
    more = {"context": (UNSURE,), "step": (UNSURE, SKIPPED)}.get(kind, ())
    return said["answer"] in (*asked.answers, *more)


def _link(request: Request, session: Session, case_id: str) -> Response:
    store = request.app.state.cases
    token = make_link(store, case_id, session.who(request))
    address = f"{request.base_url}{store.by_id(case_id).language}/u/{token}"
    code = segno.make(address, error="m").svg_inline(scale=5, border=4, dark="#000000", light="#ffffff")
    return show_case(request, session, case_id, link=address, qr=Markup(code))


def show_case(request: Request, session: Session, case_id: str, status: int = 200, **more: Any) -> Response:
    """One case on one screen; `more` overrides what the page says."""
    state = request.app.state
    row = state.cases.by_id(case_id)
    seen = staff_view(request, session, row)
    catalogue = state.resources.catalogue
    there = {p.id: picture_of(state.cases, state.shelf, row.id, p.id) is not None for p in seen.photos}
    language = staff_language(request)
    values = {
        "view": seen,
        "question": seen.to_ask,
        "drawings": drawings_of(seen.to_ask, catalogue, language),
        "told": told(seen, there, catalogue, language) if seen.identification else None,
        "catalogue": catalogue,
        **component_names(catalogue),
        "faults": seen.help.faults[:FAULTS_SHOWN],
        "closed_cases": state.learning.cases,
        "settings": settings_of(catalogue),
        "all_faults": sorted(catalogue.faults, key=lambda f: f.name),
        "summary": summary_text(seen, catalogue, language),
        "state": queue_row(row, catalogue, state.cases.now_ms()),
        "plate": plate_of(seen),
        "reading_fields": READING_FIELDS,
        "here": f"/{language.tag}/staff/cases/{case_id}",
        "path": f"/staff/cases/{case_id}",
        "why": _why(seen, language),
        "needs": [language.say(need) for need in seen.to_ask.needs] if seen.to_ask else [],
        "contradictions": contradictions_of(seen, catalogue, language),
        "so_far": so_far(seen, catalogue, language),
        "changed": language.said(more.pop("changed", "")),
        "link": "",
        "qr": "",
    }
    if session.role != "technician":
        return show_staff(request, "staff/case.html", session, status=status, **{**values, **more})
    bench = {
        "crops": crops_of(seen, there, catalogue, language),
        "evidence": evidence_of(seen, catalogue, language),
        "fit_table": fit_rows(seen, catalogue, language),
        "basket": basket_of(seen, catalogue),
        "most_of_one": MOST_OF_ONE,
        "entered": entered(seen),
        "typed": {},
        "most_photos": MOST_PHOTOS,
        "refused": (),
        "keep_days": state.settings.photo_days,
    }
    return show_staff(request, "staff/technician.html", session, status=status, **{**values, **bench, **more})


def _why(seen: CaseView, language: Language) -> str:
    """Why this is asked now."""
    asked = seen.to_ask
    if asked is None:
        return ""
    return why_words(seen.help.next, language) if asked.kind in ("context", "step") else language.say(asked.why)


def component_names(catalogue: Catalogue) -> dict[str, dict[str, str]]:
    """How the pages call generations and mechanisms, by the names that the templates know."""
    return {
        "generation_names": {g.id: g.name for g in catalogue.generations} | {UNLISTED: NONE_OF_THE_LIST},
        "mechanism_names": {m.id: m.name for m in catalogue.mechanisms},
    }


def staff_view(request: Request, session: Session, row: CaseRow) -> CaseView:
    """The case as this person's role sees it; an administrator sees what an agent sees."""
    role = "technician" if session.role == "technician" else "agent"
    return view(row, request.app.state.cases, request.app.state.resources, role)


async def staff_form(request: Request) -> tuple[Session, dict[str, str]]:
    """Who sends a form of ours, and its fields."""
    session = await run_in_threadpool(staff, request)
    form = await small_form(request)
    own_form(session, form)
    return session, form


def staff_language(request: Request) -> Language:
    """The language in the first part of the address, as on the caregiver's pages."""
    return request.app.state.pages.languages[request.url.path.split("/")[1]]


def show_staff(request: Request, template: str, session: Session | None, **values: Any) -> Response:
    """One page of the staff."""
    language = staff_language(request)
    values["percent"] = lambda probability: language.say(percent(probability))
    path = values.pop("path", request.url.path.removeprefix(f"/{language.tag}"))
    return request.app.state.pages.show(template, language, path, session=session, **values)
