"""Who is asking: staff by the session of their sign-in, programs by the token of a role in every request."""

import hmac
import ipaddress
import logging
import secrets
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy import delete, exists, insert, select

from api.cases.database import reading
from api.cases.store import CaseStore, Who, hashed
from api.cases.tables import sessions, users
from api.gate.rights import METRICS, STAFF, roles_of
from api.settings import Settings
from api.state import state_of
from classifier.errors import SettingsError

LOG = logging.getLogger("hoistlore")

COOKIE = "hoistlore_session"
SESSION_MS = 12 * 60 * 60 * 1000
"""A long shift; after it somebody signs in again."""

SHORTEST_TOKEN = 20


class SignInNeeded(Exception):
    """Nobody is signed in, or not any more."""


class NotAllowed(Exception):
    """Somebody is signed in whose role may not do this, or a form did not come from our own page."""


@dataclass(frozen=True)
class Session:
    """Somebody who is signed in. `form_key` has to come back in every form; None for a program with a token.

    `user_id`: None for whoever has no name here.
    """

    role: str
    actor: str
    form_key: str | None
    user_id: str | None = None

    def who(self, request: Request) -> Who:
        """This person as a case keeps them."""
        return Who(self.role, self.actor, request.client.host if request.client else "")


def check_tokens(settings: Settings) -> None:
    """Refuse tokens that are weak, or the same for two roles. Raises `SettingsError`."""
    given = [token for role in (*STAFF, METRICS) if (token := token_of(role, settings))]
    if any(len(token) < SHORTEST_TOKEN for token in given):
        raise SettingsError(f"A token of a role is too short; {SHORTEST_TOKEN} characters or more are wanted.")
    if len(set(given)) != len(given):
        raise SettingsError("Two roles have the same token. Give each role its own.")


def check_reach(settings: Settings, somebody_named: bool) -> None:
    """Refuse a public address when nobody could sign in; warn of tokens that people share. Raises `SettingsError`."""
    tokens = any(token_of(role, settings) for role in STAFF)
    if somebody_named or settings.openid_issuer:
        return
    if not tokens and not _is_loopback(settings.host):
        raise SettingsError(
            f"{settings.host} can be reached from elsewhere, and no role has a token and nobody a name. Add somebody "
            "(`hoistlore users add NAME --role administrator`), or listen on 127.0.0.1."
        )
    if tokens:
        LOG.warning(
            "Staff still sign in with the shared token of a role. Add people by name: `hoistlore users add NAME --role "
            "administrator`. From the first one on tokens are for programs alone; theirs go on working."
        )


def token_of(role: str, settings: Settings) -> str:
    """The token of programs with this role; empty when there is none."""
    return getattr(settings, f"{role}_token")


def role_of_token(token: str, settings: Settings) -> str:
    """The role whose token this is. Raises `NotAllowed`."""
    for role in (*STAFF, METRICS):
        known = token_of(role, settings)
        if known and hmac.compare_digest(token.encode(), known.encode()):
            return role
    raise NotAllowed


def open_session(store: CaseStore, who: Who, user_id: str | None, before: str) -> str:
    """A new session's cookie, whatever cookie the browser came with; the session `before` ends."""
    cookie, now = secrets.token_urlsafe(32), store.now_ms()
    over = (sessions.c.expires_ms < now) | (sessions.c.token_hash == hashed(before))
    with store.engine.begin() as connection:
        connection.execute(delete(sessions).where(over))
        connection.execute(
            insert(sessions).values(
                token_hash=hashed(cookie),
                role=who.role,
                actor=who.actor,
                form_key=secrets.token_urlsafe(24),
                expires_ms=now + SESSION_MS,
                user_id=user_id,
            )
        )
        store.note(connection, "sign in", "", who)
    return cookie


def sign_out(store: CaseStore, cookie: str, who: Who) -> None:
    """End a session."""
    with store.engine.begin() as connection:
        connection.execute(delete(sessions).where(sessions.c.token_hash == hashed(cookie)))
        store.note(connection, "sign out", "", who)


def staff(request: Request) -> Session:
    """Who is asking. Raises `SignInNeeded`, or `NotAllowed` for a role without a right to this route."""
    session = _by_header(request) or by_cookie(request)
    if session is None:
        raise SignInNeeded
    if session.role not in roles_of(request):
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
        return Session(role_of_token(token.strip(), state_of(request).settings), "program", None)
    except NotAllowed:
        raise SignInNeeded from None


def by_cookie(request: Request) -> Session | None:
    """Whose session it is, as the user stands now: who was disabled is out, a new role holds at once.

    A session by a role's token ends as soon as there is anybody by name.
    """
    cookie = request.cookies.get(COOKIE)
    if not cookie:
        return None
    store: CaseStore = state_of(request).cases
    live = (sessions.c.token_hash == hashed(cookie)) & (sessions.c.expires_ms > store.now_ms())
    by_token = sessions.c.user_id.is_(None) & ~exists(select(users.c.id))
    wanted = (
        select(sessions.c.form_key, sessions.c.user_id, sessions.c.role, sessions.c.actor, users.c.role, users.c.called)
        .join(users, users.c.id == sessions.c.user_id, isouter=True)
        .where(live & (by_token | (users.c.id.is_not(None) & users.c.disabled_ms.is_(None))))
    )
    with reading(store.engine) as connection:
        row = connection.execute(wanted).first()
    if row is None or (row[1] is None and state_of(request).settings.openid_issuer):
        return None
    form_key, user_id, role, actor, user_s_role, called = row
    return Session(user_s_role or role, called or actor, form_key, user_id)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
