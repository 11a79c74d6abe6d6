"""A link that an agent sends to a caller's telephone: photos into one case for an hour, and nothing else."""

import secrets

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from sqlalchemy import delete, insert, select

from api.cases.database import reading
from api.cases.photos import add_photo
from api.cases.store import CaseStore, NoSuchCase, Who, hashed
from api.cases.tables import cases, links
from api.pages.forms import case_photos_form

LINK_MS = 60 * 60 * 1000
"""An hour: long enough for a call, too short to be found later."""

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


def make_link(store: CaseStore, case_id: str, who: Who) -> str:
    """A new link's token. Raises `NoSuchCase`."""
    store.version(case_id)
    token, now = secrets.token_urlsafe(16), store.now_ms()
    with store.engine.begin() as connection:
        connection.execute(delete(links).where(links.c.expires_ms < now))
        connection.execute(insert(links).values(token_hash=hashed(token), case_id=case_id, expires_ms=now + LINK_MS))
        store.note(connection, "link", case_id, who)
    return token


def case_of_link(store: CaseStore, token: str) -> str:
    """The id of the case that a link leads into. Raises `NoSuchCase` once it has expired."""
    live = (links.c.token_hash == hashed(token)) & (links.c.expires_ms > store.now_ms())
    with reading(store.engine) as connection:
        found = connection.scalar(select(cases.c.id).join(links, links.c.case_id == cases.c.id).where(live))
    if found is None:
        raise NoSuchCase(token)
    return found


@router.get("/u/{token}")
def upload_page(request: Request, token: str, sent: str = "") -> Response:
    """The camera and nothing else; nothing of the case is shown."""
    _case(request, token)
    tag = request.url.path.split("/")[1]
    state = request.app.state
    return state.pages.show(
        "upload.html", state.pages.languages[tag], f"/u/{token}", here=f"/{tag}/u/{token}", sent=bool(sent),
        keep_days=state.settings.photo_days,
    )  # fmt: skip


@router.post("/u/{token}/photos")
async def upload(request: Request, token: str) -> Response:
    """Take photos into the case of this link."""
    state = request.app.state
    case_id = await run_in_threadpool(_case, request, token)
    state.slots.refuse_if_full()
    who = Who("caregiver", "by link", request.client.host if request.client else "")
    async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
        for one in photos:
            days = state.settings.photo_days if fields.get("keep") == "yes" else 0
            await state.slots.run(add_photo, state.cases, state.shelf, case_id, one, days, state.resources, who)
    return RedirectResponse(f"{request.url.path.removesuffix('/photos')}?sent=yes", 303)


def _case(request: Request, token: str) -> str:
    request.app.state.rate.take(request.client.host if request.client else "")
    request.app.state.case_rate.take(hashed(token))
    return case_of_link(request.app.state.cases, token)
