"""The rating plate of a lift: its code or its text in a photo, as candidates; a person confirms or types each field."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from secrets import token_hex
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from PIL import Image
from starlette.exceptions import HTTPException

from api.cases.events import PLATE
from api.cases.store import plain_id
from api.http.sessions import Session, staff
from api.identification import NamedPhoto
from api.jpeg import jpeg_bytes
from api.pages.staff.bench.recording import record, refuse
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import staff_form, staff_language, staff_photos
from api.plate.fields import Candidate, PlateText, plate_text
from api.plate.gs1 import Plate
from api.plate.rating_plate import NO_CODE, NOT_GS1, plate_in_photo
from api.plate.text import line_picture, text_reader
from api.state import state_of
from classifier.errors import InputError, PhotoError
from classifier.messages import Message
from classifier.photo import open_photo

FIELDS = ("serial", "model", "produced", "volts")
LONGEST = 60
"""Characters of one field of a plate."""

DAY = re.compile(r"((19|20)\d\d)(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")
VOLTS = re.compile(r"\d{1,3}([.,]\d)?")

NO_READER = Message(
    "No barcode or DataMatrix was found, and this server reads no text. Type below what the plate says."
)
NO_SERIAL = Message(
    "No code was found, and no serial number could be read. Photograph it closer, in even light, or type it below."
)
COMPARE = Message("Letters of this are doubtful. Compare them with the plate, correct them, then tick that you did.")

router = APIRouter(prefix="/staff", include_in_schema=False)


@dataclass(frozen=True)
class Shown:
    """One field that was read: its doubtful letters in words, what speaks against it, the name of its picture."""

    doubtful: tuple[str, ...]
    why: str
    picture: str

    @property
    def to_check(self) -> bool:
        """Whether it has to be compared with the plate."""
        return bool(self.doubtful or self.why)


@router.post("/cases/{case_id}/plate")
async def plate(request: Request, case_id: str) -> Response:
    """Read a photo of a rating plate: its code into the case, or its text into the form, to be confirmed."""
    session = await run_in_threadpool(staff, request)
    try:
        async with staff_photos(request, session) as (photos, fields):
            return await state_of(request).slots.run(_read, request, session, case_id, photos[0], fields)
    except InputError as error:
        return await run_in_threadpool(refuse, request, session, case_id, "plate", error.message)


@router.post("/cases/{case_id}/plate-text")
async def plate_typed(request: Request, case_id: str) -> Response:
    """What somebody says that the plate says, having read it there."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_typed, request, session, case_id, form)


@router.get("/cases/{case_id}/plate/{picture}")
def line_of_plate(request: Request, case_id: str, picture: str) -> Response:
    """One line of a plate that was read just now; held for a quarter of an hour."""
    staff(request)
    state = state_of(request)
    found = state.shelf.get(_shelved(case_id, picture), state.cases.now_ms())
    if found is None:
        raise HTTPException(404, "This picture is not kept any more.")
    return Response(found, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


def _read(request: Request, session: Session, case_id: str, photo: NamedPhoto, form: Mapping[str, str]) -> Response:
    state = state_of(request)
    state.cases.version(case_id)
    try:
        data = photo.load()
        found = _code_in(request, data, photo.name)
        if found is not None:
            return record(request, session, case_id, PLATE, found.as_said(), {**form, "at": "rating"}, {})
        reader = text_reader()
        if reader is None:
            return refuse(request, session, case_id, "plate", NO_READER)
        picture, lines = reader.lines_in(open_photo(data, photo.name, state.loaded.limits))
    except PhotoError as error:
        return refuse(request, session, case_id, "plate", error.reason)
    read = plate_text(lines, state.resources.catalogue, _today(request))
    if read.serial is None:
        return refuse(request, session, case_id, "plate", NO_SERIAL)
    return show_case(request, session, case_id, **_to_confirm(request, case_id, picture, read))


def _code_in(request: Request, data: bytes, name: str) -> Plate | None:
    """What a code in the photo says; None without a code of GS1. Raises `InputError` for one that is damaged."""
    try:
        return plate_in_photo(data, name, state_of(request).loaded.limits, _today(request))
    except InputError as error:
        if isinstance(error.message, Message) and error.message.text in (NO_CODE.text, NOT_GS1):
            return None
        raise


def _to_confirm(request: Request, case_id: str, picture: Image.Image, read: PlateText) -> dict[str, Any]:
    """What was read, by the names of the template. The pictures of its lines are held for minutes."""
    state, language = state_of(request), staff_language(request)
    shown, typed = {}, {}
    for name in FIELDS:
        one: Candidate | None = getattr(read, name)
        if one is None:
            continue
        key = token_hex(8)
        line = jpeg_bytes(line_picture(picture, one.box))
        with state.cases.engine.begin() as connection:
            state.shelf.put(connection, case_id, _shelved(case_id, key), line, state.cases.now_ms())
        letters = (language.fill("{letter} (place {place})", letter=one.value[n], place=n + 1) for n in one.doubtful)
        shown[name] = Shown(tuple(letters), language.said(one.why), key)
        typed[f"plate-{name}"] = one.value
    boxes = [row.name for row in state.resources.catalogue.generations if row.id in read.generations]
    return {"plate_read": shown, "plate_boxes": [language.say(name) for name in boxes], "typed": typed}


def _shelved(case_id: str, picture: str) -> str:
    return f"{plain_id(case_id)} {picture}"


def _typed(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    language = staff_language(request)
    said = {name: " ".join(form.get(f"plate-{name}", "").split()) for name in FIELDS}
    errors = {f"plate-{name}": language.said(why) for name, why in _wrong(said, _today(request))}
    if form.get("doubtful") == "yes" and form.get("compared") != "yes":
        errors["compared"] = language.said(COMPARE)
    if errors:
        again = {"plate_again": form.get("doubtful") == "yes", "plate_open": True}
        return show_case(request, session, case_id, 422, errors=errors, typed=form, **again)
    kept: dict[str, Any] = {"gtin": None, "batch": None, **{name: value or None for name, value in said.items()}}
    return record(request, session, case_id, PLATE, kept, {**form, "at": "rating"}, form)


def _wrong(said: Mapping[str, str], today: date) -> list[tuple[str, str]]:
    """The fields that cannot be so, each with the reason."""
    found = [
        (name, Message("That is longer than {most} characters. Shorten it.", most=LONGEST))
        for name, value in said.items()
        if len(value) > LONGEST
    ]
    produced, volts = said["produced"], said["volts"]
    if not any(said.values()):
        found.append(("serial", Message("Nothing came. Type at least one of these.")))
    if produced and not DAY.fullmatch(produced):
        found.append(("produced", Message("A day, a month or a year is wanted, such as 2019-05.")))
    elif produced > today.isoformat()[: len(produced)]:
        found.append(("produced", Message("This day is still to come.")))
    if volts and not VOLTS.fullmatch(volts):
        found.append(("volts", Message("A number of volts is wanted, such as 24.")))
    return found


def _today(request: Request) -> date:
    return datetime.fromtimestamp(state_of(request).cases.now_ms() / 1000, UTC).date()
