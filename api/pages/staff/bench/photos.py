"""Photos of a lift at the bench: several at once, their parts cut out, and all that they settle accepted at once."""

import io

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from PIL import Image
from starlette.exceptions import HTTPException

from api.cases.learned.accepting import say_words, settled_words
from api.cases.photos import add_photo, photos_of, picture_of
from api.http.sessions import Session, staff
from api.http.slots import Full
from api.identification import NamedPhoto
from api.jpeg import jpeg_bytes
from api.pages.forms import version_of
from api.pages.staff.bench.recording import refuse
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import staff_form, staff_language, staff_photos, staff_view
from api.settings import MOST_PHOTOS
from api.state import state_of
from classifier.errors import InputError, PhotoError, TooManyPhotos

PICKED = "picked"
"""The field that photos are chosen in."""

router = APIRouter(prefix="/staff", include_in_schema=False)


@router.post("/cases/{case_id}/photos")
async def add_photos(request: Request, case_id: str) -> Response:
    """Read several photos into the case. Those that cannot be read are named; the others are kept."""
    session = await run_in_threadpool(staff, request)
    try:
        async with staff_photos(request, session) as (photos, fields):
            days = state_of(request).settings.photo_days if fields.get("keep") == "yes" else 0
            learn = fields.get("learn") == "yes"
            refused = await _refused_photos(request, session, case_id, photos, days, learn)
    except InputError as error:
        return await run_in_threadpool(refuse, request, session, case_id, PICKED, error.message)
    if refused:
        told = {"refused": refused, "taken": len(photos) - len(refused)}
        return await run_in_threadpool(show_case, request, session, case_id, 422, **told)
    return RedirectResponse(f"../{case_id}#photos", 303)


@router.post("/cases/{case_id}/accepted")
async def accept_settled(request: Request, case_id: str) -> Response:
    """Accept every reading that its photo settles, each on its own crop; what is open stays open."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_accept_settled, request, session, case_id, form)


@router.get("/cases/{case_id}/photos/{photo_id}/parts/{number}")
def part_of_photo(request: Request, case_id: str, photo_id: str, number: int) -> Response:
    """One part cut out of a photo, as it was found; `number` counts from 0 in the order of the reading."""
    staff(request)
    state = state_of(request)
    picture = picture_of(state.cases, state.shelf, case_id, photo_id)
    photo = next((p for p in photos_of(state.cases, case_id) if p.id == photo_id), None)
    if picture is None or photo is None or not 0 <= number < len(photo.reading.subjects):
        raise HTTPException(404, "This picture is not kept any more.")
    image = Image.open(io.BytesIO(picture))
    left, top, right, bottom = photo.reading.subjects[number].box
    width, height = image.size
    part = image.crop((int(left * width), int(top * height), int(right * width) + 1, int(bottom * height) + 1))
    return Response(jpeg_bytes(part), media_type="image/jpeg", headers={"Cache-Control": "no-store"})


async def _refused_photos(
    request: Request, session: Session, case_id: str, photos: list[NamedPhoto], keep_days: int, learn: bool
) -> list[str]:
    """Read them one by one; of each that is not kept its place, its name and why. Each is kept whole or not at all."""
    state, language = state_of(request), staff_language(request)
    refused = []
    for number, one in enumerate(photos, 1):
        try:
            await state.slots.run(
                add_photo, state.cases, state.shelf, case_id, one, keep_days, state.loaded, session.who(request),
                learn,
            )  # fmt: skip
            continue
        except PhotoError as error:
            reason = language.said(error.reason)
        except TooManyPhotos:
            reason = language.fill("The case has {most} photos already, and takes no more.", most=MOST_PHOTOS)
        except Full:
            reason = language.say("Too many photos are being read just now. Send this one again.")
        words = "Photo {number} of {count}, {name}: {reason}"
        refused.append(language.fill(words, number=number, count=len(photos), name=one.name, reason=reason))
    return refused


def _accept_settled(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    store = state_of(request).cases
    seen = staff_view(request, session, store.by_id(case_id))
    version = version_of(form)
    say_words(store, seen, version, settled_words(seen, version), session.who(request))
    return RedirectResponse(f"../{case_id}#accepted", 303)
