"""The ways in at a page: a name with a password; while nobody has a name yet, a role's token with a name to go by."""

from dataclasses import dataclass

from api.cases.store import CaseStore, Who
from api.http.sessions import NotAllowed, open_session, role_of_token
from api.people.passwords import Passwords
from api.people.tries import count_try, forget_tries
from api.people.users import CHANGED, LONGEST_CALLED, change_user, plain_name, somebody_named, user_named
from api.settings import Settings

REFUSED = "sign in refused"


@dataclass(frozen=True)
class Knock:
    """Who wants to come in: the name and the secret that were typed, the address, and the session before."""

    name: str
    secret: str
    address: str
    before: str


def by_token_alone(store: CaseStore, settings: Settings) -> bool:
    """Whether people still sign in with a role's token: nobody has a name, and no provider knows any."""
    return not settings.openid_issuer and not somebody_named(store)


def sign_in(store: CaseStore, settings: Settings, passwords: Passwords, knock: Knock) -> str:
    """A new session's cookie. Raises `NotAllowed`, and `TooManyRequests` before anything is looked at."""
    count_try(store, knock.address, plain_name(knock.name))
    cookie = (
        _with_token(store, settings, knock)
        if by_token_alone(store, settings)
        else _with_password(store, passwords, knock)
    )
    forget_tries(store, knock.address, plain_name(knock.name))
    return cookie


def change_password(
    store: CaseStore, passwords: Passwords, name: str, before: str, after: str, who: Who, user_id: str
) -> str:
    """Exchange one's own password; every other session of that user ends. A new cookie.

    Raises `NotAllowed` when `before` is wrong, `InputError` for a new one that will not do, and `TooManyRequests`.
    """
    count_try(store, who.address, name)
    user = user_named(store, name)
    if user is None or not passwords.fits(before, user.password_hash):
        raise NotAllowed
    forget_tries(store, who.address, name)
    change_user(store, name, CHANGED, who, password_hash=passwords.hashed(after))
    return open_session(store, who, user_id, "")


def _with_token(store: CaseStore, settings: Settings, knock: Knock) -> str:
    role, name = role_of_token(knock.secret, settings), knock.name.strip()[:LONGEST_CALLED]
    if not name:
        raise NotAllowed
    return open_session(store, Who(role, name, knock.address), None, knock.before)


def _with_password(store: CaseStore, passwords: Passwords, knock: Knock) -> str:
    user = user_named(store, knock.name)
    kept = user.password_hash if user else None
    fits = passwords.fits(knock.secret, kept)
    if user is None:
        raise NotAllowed
    who = Who(user.role, user.called, knock.address)
    if not fits or user.disabled:
        with store.engine.begin() as connection:
            store.note(connection, REFUSED, "", who)
        raise NotAllowed
    if passwords.outdated(kept):
        change_user(store, user.name, CHANGED, who, password_hash=passwords.hashed(knock.secret))
    return open_session(store, who, user.id, knock.before)
