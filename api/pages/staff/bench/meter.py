"""Meter readings: taken over if an instrument can give them."""

from collections.abc import Mapping

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool

from api.http.sessions import Session
from api.pages.staff.bench.recording import record, refuse
from api.pages.staff.case_screen import READING_FIELDS
from api.pages.staff.screens import staff_form, staff_language
from api.pages.staff.workshop import READING_OF
from classifier.errors import ReadingError
from classifier.messages import Message
from guidance.electricity.readings import PackReadings
from guidance.electricity.verdict import judge_pack

BEEPS = "beeps_under_load"
"""The one reading that is no number."""

FIRST = next(iter(READING_FIELDS))
NO_NUMBER = Message("Readings are numbers, such as 12.65. Nothing changed.")

router = APIRouter(prefix="/staff", include_in_schema=False)


@router.post("/cases/{case_id}/readings")
async def readings(request: Request, case_id: str) -> Response:
    """Take meter readings over, if an instrument can give them."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_readings, request, session, case_id, form)


def _readings(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    filled = {name: form[name].strip().replace(",", ".") for name in READING_FIELDS if form.get(name, "").strip()}
    language = staff_language(request)
    for name, words in filled.items():
        if not _is_number(words):
            return refuse(request, session, case_id, name, NO_NUMBER, form)
    try:
        taken = _taken(filled, form.get(BEEPS, ""))
        judge_pack(taken)
    except ReadingError as error:
        why = f"{language.said(error.message)} {language.say('Nothing changed.')}"
        return refuse(request, session, case_id, _field_of(error, filled), why, form)
    said = {"id": "readings", "answer": "", "readings": taken.model_dump(mode="json", exclude_defaults=True)}
    return record(request, session, case_id, "readings", said, {**form, "at": "readings"}, form)


def _taken(filled: Mapping[str, str], beeps: str) -> PackReadings:
    given: dict[str, object] = {name: float(words) for name, words in filled.items()}
    several: dict[str, list[object]] = {}
    for name, (blocks, _) in READING_OF.items():
        if name in given:
            several.setdefault(blocks, []).append(given.pop(name))
    if beeps in ("yes", "no"):
        given[BEEPS] = beeps == "yes"
    if not (given or several):
        raise ReadingError(Message("No reading came. Enter at least one."))
    return PackReadings.model_validate({**given, **several})


def _is_number(words: str) -> bool:
    try:
        float(words)
    except ValueError:
        return False
    return True


def _field_of(error: ReadingError, filled: Mapping[str, str]) -> str:
    """The field of the form that holds the reading; the first one filled in where it is of several, or of none."""
    name, place = error.reading
    of_several = {of: field for field, of in READING_OF.items() if field in filled}
    wanted = of_several.get((name, place), name)
    return wanted if wanted in filled else next(iter(filled), FIRST)
