"""What a technician adds to a case: photos, meter readings, the rating plate's code, a basket; the job sheet."""

import io
import json
from datetime import UTC, datetime

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from PIL import Image
from starlette.exceptions import HTTPException

from api.cases.basket import STANDING_WORDS, basket_csv, basket_of, checked, ordered
from api.cases.photos import add_photo, photos_of, picture_of
from api.cases.store import Conflict, Said
from api.cases.summary import plate_of, queue_row
from api.cases.view import BASKET, CHECKED, PLATE
from api.cases.words import said_words, who_words
from api.http.sessions import NotAllowed, Session, own_form, staff
from api.http.slots import Full
from api.identification import NamedPhoto
from api.overlay import jpeg_bytes
from api.pages.forms import case_photos_form, version_of
from api.pages.staff.agent import (
    CHANGED,
    READING_FIELDS,
    back_to,
    component_names,
    show_case,
    show_staff,
    staff_form,
    staff_language,
    staff_view,
)
from api.pages.staff.job_sheet import job_document
from api.pages.staff.workshop import entered, evidence_of
from api.plate.rating_plate import plate_in_photo
from api.settings import MOST_PHOTOS
from classifier.errors import InputError, PhotoError, ReadingError, TooManyPhotos
from guidance.electricity.verdict import PackReadings, judge_pack
from guidance.parts.parts import as_csv

ROLE = "technician"
BEEPS = "beeps_under_load"
"""The one reading that is no number."""

router = APIRouter(prefix="/staff", include_in_schema=False)


@router.post("/cases/{case_id}/photos")
async def add_photos(request: Request, case_id: str) -> Response:
    """Read several photos into the case. Those that cannot be read are named; the others are kept."""
    session = await run_in_threadpool(staff, request, ROLE)
    state = request.app.state
    state.slots.refuse_if_full()
    try:
        async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
            own_form(session, fields)
            days = state.settings.photo_days if fields.get("keep") == "yes" else 0
            refused = await _refused_photos(request, session, case_id, photos, days)
    except InputError as error:
        return await run_in_threadpool(show_case, request, session, case_id, 422, changed=str(error))
    if refused:
        told = {"refused": refused, "taken": len(photos) - len(refused)}
        return await run_in_threadpool(show_case, request, session, case_id, 422, **told)
    return RedirectResponse(f"../{case_id}#photos", 303)


@router.post("/cases/{case_id}/basket")
async def put_in_basket(request: Request, case_id: str) -> Response:
    """So many of one part are to be ordered; none takes it out."""
    session, form = await _technician_s_form(request)
    return await run_in_threadpool(_put_in_basket, request, session, case_id, form)


@router.post("/cases/{case_id}/checked")
async def check_before_order(request: Request, case_id: str) -> Response:
    """One sentence of what is confirmed before ordering holds, or does not."""
    session, form = await _technician_s_form(request)
    return await run_in_threadpool(_check_before_order, request, session, case_id, form)


