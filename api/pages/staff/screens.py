"""What every page of the staff is made of: who asks, in which language, and the case as their role sees it."""

import re
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from functools import partial
from typing import Any

from fastapi import Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from markupsafe import Markup

from api.cases.store import CaseRow, spoken_code
from api.cases.view import CaseView, view
from api.http.sessions import Session, own_form, staff
from api.identification import NamedPhoto
from api.pages.forms import case_photos_form, small_form
from api.pages.languages import Language
from api.pages.wording import percent
from api.state import state_of

Sent = tuple[list[NamedPhoto], dict[str, str]]
PhotosForm = Callable[[Request, int], AbstractAsyncContextManager[Sent]]

CHANGED = "Somebody else changed this case meanwhile. Nothing was overwritten; this is how it stands now."


def staff_view(request: Request, session: Session, row: CaseRow) -> CaseView:
    """The case as this person's role sees it; an administrator sees what an agent sees."""
    role = "technician" if session.role == "technician" else "agent"
    return view(row, state_of(request).cases, state_of(request).resources, role)


async def staff_form(request: Request) -> tuple[Session, dict[str, str]]:
    """Who sends a form of ours, and its fields."""
    session = await run_in_threadpool(staff, request)
    form = await small_form(request)
    own_form(session, form)
    return session, form


@asynccontextmanager
async def staff_photos(request: Request, session: Session, form: PhotosForm = case_photos_form) -> AsyncIterator[Sent]:
    """The photos and fields of a form of ours, which is read only where there is room for its photos."""
    state = state_of(request)
    state.slots.refuse_if_full()
    async with form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
        own_form(session, fields)
        yield photos, fields


def staff_language(request: Request) -> Language:
    """The language in the first part of the address, as on the caregiver's pages."""
    return state_of(request).pages.languages[request.url.path.split("/")[1]]


def show_staff(request: Request, template: str, session: Session | None, **values: Any) -> Response:
    """One page of the staff."""
    language = staff_language(request)
    values["up_cases"] = state_of(request).cases.up_now() if session else []
    values["spoken_code"] = spoken_code
    values["percent"] = lambda probability: language.say(percent(probability))
    values["faulty"] = partial(_faulty, values.get("errors", {}))
    path = values.pop("path", request.url.path.removeprefix(f"/{language.tag}"))
    return state_of(request).pages.show(template, language, path, session=session, **values)


def _faulty(errors: Mapping[str, str], field: str, otherwise: object = False) -> Markup:
    """The attributes of a field that is wrong, so that it is gone to and its error is read out; none for any other."""
    if field not in errors and not otherwise:
        return Markup("")
    return Markup(' aria-invalid="true" aria-describedby="wrong-{}" autofocus').format(field)


def back_to(case_id: str, form: dict[str, str]) -> Response:
    """Back to the case, at the place that the form names; a relative address, so that the language stays."""
    at = form.get("at", "")
    return RedirectResponse(f"../{case_id}" + (f"#{at}" if re.fullmatch("[a-z0-9-]{1,40}", at) else ""), 303)


def as_file(text: str, media_type: str, name: str) -> Response:
    """A file to save; nobody on the way keeps it."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(text, media_type=media_type, headers=headers)
