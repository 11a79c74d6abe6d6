"""What a browser keeps: stylesheet, script, icon, manifest, and the worker that has the way down ready offline."""

import json
from functools import cache

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from api.pages.caregiver.screens import language_of
from api.pages.caregiver.way_down import of_any_lift
from api.pages.environment import STATIC
from api.state import state_of

router = APIRouter(include_in_schema=False)
of_language = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""

MEDIA_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
OFFLINE = ("hoistlore.css", "shelf.js", "caregiver.js", "staff.js", "survey.js")
"""What pages need that are shown without a connection."""

A_YEAR = "public, max-age=31536000, immutable"


@router.get("/")
def start(request: Request) -> HTMLResponse:
    """The caregiver's first page in the language that the browser asks for."""
    pages = state_of(request).pages
    page = pages.show("first.html", pages.asked(request), "/", keep=True)
    page.headers["Vary"] = "Accept-Language"
    return page


@router.get("/static/{name}")
def static(request: Request, name: str, v: str = "") -> Response:
    """One file of ours; an address that names its version may be kept for ever."""
    files = _static_files()
    if name not in files:
        raise HTTPException(404)
    body, media_type = files[name]
    if name == "hoistlore.css":
        body += state_of(request).pages.look.css().encode()
    return Response(body, media_type=media_type, headers={"Cache-Control": A_YEAR if v else "no-cache"})


@router.get("/worker.js")
def worker(request: Request) -> Response:
    """The service worker, with the list of what it keeps. A new version of anything makes a new list."""
    pages = state_of(request).pages
    kept = [f"/static/{name}?v={pages.version}" for name in OFFLINE] + ["/static/icon.svg"]
    for tag in pages.languages:
        kept += [f"/{tag}/", f"/{tag}/down", f"/{tag}/offline", f"/{tag}/manifest.webmanifest"]
    script = pages.environment.get_template("worker.js").render(version=pages.version, kept=json.dumps(kept))
    return Response(script, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@of_language.get("/offline")
def offline(request: Request) -> HTMLResponse:
    """What is shown when the network is off and a page is asked for that is not kept."""
    words = of_any_lift(request)
    return state_of(request).pages.show("offline.html", language_of(request), "/offline", keep=True, **words)


@of_language.get("/manifest.webmanifest")
def manifest(request: Request) -> Response:
    """How the pages are installed on a telephone."""
    language, pages = language_of(request), state_of(request).pages
    document = {
        "name": f"{language.say('Lift help')} {pages.look.name}".strip(),
        "short_name": language.say("Lift help"),
        "lang": language.tag,
        "dir": language.direction,
        "start_url": f"/{language.tag}/",
        "scope": "/",
        "display": "standalone",
        "orientation": "portrait",
        "background_color": "#f7f5f0",
        "theme_color": pages.look.colour or "#0a4a45",
        "icons": [{"src": "/static/icon.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
    }
    return Response(json.dumps(document, ensure_ascii=False), media_type="application/manifest+json")


@cache
def _static_files() -> dict[str, tuple[bytes, str]]:
    return {p.name: (p.read_bytes(), MEDIA_TYPES[p.suffix]) for p in STATIC.iterdir() if p.suffix in MEDIA_TYPES}