@router.post("/cases/{case_id}/readings")
async def readings(request: Request, case_id: str) -> Response:
    """Take meter readings over, if an instrument can give them."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_readings, request, session, case_id, form)


@router.post("/cases/{case_id}/plate")
async def plate(request: Request, case_id: str) -> Response:
    """Read the code of a rating plate from a photo into the case."""
    session = await run_in_threadpool(staff, request)
    state = request.app.state
    state.slots.refuse_if_full()
    today = datetime.fromtimestamp(state.cases.now_ms() / 1000, UTC).date()
    try:
        async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
            own_form(session, fields)
            found = await state.slots.run(
                plate_in_photo, photos[0].load(), photos[0].name, state.resources.limits, today
            )
    except (InputError, PhotoError) as error:
        told = error.reason if isinstance(error, PhotoError) else str(error)
        return await run_in_threadpool(show_case, request, session, case_id, 422, changed=told)
    produced = found.produced.isoformat() if found.produced else None
    said = {"gtin": found.gtin, "serial": found.serial, "batch": found.batch, "produced": produced}
    return await run_in_threadpool(_say, request, session, case_id, PLATE, said, {**fields, "at": "rating"}, {})


@router.get("/cases/{case_id}/photos/{photo_id}/parts/{number}")
def part_of_photo(request: Request, case_id: str, photo_id: str, number: int) -> Response:
    """One part cut out of a photo, as it was found; `number` counts from 0 in the order of the reading."""
    staff(request)
    state = request.app.state
    picture = picture_of(state.cases, state.shelf, case_id, photo_id)
    photo = next((p for p in photos_of(state.cases, case_id) if p.id == photo_id), None)
    if picture is None or photo is None or not 0 <= number < len(photo.reading.subjects):
        raise HTTPException(404, "This picture is not kept any more.")
    image = Image.open(io.BytesIO(picture))
    left, top, right, bottom = photo.reading.subjects[number].box
    width, height = image.size
    part = image.crop((int(left * width), int(top * height), int(right * width) + 1, int(bottom * height) + 1))
    return Response(jpeg_bytes(part), media_type="image/jpeg", headers={"Cache-Control": "no-store"})


@router.get("/cases/{case_id}/parts.csv")
def parts_csv(request: Request, case_id: str) -> Response:
    """The parts of the likeliest faults, one a line."""
    session = staff(request)
    row = request.app.state.cases.by_id(case_id)
    return _file(as_csv(staff_view(request, session, row).help.parts), "text/csv", f"parts-{row.code}.csv")


@router.get("/cases/{case_id}/basket.csv")
def basket_as_csv(request: Request, case_id: str) -> Response:
    """The basket, one part a line."""
    session, state = staff(request), request.app.state
    row = state.cases.by_id(case_id)
    basket = basket_of(staff_view(request, session, row), state.resources.catalogue)
    return _file(basket_csv(basket), "text/csv", f"basket-{row.code}.csv")


@router.get("/cases/{case_id}/sheet.json")
def sheet_as_json(request: Request, case_id: str) -> Response:
    """The job sheet for another program."""
    session, state = staff(request), request.app.state
    row, catalogue = state.cases.by_id(case_id), state.resources.catalogue
    seen = staff_view(request, session, row)
    summary = queue_row(row, catalogue, state.cases.now_ms())
    document = job_document(seen, summary, basket_of(seen, catalogue), catalogue)
    text = json.dumps(document, ensure_ascii=False, indent=2) + "\n"
    return _file(text, "application/json", f"job-{row.code}.json")


@router.get("/cases/{case_id}/sheet")
def sheet(request: Request, case_id: str) -> Response:
    """The job sheet: for the workshop, to be printed."""
    session, state = staff(request), request.app.state
    row, catalogue = state.cases.by_id(case_id), state.resources.catalogue
    seen, language = staff_view(request, session, row), staff_language(request)
    done = [event for event in seen.live if event.kind in ("context", "step")]
    values = {
        **component_names(catalogue),
        "view": seen,
        "state": queue_row(row, catalogue, state.cases.now_ms()),
        "plate": plate_of(seen),
        "basket": basket_of(seen, catalogue),
        "standing_words": STANDING_WORDS,
        "entered": entered(seen),
        "reading_fields": READING_FIELDS,
        "evidence": evidence_of(seen, catalogue, language),
        "done": [f"{said_words(e, catalogue, language)} ({who_words(e.role, e.actor, language)})" for e in done],
    }
    return show_staff(request, "staff/sheet.html", session, **values)


def _file(text: str, media_type: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(text, media_type=media_type, headers=headers)


async def _technician_s_form(request: Request) -> tuple[Session, dict[str, str]]:
    session, form = await staff_form(request)
    if session.role != ROLE:
        raise NotAllowed
    return session, form


async def _refused_photos(
    request: Request, session: Session, case_id: str, photos: list[NamedPhoto], keep_days: int
) -> list[str]:
    """Read them one by one; of each that is not kept its place, its name and why. Each is kept whole or not at all."""
    state, language = request.app.state, staff_language(request)
    refused = []
    for number, one in enumerate(photos, 1):
        try:
            await state.slots.run(
                add_photo, state.cases, state.shelf, case_id, one, keep_days, state.resources, session.who(request)
            )
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


def _put_in_basket(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    state = request.app.state
    row = state.cases.by_id(case_id)
    part, quantity = form.get("part", ""), form.get("quantity", "")
    typed = {f"quantity-{part}": quantity}
    try:
        seen = staff_view(request, session, row)
        said = ordered(seen, state.resources.catalogue, part, quantity, staff_language(request))
    except InputError as error:
        return show_case(request, session, case_id, 422, changed=str(error), typed=typed)
    if said is None:  # the basket says so already, as after a double tap
        return RedirectResponse(f"../{case_id}#basket", 303)
    return _say(request, session, case_id, BASKET, said, {**form, "at": "basket"}, typed)


def _check_before_order(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    state = request.app.state
    seen = staff_view(request, session, state.cases.by_id(case_id))
    said = checked(seen, state.resources.catalogue, form.get("id", ""), form.get("answer", ""))
    if said is None:
        words = "This is not on the list of what to confirm for the parts in the basket. Nothing changed."
        return show_case(request, session, case_id, 422, changed=staff_language(request).say(words))
    return _say(request, session, case_id, CHECKED, said, {**form, "at": "basket"}, {})


def _readings(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    filled = {name: form[name].strip().replace(",", ".") for name in READING_FIELDS if form.get(name, "").strip()}
    language = staff_language(request)
    try:
        given = {name: float(words) for name, words in filled.items()}
        blocks = [given.pop(name) for name in ("block_1_v", "block_2_v") if name in given]
        if form.get(BEEPS, "") in ("yes", "no"):
            given[BEEPS] = form[BEEPS] == "yes"
        taken = PackReadings.model_validate({**given, **({"blocks_v": blocks} if blocks else {})})
        if not (given or blocks):
            raise ReadingError(language.say("No reading came. Enter at least one."))
        judge_pack(taken)
    except ValueError:
        changed = language.say("Readings are numbers, such as 12.65. Nothing changed.")
        return show_case(request, session, case_id, 422, changed=changed, typed=form)
    except ReadingError as error:
        changed = f"{language.said(str(error))} {language.say('Nothing changed.')}"
        return show_case(request, session, case_id, 422, changed=changed, typed=form)
    said = {"id": "readings", "answer": "", "readings": taken.model_dump(mode="json", exclude_defaults=True)}
    return _say(request, session, case_id, "readings", said, {**form, "at": "readings"}, form)


def _say(
    request: Request, session: Session, case_id: str, kind: str, said: dict, form: dict[str, str], typed: dict[str, str]
) -> Response:
    """Record it, or show the case as it stands with what was `typed` when somebody else was faster."""
    store = request.app.state.cases
    known = staff_view(request, session, store.by_id(case_id)).summary()
    expected = version_of(form)
    try:
        store.say(case_id, expected, Said(kind, said, known), session.who(request))
    except Conflict:
        changed = staff_language(request).say(CHANGED)
        return show_case(request, session, case_id, 409, changed=changed, typed=typed)
    return back_to(case_id, form)
