"""The staff by name: made, given a role, disabled, known by a provider's subject. The audit log has each change."""

import re
import secrets
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select, update

from api.cases.database import reading
from api.cases.store import CaseStore, Who
from api.cases.tables import sessions, users
from api.gate.rights import STAFF
from classifier.errors import InputError

NAME = re.compile(r"[a-z0-9][a-z0-9._@-]{0,39}")
LONGEST_CALLED = 80

ADDED, DISABLED, ENABLED = "user added", "user disabled", "user enabled"
ROLE_CHANGED, RESET, CHANGED = "user's role changed", "password reset", "password changed"
"""Actions of the audit log; the name of the user follows after a colon."""


@dataclass(frozen=True)
class User:
    """One person. `issuer` is empty for one with a password of ours."""

    id: str
    name: str
    called: str
    role: str
    password_hash: str | None
    issuer: str
    disabled: bool


def somebody_named(store: CaseStore) -> bool:
    """Whether there is any named user, so that tokens are for programs alone."""
    with reading(store.engine) as connection:
        return connection.execute(select(users.c.id).limit(1)).first() is not None


def all_users(store: CaseStore) -> list[User]:
    """Everybody, by name."""
    with reading(store.engine) as connection:
        return [_user(row) for row in connection.execute(select(users).order_by(users.c.name)).mappings()]


def user_named(store: CaseStore, name: str) -> User | None:
    """The user with this name, written in capitals or not."""
    with reading(store.engine) as connection:
        row = connection.execute(select(users).where(users.c.name == plain_name(name))).mappings().first()
    return _user(row) if row else None


def plain_name(came: str) -> str:
    """A name as it is kept."""
    return came.strip().lower()


def add_user(store: CaseStore, name: str, called: str, role: str, password_hash: str, who: Who) -> None:
    """Somebody new. Raises `InputError` for a name that is taken or none."""
    name, called = plain_name(name), " ".join(called.split())
    if not NAME.fullmatch(name):
        raise InputError(f"{name!r} is no user's name; up to 40 small letters, digits and . _ @ - are wanted.")
    if role not in STAFF:
        raise InputError(f"{role!r} is no role; {', '.join(STAFF)} are.")
    if not called or len(called) > LONGEST_CALLED or not called.isprintable():
        raise InputError(f"What colleagues call somebody is a text of at most {LONGEST_CALLED} characters.")
    with store.engine.begin() as connection:
        taken = select(users.c.name).where((users.c.name == name) | (users.c.called == called))
        if (other := connection.scalar(taken)) is not None:
            raise InputError(f"{other} is a user's name already, or is called so. Choose another; nobody was added.")
        _insert(store, connection, name, called, role, password_hash=password_hash)
        store.note(connection, f"{ADDED}: {name}", "", who)


def change_user(store: CaseStore, name: str, action: str, who: Who, **values: object) -> None:
    """Change columns of a user, and end that user's sessions. Raises `InputError` for nobody's name."""
    name = plain_name(name)
    if values.get("role", STAFF[0]) not in STAFF:
        raise InputError(f"{values['role']!r} is no role; {', '.join(STAFF)} are.")
    with store.engine.begin() as connection:
        if connection.execute(update(users).where(users.c.name == name).values(**values)).rowcount == 0:
            raise InputError(f"No user has the name {name!r}. `hoistlore users list` shows those there are.")
        own = select(users.c.id).where(users.c.name == name).scalar_subquery()
        connection.execute(delete(sessions).where(sessions.c.user_id == own))
        store.note(connection, f"{action}: {name}", "", who)


def user_of_subject(store: CaseStore, issuer: str, subject: str, name: str, called: str, role: str) -> User:
    """Whoever the provider says that it is, as the provider calls them now; made at the first sign-in.

    Only issuer and subject say who somebody is: a name that is a password user's own is never taken over.
    """
    own = (users.c.issuer == issuer) & (users.c.subject == subject)
    with store.engine.begin() as connection:
        found = connection.execute(select(users).where(own)).mappings().first()
        if found is None:
            name, called = _free_names(connection, plain_name(name), called)
            _insert(store, connection, name, called, role, issuer=issuer, subject=subject)
            store.note(connection, f"{ADDED}: {name}", "", Who("system"))
        elif found["role"] != role:
            connection.execute(update(users).where(own).values(role=role))
            store.note(connection, f"{ROLE_CHANGED}: {found['name']}", "", Who("system"))
        return _user(connection.execute(select(users).where(own)).mappings().one())


def _free_names(connection: Connection, name: str, called: str) -> tuple[str, str]:
    """Names like these that nobody has yet."""
    more = secrets.token_hex(3)
    called = (" ".join(called.split()) if called.isprintable() else "") or name
    if not NAME.fullmatch(name) or connection.scalar(select(users.c.id).where(users.c.name == name)):
        name = f"{re.sub(r'[^a-z0-9._@-]', '', name).lstrip('._@-')[:30] or 'user'}-{more}"
    called = called[: LONGEST_CALLED - 10]
    if connection.scalar(select(users.c.id).where(users.c.called == called)):
        called = f"{called} ({more})"
    return name, called


def _insert(store: CaseStore, connection: Connection, name: str, called: str, role: str, **way_in: str | None) -> None:
    row = {"id": secrets.token_hex(8), "name": name, "called": called, "role": role, "made_ms": store.now_ms()}
    connection.execute(insert(users).values(**row, **way_in))


def _user(row) -> User:
    known = {name: row[name] for name in ("id", "name", "called", "role", "password_hash")}
    return User(**known, issuer=row["issuer"] or "", disabled=row["disabled_ms"] is not None)
