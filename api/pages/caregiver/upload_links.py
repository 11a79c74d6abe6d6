"""What a caller's telephone shows by an agent's link: the camera and, while somebody is up, the way down; no more."""

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from api.cases.learned.consent import agreed, sent_by_link
from api.cases.links import case_of_link
from api.cases.photos import BY_LINK, add_photo
from api.cases.view import CaseView
from api.pages.caregiver.guided import guide_of, taken_answer, wants_document
from api.pages.caregiver.screens import count_look, language_of, seen_by_caregiver, who_asks
from api.pages.forms import case_photos_form
from api.state import state_of
from guidance.identify.next_step import SETTLED

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/u/{token}")
def upload_page(request: Request, token: str, sent: str = "") -> Response:
    """The camera; of the case nothing is shown but how the person comes down, if somebody is up in it."""
    case_id, state, language = _case(request, token), state_of(request), language_of(request)
    here = f"/{language.tag}/u/{token}"
    if state.cases.by_id(case_id).up_since_ms is not None:
        return RedirectResponse(f"{here}/down", 303)
    seen = seen_by_caregiver(request, state.cases.by_id(case_id))
    values = {"here": here, "sent": bool(sent), "keep_days": state.settings.photo_days}
    values |= {"wanted": _wanted(request, seen), "guide": guide_of(request, seen)}
    count = agreed(state.cases, sent_by_link(case_id))
    return state.pages.show("upload.html", language, f"/u/{token}", count=count, **values)


def _wanted(request: Request, seen: CaseView) -> str:
    """What a photo is asked of now: the box, unless that is known or was shown and how the arm is lowered is open."""
    found = seen.identification
    if found is None or found.actuator.decision == "confirmed" or found.control_box.decision == "not_seen":
        return ""
    if found.control_box.decision not in SETTLED and found.actuator.decision != "not_seen":
        return ""
    return next((view.ask for view in state_of(request).resources.catalogue.views if "lowering" in view.visible), "")


@router.post("/u/{token}/photos")
async def upload(request: Request, token: str) -> Response:
    """Take photos into the case of this link."""
    state = state_of(request)
    case_id = await run_in_threadpool(_case, request, token)
    state.slots.refuse_if_full()
    who = who_asks(request, BY_LINK)
    async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
        for one in photos:
            days = state.settings.photo_days if fields.get("keep") == "yes" else 0
            learn = fields.get("learn") == "yes"
            await state.slots.run(add_photo, state.cases, state.shelf, case_id, one, days, state.loaded, who, learn)
    if wants_document(request):
        return await run_in_threadpool(_taken, request, case_id)
    return RedirectResponse(f"{request.url.path.removesuffix('/photos')}?sent=yes", 303)


def _taken(request: Request, case_id: str) -> Response:
    """What the camera is to show next; whoever has a link learns no more of the case."""
    return taken_answer(request, seen_by_caregiver(request, state_of(request).cases.by_id(case_id)), tell=False)


def _case(request: Request, token: str) -> str:
    count_look(request, token)
    return case_of_link(state_of(request).cases, token)
