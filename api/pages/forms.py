"""The forms of the pages: small ones counted while they come, photos through the same gate as the API's."""

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager

from fastapi import Request

from api.cases.store import LONGEST_TEXT
from api.http.upload import named_photo, whole_form
from api.identification import NamedPhoto
from classifier.errors import InputError, NothingToGoOn
from classifier.messages import Message

MOST_FORM_BYTES = 12 * LONGEST_TEXT + 64 * 1024
"""One text as long as may be, whose every character can take twelve bytes of a form; and the other fields."""

MOST_FIELDS = 20
LONGEST_VERSION = 9
"""Digits; no case has a thousand million events, and no database counts further in that column."""


async def small_form(request: Request) -> dict[str, str]:
    """The text fields of a form. Raises `InputError` for one that makes no sense, `RequestTooLarge`."""
    parts = await whole_form(request, MOST_FORM_BYTES, max_files=0, max_fields=MOST_FIELDS)
    fields = {name: value for name, value in parts.items() if isinstance(value, str)}
    for name, value in fields.items():
        if len(value) > LONGEST_TEXT:
            raise InputError(f"{name} has {len(value)} characters; at most {LONGEST_TEXT} are kept. Shorten it.")
        if "\x00" in value:
            raise InputError(f"{name} holds a character that is no text (NUL). Type it again.")
    return fields


def version_of(form: Mapping[str, str]) -> int:
    """The version of the case that a form was filled in on; 0, which no case has, when it names none."""
    came = form.get("version", "")
    return int(came) if came.isascii() and came.isdecimal() and len(came) <= LONGEST_VERSION else 0


@asynccontextmanager
async def photo_form(request: Request, max_bytes: int) -> AsyncIterator[tuple[list[NamedPhoto], dict[str, str]]]:
    """The photos of a form, if any came, and its text fields; the photos lie on disk until this is left."""
    parts = await whole_form(request, max_bytes, max_files=MOST_FIELDS, max_fields=MOST_FIELDS)
    try:
        came = [part for part in parts.getlist("photos") if not isinstance(part, str) and (part.filename or part.size)]
        fields = {name: value for name, value in parts.items() if isinstance(value, str)}
        yield [named_photo(part, number) for number, part in enumerate(came, 1)], fields
    finally:
        await parts.close()


@asynccontextmanager
async def case_photos_form(request: Request, max_bytes: int) -> AsyncIterator[tuple[list[NamedPhoto], dict[str, str]]]:
    """The same for a form that is about photos. Raises `NothingToGoOn` when none came."""
    async with photo_form(request, max_bytes) as (photos, fields):
        if not photos:
            raise NothingToGoOn(Message("No photo came. Take one, or go on without a photo."))
        yield photos, fields
