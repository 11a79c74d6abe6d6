"""A failure as a page: what happened and what to do next, in the reader's language and without our details."""

from fastapi import Request
from fastapi.responses import HTMLResponse

from api.cases.store import spoken_code
from api.http.sessions import by_cookie
from api.pages.languages import Language
from api.pages.render import Pages
from api.state import state_of

WORDS = {
    403: ("You may not do this", "Sign in with a role that may, then try again."),
    404: ("This page is not here", "The address is wrong, or the case was deleted. Start again."),
    405: ("This page is not here", "The address is wrong, or the case was deleted. Start again."),
    408: ("That took too long", "The connection is slow just now. Send the same again."),
    409: ("Somebody was faster", "The case has changed meanwhile. Look at it as it stands now."),
    413: ("That is too large", "A photo: take it again, or choose a smaller one. A text: make it shorter."),
    415: ("That is no photo that we can read", "Take a photo with the camera, or choose another file."),
    422: ("That did not work", "Something was missing or damaged on the way. Go back and try again."),
    429: ("Too many tries", "Wait a minute, then go on. Nothing is lost."),
    503: ("Too busy just now", "Wait a moment, then send the same again. Nothing is lost."),
}
OURS = ("Something went wrong on our side", "Go back and try again. If a person is up, bring them down first.")


def wants_page(request: Request) -> bool:
    """Whether a browser asked for a page, and not a program for a document."""
    return "text/html" in request.headers.get("accept", "") and not request.url.path.startswith("/v1/")


def error_page(request: Request, status: int, headers: dict | None, told: str | None = None) -> HTMLResponse:
    """The page for this status, with the way back into the case that it came from; `told` says it more exactly."""
    pages: Pages = state_of(request).pages
    parts = request.url.path.split("/")
    language = pages.language(parts[1]) or pages.asked(request)
    in_case = parts[2:3] == ["c"] and len(parts) > 4  # a case's own first page failed itself: it is no way back
    back = "/".join(parts[:4]) if in_case else f"/{language.tag}/"
    if parts[2:3] == ["staff"]:
        back = "/".join(parts[:5]) if len(parts) > 5 else f"/{language.tag}/staff/cases"
    title, words = map(language.say, WORDS.get(status, OURS))
    if told:
        exactly = language.said(told)
        words = exactly[:1].upper() + exactly[1:]
    door = "/".join(parts[:4]) if parts[2:3] in (["c"], ["u"]) and len(parts) > 4 else f"/{language.tag}"
    values = {"title": title, "words": words, "back": back}
    if parts[2:3] == ["staff"]:
        page = _staff_page(request, language, status, values)
    else:
        page = pages.show("message.html", language, "/", status, here=door, **values)
    page.headers.update(headers or {})
    return page


def _staff_page(request: Request, language: Language, status: int, values: dict[str, str]) -> HTMLResponse:
    """In the staff's look, with who is signed in and whether somebody is up."""
    state, session = state_of(request), by_cookie(request)
    up = state.cases.up_now() if session else []
    more = {"session": session, "up_cases": up, "spoken_code": spoken_code}
    return state.pages.show("staff/message.html", language, "/staff/cases", status, **more, **values)
