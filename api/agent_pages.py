"""The agent's pages: sign in, the queue, and one screen for one case, made for a keyboard during a call."""

from typing import Any

import segno
from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from starlette.exceptions import HTTPException

from api.caregiver_told import told
from api.case_changes import changes
from api.case_photos import picture_of
from api.case_summary import plate_of, queue_row, settings_of, summary_text
from api.case_view import CLOSED, HANDED_OVER, UNDO, CaseView, view
from api.cases import CaseRow, Conflict, NoSuchCase, Said
from api.languages import SOURCE
from api.page_forms import small_form
from api.sessions import COOKIE, SESSION_MS, NotAllowed, Session, own_form, sign_in, sign_out, staff
from api.upload_links import make_link
from api.wording import percent
from classifier.taxonomy import UNLISTED
from guidance.case_model import SKIPPED
from guidance.catalogue_model import PERSON_IN_SLING, UNSURE

SHOWN_IN_QUEUE = 50
READING_FIELDS = {
    "block_1_v": "First block at rest, V",
    "block_2_v": "Second block at rest, V",
    "pack_v": "Whole pack at rest, V",
    "rest_hours": "Rest before that, hours",
    "meter_error_percent": "Error of the meter, %",
    "loaded_v": "While the arm raises, V",
    "load_current_a": "Current meanwhile, A",
}
"""What is asked for, with its unit; `guidance/electricity.py` judges it."""

FAULTS_SHOWN = 8

router = APIRouter(prefix="/staff", include_in_schema=False)


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
    answer = RedirectResponse("/staff/cases", 303)
    secure = request.url.scheme == "https"
    answer.set_cookie(COOKIE, cookie, SESSION_MS // 1000, path="/", httponly=True, samesite="strict", secure=secure)
    return answer


@router.post("/sign-out")
async def signed_out(request: Request) -> Response:
    """End the session."""
    await staff_form(request)
    await run_in_threadpool(sign_out, request.app.state.cases, request.cookies.get(COOKIE, ""))
    answer = RedirectResponse("/staff/sign-in", 303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.get("/cases")
def queue(request: Request, code: str = "") -> Response:
    """The cases that changed last; one by the code that a caller reads out."""
    session, store = staff(request), request.app.state.cases
    if code:
        try:
            return RedirectResponse(f"/staff/cases/{store.by_code(code).id}", 303)
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
    case_id, _ = await run_in_threadpool(request.app.state.cases.start, SOURCE, session.who(request), first)
    return RedirectResponse(f"/staff/cases/{case_id}", 303)


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
    version = int(form["version"]) if form.get("version", "").isdecimal() else 0
    if version == row.version and not _possible(request, seen, kind, said):
        raise HTTPException(422, "This cannot be recorded in the case as it stands.")
    try:
        store.say(case_id, version, Said(kind, said, seen.summary()), session.who(request))
    except Conflict:
        changed = "Somebody else changed this case meanwhile. Nothing was overwritten; this is how it stands now."
        return show_case(request, session, case_id, changed=changed, status=409)
    return RedirectResponse(f"/staff/cases/{case_id}", 303)


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
    language = state.pages.languages[SOURCE]
    values = {
        "view": seen,
        "question": seen.to_ask,
        "told": told(seen, there, catalogue, language) if seen.identification else None,
        "catalogue": catalogue,
        "percent": percent,
        "generation_names": {g.id: g.name for g in catalogue.generations} | {UNLISTED: "none of the list"},
        "mechanism_names": {m.id: m.name for m in catalogue.mechanisms},
        "faults": seen.help.faults[:FAULTS_SHOWN],
        "settings": settings_of(catalogue),
        "all_faults": sorted(catalogue.faults, key=lambda f: f.name),
        "summary": summary_text(seen, catalogue),
        "state": queue_row(row, catalogue, state.cases.now_ms()),
        "plate": plate_of(seen),
        "reading_fields": READING_FIELDS,
        "here": f"/staff/cases/{case_id}",
        "changed": "",
        "link": "",
        "qr": "",
    }
    return show_staff(request, "staff/case.html", session, status=status, **{**values, **more})


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


def show_staff(request: Request, template: str, session: Session | None, **values: Any) -> Response:
    """One page of the staff."""
    pages = request.app.state.pages
    return pages.show(template, pages.languages[SOURCE], "", session=session, **values)
