"""A link that an agent sends to a caller's telephone: into one case for an hour, and for as long as somebody is up."""

import base64
import hashlib
import hmac
import secrets

from sqlalchemy import delete, insert, select

from api.cases.database import reading
from api.cases.store import CaseStore, NoSuchCase, Who, hashed
from api.cases.tables import cases, links

LINK_MS = 60 * 60 * 1000
"""An hour: long enough for a call, too short to be found later."""


def token_for(session: str, case_id: str) -> str:
    """The token of the link that somebody makes into a case, from the secret of their session.

    Their page can show it again, on any server, and the database still holds no token.
    """
    digest = hmac.new(session.encode(), f"link into {case_id}".encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(digest[:16]).decode().rstrip("=")


def make_link(store: CaseStore, case_id: str, who: Who, token: str = "") -> str:
    """A link's token, open from now: this one, or a new one. Raises `NoSuchCase`."""
    store.version(case_id)
    token, now = token or secrets.token_urlsafe(16), store.now_ms()
    with store.engine.begin() as connection:
        up = select(cases.c.id).where(cases.c.up_since_ms.is_not(None))
        connection.execute(delete(links).where((links.c.expires_ms < now) & links.c.case_id.not_in(up)))
        connection.execute(delete(links).where(links.c.token_hash == hashed(token)))
        connection.execute(insert(links).values(token_hash=hashed(token), case_id=case_id, expires_ms=now + LINK_MS))
        store.note(connection, "link", case_id, who)
    return token


def case_of_link(store: CaseStore, token: str) -> str:
    """The id of the case that a link leads into. Raises `NoSuchCase` once it is over, never with somebody up."""
    open_now = (links.c.expires_ms > store.now_ms()) | cases.c.up_since_ms.is_not(None)
    live = (links.c.token_hash == hashed(token)) & open_now
    with reading(store.engine) as connection:
        found = connection.scalar(select(cases.c.id).join(links, links.c.case_id == cases.c.id).where(live))
    if found is None:
        raise NoSuchCase(token)
    return found


def is_open(store: CaseStore, token: str) -> bool:
    """Whether a link with this token leads anywhere now."""
    try:
        case_of_link(store, token)
    except NoSuchCase:
        return False
    return True
