"""Signing in through the organisation's own provider: there, and back."""

import logging

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.exceptions import HTTPException

from api.cases.store import Who
from api.gate.address import behind_tls, onward
from api.http.sessions import COOKIE, open_session
from api.pages.staff.screens import staff_language
from api.pages.staff.signing import language_here, show_sign_in, with_session
from api.people.tries import count_try, forget_tries
from api.state import state_of

LOG = logging.getLogger("hoistlore")

BROWSER = "hoistlore_openid"
"""The cookie by which whoever comes back is whoever went; no strict one, since it comes along from the provider."""

REFUSED = "Signing in with your organisation did not work. Try it again from here."
NO_ROLE = "Your organisation knows you, and gave you no role here. Ask whoever runs this server."
NO_ANSWER = "Your organisation does not answer just now. Try it again in a minute."
DISABLED = "Somebody has ended your access here. Ask whoever runs this server."

router = APIRouter(prefix="/staff", include_in_schema=False)
any_language = APIRouter(include_in_schema=False)


@router.get("/openid")
def leave(request: Request, next: str = "") -> Response:
    """Go to the provider."""
    state, say = state_of(request), language_here(request).say
    if state.openid is None:
        raise HTTPException(404)
    from api.people.openid import AWAY_MS, ProviderFailed

    tag = staff_language(request).tag
    count_try(state.cases, _address(request), "")
    try:
        away = state.openid.leave(state.cases, onward(next, state.pages.languages, f"/{tag}/staff/cases"))
    except ProviderFailed as error:
        LOG.warning("The OpenID provider failed: %s", error)
        return show_sign_in(request, next, say(NO_ANSWER), 503)
    answer = RedirectResponse(away.url, 303, {"Cache-Control": "no-store", "Referrer-Policy": "no-referrer"})
    secure = behind_tls(request)
    answer.set_cookie(BROWSER, away.browser, AWAY_MS // 1000, "/openid", secure=secure, httponly=True, samesite="lax")
    return answer


@any_language.get("/openid/back")
def back(request: Request) -> Response:
    """Back from the provider: signed in, and on to where one was."""
    state, say = state_of(request), language_here(request).say
    if state.openid is None:
        raise HTTPException(404)
    from api.people.openid import NoRole, ProviderFailed, SignInRefused

    try:
        user, goes_to = state.openid.come_back(state.cases, request.query_params, request.cookies.get(BROWSER, ""))
    except SignInRefused as error:
        LOG.warning("A sign-in by OpenID was refused: %s", error)
        return show_sign_in(request, "", say(REFUSED), 403)
    except NoRole:
        return show_sign_in(request, "", say(NO_ROLE), 403)
    except ProviderFailed as error:
        LOG.warning("The OpenID provider failed: %s", error)
        return show_sign_in(request, "", say(NO_ANSWER), 503)
    if user.disabled:
        return show_sign_in(request, "", say(DISABLED), 403)
    who = Who(user.role, user.called, _address(request))
    cookie = open_session(state.cases, who, user.id, request.cookies.get(COOKIE, ""))
    forget_tries(state.cases, who.address, "")
    language = state.pages.languages[goes_to.split("/")[1]]
    # A redirect would still count as the provider's, and the session's cookie, which is strict, would stay behind.
    page = state.pages.show("staff/arrived.html", language, "/staff/cases", session=None, goes_to=goes_to)
    page.delete_cookie(BROWSER, "/openid")
    return with_session(request, page, cookie)


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
