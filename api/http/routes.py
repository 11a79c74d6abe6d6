"""The JSON routes. Each reads its request, hands the work to a slot and returns what came out."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse

from api.gate.address import own_address
from api.http.docs_page import EXAMPLE_ADDRESS, docs_page
from api.http.problems import refusals
from api.http.upload import Form, received_form
from api.identification import NamedPhoto, Resources, answer_for, check_request, read_photos
from api.jpeg import jpeg_bytes
from api.overlay import draw_overlay
from api.settings import MOST_PHOTOS
from api.state import AppState, count_request, state_of
from classifier.errors import InputError, PhotoError
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import ROLES
from guidance.documents.answer import Answer

router = APIRouter()

PHOTO_SCHEMA = {"type": "string", "format": "binary", "description": "JPEG, PNG, WebP or HEIC, judged by its content"}
OBSERVATIONS_SCHEMA = {
    "type": "string",
    "contentMediaType": "application/json",
    "description": 'a JSON list, for example [{"id": "battery_comes_off", "answer": "yes"}]',
}
JPEG_SCHEMA = {"type": "string", "format": "binary"}
ROLE_SCHEMA = {"type": "string", "enum": list(ROLES), "default": ROLES[0], "description": "who is told"}
REFUSALS = refusals(408, 413, 415, 422, 429, 503)


def _form(most_photos: int, **schema: Any) -> dict[str, Any]:
    """The description of a multipart body; `schema` says which of its fields have to come."""
    photos = {"type": "array", "items": PHOTO_SCHEMA, "minItems": 1, "maxItems": most_photos}
    properties = {"photos": photos, "observations": OBSERVATIONS_SCHEMA, "role": ROLE_SCHEMA}
    whole = {"type": "object", "properties": properties, "additionalProperties": False, **schema}
    return {"requestBody": {"required": True, "content": {"multipart/form-data": {"schema": whole}}}}


@router.post(
    "/v1/identifications",
    response_model=Answer,
    openapi_extra=_form(MOST_PHOTOS, anyOf=[{"required": ["photos"]}, {"required": ["observations"]}]),
    responses=REFUSALS,
)
async def identifications(request: Request) -> Response:
    """Identify one lift from up to six photos of it and from what somebody saw; at least one of either."""
    async with _taken_in(request) as form:
        document = await state_of(request).slots.run(_identify, form, state_of(request))
    return Response(document, media_type="application/json")


@router.post(
    "/v1/overlays",
    openapi_extra=_form(1, required=["photos"]),
    response_class=Response,
    responses={
        200: {"content": {"image/jpeg": {"schema": JPEG_SCHEMA}}, "description": "The photo, drawn on"},
        **REFUSALS,
    },
)
async def overlays(request: Request) -> Response:
    """One photo back as a JPEG with what was found drawn on it."""
    async with _taken_in(request) as form:
        if len(form.photos) != 1:
            raise InputError(f"{len(form.photos)} photos came; send one photo for one drawing.")
        picture = await state_of(request).slots.run(_drawn, form.photos[0], state_of(request).loaded)
    return Response(picture, media_type="image/jpeg")


@router.get("/v1/catalogue", response_model=Catalogue)
def catalogue(request: Request) -> Catalogue:
    """The catalogue in use: generations, mechanisms, questions and wording."""
    return state_of(request).resources.catalogue


@router.get("/healthz")
async def healthz() -> dict[str, str]:
    """The process is alive."""
    return {"status": "alive"}


@router.get("/readyz")
async def readyz(request: Request) -> dict[str, str]:
    """Model and catalogue are loaded; which ones."""
    resources: Resources = state_of(request).loaded
    pool = resources.catalogue.pool
    return {"status": "ready", "model": resources.model.info.version, "catalogue": f"{pool.id} {pool.version}"}


@router.get("/docs", include_in_schema=False, response_class=HTMLResponse)
async def docs(request: Request) -> str:
    """This API described for people."""
    return docs_page(request.app.openapi(), f"{own_address(request) or EXAMPLE_ADDRESS}/")


@asynccontextmanager
async def _taken_in(request: Request) -> AsyncIterator[Form]:
    state = state_of(request)
    await run_in_threadpool(count_request, request)
    state.slots.refuse_if_full()
    async with received_form(request, state.settings.max_request_mib * 2**20) as form:
        check_request(len(form.photos), form.observations, form.role, state.loaded)
        yield form


def _identify(form: Form, state: AppState) -> bytes:
    resources = state.resources
    readings, failures = read_photos(form.photos, resources)
    if failures:
        raise _named_together(failures)
    return answer_for(readings, form.observations, form.role, resources).model_dump_json().encode()


def _named_together(failures: list[PhotoError]) -> PhotoError:
    """The first failure, which decides the status, with every other photo that cannot be read in its reason."""
    first, *others = failures
    return type(first)(first.name, " ".join([first.reason, *(f"Also {other}" for other in others)]))


def _drawn(photo: NamedPhoto, resources: Resources) -> bytes:
    data = photo.load()
    readings, failures = read_photos([NamedPhoto(photo.name, lambda: data)], resources)
    if failures:
        raise failures[0]
    return jpeg_bytes(draw_overlay(data, readings[0], resources.limits))
