"""Who may come in: staff sign in with their role's token and a name; programs send the token itself."""

import hmac
import ipaddress
import secrets
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy import delete, insert, select

from api.cases.database import reading
from api.cases.store import CaseStore, Who, hashed
from api.cases.tables import sessions
from api.settings import Settings
from classifier.errors import SettingsError

STAFF = ("agent", "technician", "administrator")
COOKIE = "hoistlore_session"
SESSION_MS = 12 * 60 * 60 * 1000
"""A long shift; after it somebody signs in again."""

SHORTEST_TOKEN = 20
LONGEST_NAME = 80


class SignInNeeded(Exception):
    """Nobody is signed in, or not any more."""


class NotAllowed(Exception):
    """Somebody is signed in whose role may not do this, or a form did not come from our own page."""


@dataclass(frozen=True)
class Session:
    """Somebody who is signed in. `form_key` has to come back in every form; None for a program with a token."""

    role: str
    actor: str
    form_key: str | None

    def who(self, request: Request) -> Who:
        """This person as a case keeps them."""
        return Who(self.role, self.actor, request.client.host if request.client else "")


def check_tokens(settings: Settings) -> None:
    """Refuse weak or shared tokens, and a public address without any. Raises `SettingsError`."""
    given = [token for role in STAFF if (token := token_of(role, settings))]
    if any(len(token) < SHORTEST_TOKEN for token in given):
        raise SettingsError(f"A token of a role is too short; {SHORTEST_TOKEN} characters or more are wanted.")
    if len(set(given)) != len(given):
        raise SettingsError("Two roles have the same token. Give each role its own.")
    if not given and not _is_loopback(settings.host):
        raise SettingsError(
            f"{settings.host} can be reached from elsewhere, and no role has a token. Set HOISTLORE_AGENT_TOKEN and "
            "HOISTLORE_ADMINISTRATOR_TOKEN, or listen on 127.0.0.1."
        )


def token_of(role: str, settings: Settings) -> str:
    """The token with which this role signs in; empty when nobody can."""
    return getattr(settings, f"{role}_token")


def sign_in(store: CaseStore, settings: Settings, token: str, actor: str, address: str) -> str:
    """A new session's cookie. Raises `NotAllowed` for a token that no role has."""
    role = _role(token, settings)
    cookie = secrets.token_urlsafe(32)
    now = store.now_ms()
    with store.engine.begin() as connection:
        connection.execute(delete(sessions).where(sessions.c.expires_ms < now))
        connection.execute(
            insert(sessions).values(
                token_hash=hashed(cookie),
                role=role,
                actor=actor[:LONGEST_NAME],
                form_key=secrets.token_urlsafe(24),
                expires_ms=now + SESSION_MS,
            )
        )
        store.note(connection, "sign in", "", Who(role, actor[:LONGEST_NAME], address))
    return cookie


def sign_out(store: CaseStore, cookie: str) -> None:
    """End a session."""
    with store.engine.begin() as connection:
        connection.execute(delete(sessions).where(sessions.c.token_hash == hashed(cookie)))


def staff(request: Request, *roles: str) -> Session:
    """Who is asking. Raises `SignInNeeded`, or `NotAllowed` for a role that is not among `roles`."""
    session = _by_header(request) or _by_cookie(request)
    if session is None:
        raise SignInNeeded
    if session.role not in (roles or STAFF):
        raise NotAllowed
    return session


def own_form(session: Session, form: dict[str, str]) -> None:
    """Refuse a form that another site sent with this person's cookie. Raises `NotAllowed`."""
    if session.form_key is not None and not hmac.compare_digest(form.get("form_key", ""), session.form_key):
        raise NotAllowed


def _by_header(request: Request) -> Session | None:
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer":
        return None
    try:
        return Session(_role(token.strip(), request.app.state.settings), "program", None)
    except NotAllowed:
        raise SignInNeeded from None


def _by_cookie(request: Request) -> Session | None:
    cookie = request.cookies.get(COOKIE)
    if not cookie:
        return None
    store: CaseStore = request.app.state.cases
    live = (sessions.c.token_hash == hashed(cookie)) & (sessions.c.expires_ms > store.now_ms())
    with reading(store.engine) as connection:
        row = connection.execute(select(sessions.c.role, sessions.c.actor, sessions.c.form_key).where(live)).first()
    return Session(*row) if row else None


def _role(token: str, settings: Settings) -> str:
    for role in STAFF:
        known = token_of(role, settings)
        if known and hmac.compare_digest(token.encode(), known.encode()):
            return role
    raise NotAllowed


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
