"""A form as it streams in: counted while it comes, refused as soon as it is too large, taken whole or not at all."""

import json
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from email.message import Message as Header
from pathlib import PurePath
from typing import Any

from fastapi import Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from api.gate.entrance import TooSlow
from api.http.problems import RequestTooLarge
from api.identification import NamedPhoto
from classifier.errors import InputError
from classifier.messages import Message
from guidance.catalogue.rows import ROLES
from guidance.documents.strict_json import loads
from guidance.identify.sources import Observed

MOST_PARTS = 40
"""Parts of a form; far more than a sensible request has."""

MOST_TEXT_BYTES = 64 * 1024
"""Bytes of the observations; far more than every question answered."""

LONGEST_NAME = 100

TAIL_BYTES = 1024
"""Of the end of a form, where its last boundary has to be."""


@dataclass(frozen=True)
class Form:
    """What one request brought."""

    photos: list[NamedPhoto]
    observations: list[Observed]
    role: str


@asynccontextmanager
async def received_form(request: Request, max_bytes: int) -> AsyncIterator[Form]:
    """The photos, the observations and the role of a multipart request; photos lie on disk until this is left.

    Raises `RequestTooLarge` while the body still streams in, and `InputError` for a form that makes no sense.
    """
    content_type = request.headers.get("content-type", "")
    if not content_type.startswith("multipart/form-data"):
        raise HTTPException(
            415,
            Message(
                "{content_type} came; send multipart/form-data with `photos` and `observations`.",
                content_type=content_type or "no content type",
            ),
        )
    limits = {"max_files": MOST_PARTS, "max_fields": MOST_PARTS, "max_part_size": MOST_TEXT_BYTES}
    parts = await whole_form(request, max_bytes, **limits)
    try:
        yield _form(parts)
    finally:
        await parts.close()


def _form(parts: FormData) -> Form:
    unknown = sorted(set(parts) - {"photos", "observations", "role"})
    if unknown:
        raise InputError(
            Message(
                "The form has a field {field}; `photos`, `observations` and `role` are known.", field=f"{unknown[0]!r}"
            )
        )
    photos = [named_photo(part, n) for n, part in enumerate(parts.getlist("photos"), 1)]
    return Form(photos, _observations(parts.getlist("observations")), str(parts.get("role") or "caregiver"))


async def whole_form(request: Request, max_bytes: int, **limits: int) -> FormData:
    """The parts of a form, once all of it has come. The caller closes them.

    Raises `RequestTooLarge` while the body still streams in, and `InputError` for a form that cannot be read or that
    was cut off on the way: without its last boundary, the part before it may be missing or be half of what it was.
    """
    told = Message(
        "at most {limit} MiB are taken in one request. Send fewer or smaller photos.", limit=f"{max_bytes / 2**20:.0f}"
    )
    announced = request.headers.get("content-length", "")
    if announced.isdigit() and int(announced) > max_bytes:
        raise RequestTooLarge(
            Message("{announced} MiB were announced, {told}", announced=f"{int(announced) / 2**20:.0f}", told=told)
        )
    came, tail = 0, b""

    async def receive() -> dict[str, Any]:
        nonlocal came, tail
        message = await request.receive()
        came += len(message.get("body", b""))
        if came > max_bytes:
            raise RequestTooLarge(Message("More than that came: {told}", told=told))
        tail = (tail + message.get("body", b""))[-TAIL_BYTES:]
        return message

    try:
        parts = await Request(request.scope, receive).form(**limits)
    except TooSlow:
        raise
    except HTTPException as error:
        raise InputError(
            Message("The form cannot be read: {detail} Send multipart/form-data.", detail=error.detail)
        ) from error
    boundary = _boundary(request)
    if boundary and f"--{boundary}--".encode() not in tail:
        await parts.close()
        raise InputError(Message("The form was cut off on the way: its last boundary is missing. Send it again."))
    return parts


def _boundary(request: Request) -> str | None:
    """What separates the parts of a multipart form; None for another kind of form."""
    headers = Header()
    headers["Content-Type"] = request.headers.get("content-type", "")
    return headers.get_boundary() if headers.get_content_type() == "multipart/form-data" else None


def named_photo(part: UploadFile | str, number: int) -> NamedPhoto:
    """A file of a form under a harmless name. Raises `InputError` for text."""
    if isinstance(part, str):
        raise InputError(Message("Photo {number} came as text; send it as a file, with a file name.", number=number))
    return NamedPhoto(_plain_name(part.filename, number), part.file.read)


def _plain_name(name: str | None, number: int) -> str:
    """The name without folders and without characters that could steer a terminal or a page."""
    last = PurePath((name or "").replace("\\", "/")).name
    return re.sub(r"[^\w .()+-]", "_", last)[:LONGEST_NAME] or f"photo-{number}"


def _observations(fields: list[UploadFile | str]) -> list[Observed]:
    wanted = Message(
        'a JSON list such as [{"id": "battery_comes_off", "answer": "yes"}] is wanted; "by" may name who looked'
    )
    if len(fields) > 1 or any(not isinstance(f, str) for f in fields):
        raise InputError(Message("`observations` must come once, as text; {wanted}.", wanted=wanted))
    if not fields:
        return []
    try:
        rows = loads(fields[0])
    except (ValueError, RecursionError) as error:
        raise InputError(
            Message("`observations` is no JSON ({error}); {wanted}.", error=error, wanted=wanted)
        ) from error
    if not isinstance(rows, list):
        raise InputError(f"`observations` is {type(rows).__name__}; {wanted}.")
    for row in rows:
        if (
            not isinstance(row, dict)
            or not {"id", "answer"} <= set(row) <= {"id", "answer", "by"}
            or not all(isinstance(v, str) for v in row.values())
            or row.get("by", ROLES[0]) not in ROLES
        ):
            raise InputError(Message("One observation is {row}; {wanted}.", row=json.dumps(row)[:200], wanted=wanted))
    return [Observed(row["id"], row["answer"], row.get("by")) for row in rows]
