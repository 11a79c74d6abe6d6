"""Signing in and out, and one's own password."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from api.gate.address import behind_tls, onward
from api.http.sessions import COOKIE, SESSION_MS, NotAllowed, Session, sign_out, staff
from api.pages.forms import small_form
from api.pages.languages import Language
from api.pages.staff.screens import show_staff, staff_form, staff_language
from api.people.passwords import SHORTEST
from api.people.sign_in import Knock, by_token_alone, change_password, sign_in
from api.people.users import User, all_users
from api.state import state_of
from classifier.errors import InputError

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/sign-in")
def sign_in_page(request: Request, next: str = "") -> Response:
    """Name and password; where nobody has a name yet, a role's token."""
    return show_sign_in(request, next)


@router.post("/sign-in")
async def signed_in(request: Request) -> Response:
    """Open a session, and go on to where one was."""
    if request.headers.get("sec-fetch-site", "") in ("cross-site", "same-site"):
        raise NotAllowed  # another site would sign somebody in under a name of its own
    form, state = await small_form(request), state_of(request)
    address = request.client.host if request.client else ""
    secret = form.get("password") or form.get("token", "").strip()
    knock = Knock(form.get("name", ""), secret, address, request.cookies.get(COOKIE, ""))
    try:
        cookie = await run_in_threadpool(sign_in, state.cases, state.settings, state.passwords, knock)
    except NotAllowed:
        return await run_in_threadpool(show_sign_in, request, form.get("next", ""), "", 403)
    tag = staff_language(request).tag
    answer = RedirectResponse(onward(form.get("next", ""), state.pages.languages, f"/{tag}/staff/cases"), 303)
    return with_session(request, answer, cookie)


@router.post("/sign-out")
async def signed_out(request: Request) -> Response:
    """End the session."""
    session, _ = await staff_form(request)
    cookie = request.cookies.get(COOKIE, "")
    await run_in_threadpool(sign_out, state_of(request).cases, cookie, session.who(request))
    answer = RedirectResponse(f"/{staff_language(request).tag}/staff/sign-in", 303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.get("/password")
def password_page(request: Request) -> Response:
    """One's own password, to be exchanged."""
    return _password_page(request, staff(request))


@router.post("/password")
async def exchanged(request: Request) -> Response:
    """Exchange one's own password; every other session of this person ends."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_exchanged, request, session, form)


def with_session(request: Request, answer: Response, cookie: str) -> Response:
    """The answer with a session's cookie, which no script and no other site gets at."""
    secure = behind_tls(request)
    answer.set_cookie(COOKIE, cookie, SESSION_MS // 1000, path="/", httponly=True, samesite="strict", secure=secure)
    return answer


def show_sign_in(request: Request, next_: str, told: str = "", status: int = 200) -> Response:
    """The ways in that there are; `told`: what went wrong on another one."""
    state = state_of(request)
    language = language_here(request)
    next_ = onward(next_, state.pages.languages, "")
    query = f"?{urlencode({'next': next_})}" if next_ else ""
    by_token = by_token_alone(state.cases, state.settings)
    values = {
        "told": told,
        "wrong": status == 403,
        "by_token": by_token,
        "openid": state.openid is not None,
        "passwords": any(user.password_hash for user in all_users(state.cases)),
        "next": next_,
        "query": query,
        "up_cases": [],
        "session": None,
    }
    return state.pages.show("staff/sign_in.html", language, f"/staff/sign-in{query}", status, **values)


def language_here(request: Request) -> Language:
    """The language of the address; where it has none, the one that the browser asks for."""
    pages = state_of(request).pages
    return pages.language(request.url.path.split("/")[1]) or pages.asked(request)


def _password_page(request: Request, session: Session, told: str = "", done: bool = False) -> Response:
    own = _own(request, session)
    values = {"told": told, "done": done, "ours": own is not None and own.password_hash is not None}
    return show_staff(request, "staff/password.html", session, status=422 if told else 200, shortest=SHORTEST, **values)


def _own(request: Request, session: Session) -> User | None:
    return next((user for user in all_users(state_of(request).cases) if user.id == session.user_id), None)


def _exchanged(request: Request, session: Session, form: dict[str, str]) -> Response:
    state, own = state_of(request), _own(request, session)
    if own is None or own.password_hash is None:
        return _password_page(request, session)
    before, after = form.get("before", ""), form.get("after", "")
    language = staff_language(request)
    try:
        cookie = change_password(state.cases, state.passwords, own.name, before, after, session.who(request), own.id)
    except NotAllowed:
        return _password_page(request, session, language.say("The password until now is another one. Nothing changed."))
    except InputError as error:
        return _password_page(request, session, f"{language.said(error.message)} {language.say('Nothing changed.')}")
    answer = RedirectResponse(f"/{language.tag}/staff/cases", 303)
    return with_session(request, answer, cookie)
