"""What a technician adds to a case: meter readings, the rating plate's code, parts as a file, a job sheet to print."""

import io
from datetime import UTC, datetime

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from PIL import Image
from pydantic import ValidationError
from starlette.exceptions import HTTPException

from api.agent_pages import READING_FIELDS, show_case, show_staff, staff_form, staff_view
from api.case_photos import photos_of, picture_of
from api.case_summary import plate_of, queue_row
from api.case_view import PLATE
from api.cases import Conflict, Said
from api.overlay import jpeg_bytes
from api.page_forms import case_photos_form
from api.rating_plate import plate_in_photo
from api.sessions import Session, own_form, staff
from api.wording import percent
from classifier.errors import InputError, PhotoError, ReadingError
from guidance.electricity import PackReadings, judge_pack
from guidance.parts import as_csv

router = APIRouter(prefix="/staff", include_in_schema=False)


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
    async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
        own_form(session, fields)
        now = datetime.fromtimestamp(state.cases.now_ms() / 1000, UTC)
        try:
            data, name = photos[0].load(), photos[0].name
            found = await state.slots.run(plate_in_photo, data, name, state.resources.limits, now.date())
        except (InputError, PhotoError) as error:
            return await run_in_threadpool(show_case, request, session, case_id, 422, changed=str(error))
    produced = found.produced.isoformat() if found.produced else None
    said = {"gtin": found.gtin, "serial": found.serial, "batch": found.batch, "produced": produced}
    return await run_in_threadpool(_say, request, session, case_id, PLATE, said, fields.get("version", ""))


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
    """The parts of a case, one a line."""
    session = staff(request)
    row = request.app.state.cases.by_id(case_id)
    text = as_csv(staff_view(request, session, row).help.parts)
    headers = {"Content-Disposition": f'attachment; filename="parts-{row.code}.csv"', "Cache-Control": "no-store"}
    return Response(text, media_type="text/csv", headers=headers)


@router.get("/cases/{case_id}/sheet")
def sheet(request: Request, case_id: str) -> Response:
    """The job sheet: one page for the workshop, to be printed."""
    session, state = staff(request), request.app.state
    row = state.cases.by_id(case_id)
    seen = staff_view(request, session, row)
    summary = queue_row(row, state.resources.catalogue, state.cases.now_ms())
    values = {"view": seen, "state": summary, "plate": plate_of(seen), "percent": percent}
    return show_staff(request, "staff/sheet.html", session, **values)


def _readings(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    given = {name: form[name].strip().replace(",", ".") for name in READING_FIELDS if form.get(name, "").strip()}
    blocks = [given.pop(name) for name in ("block_1_v", "block_2_v") if name in given]
    try:
        taken = PackReadings.model_validate({**given, **({"blocks_v": blocks} if blocks else {})})
        if not (given or blocks):
            raise ReadingError("No reading came. Enter at least one.")
        judge_pack(taken)
    except ValidationError:
        return show_case(
            request, session, case_id, 422, changed="Readings are numbers, such as 12.65. Nothing changed."
        )
    except ReadingError as error:
        return show_case(request, session, case_id, 422, changed=f"{error} Nothing changed.")
    said = {"id": "readings", "answer": "", "readings": taken.model_dump(mode="json", exclude_defaults=True)}
    return _say(request, session, case_id, "readings", said, form.get("version", ""))


def _say(request: Request, session: Session, case_id: str, kind: str, said: dict, version: str) -> Response:
    store = request.app.state.cases
    known = staff_view(request, session, store.by_id(case_id)).summary()
    expected = int(version) if version.isdecimal() else 0
    try:
        store.say(case_id, expected, Said(kind, said, known), session.who(request))
    except Conflict:
        changed = "Somebody else changed this case meanwhile. Nothing was overwritten; this is how it stands now."
        return show_case(request, session, case_id, 409, changed=changed)
    return RedirectResponse(f"/staff/cases/{case_id}", 303)
