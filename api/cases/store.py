"""The cases: every change is an event, written whole and on disk before it is acknowledged, or refused."""

import hashlib
import re
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from api.cases.database import open_database, reading
from api.cases.tables import audit, cases, events

CODE_LETTERS = "ACDEFHJKMNPRTUVWXY3479"
"""Letters and digits that are not mistaken for each other when they are read out."""

CODE_LENGTH = 6
DELETE_ABANDONED = "delete abandoned"
"""How the audit log calls it when a case was deleted because its time was over."""

LONGEST_TEXT = 10_000
"""Characters of one thing said; a longer one is refused."""


class Conflict(Exception):
    """Somebody else changed the case meanwhile; `version` is what it is now."""

    def __init__(self, version: int) -> None:
        super().__init__(f"The case is at version {version} by now. Look at it as it stands, then answer again.")
        self.version = version


class NoSuchCase(Exception):
    """No case has this token, id or code; it may have been deleted."""


@dataclass(frozen=True)
class Who:
    """Who says something: a role, a name as given at sign-in, and the address it came from."""

    role: str
    actor: str = ""
    address: str = ""


@dataclass(frozen=True)
class Said:
    """One thing to record: its kind, what was said, and what was known to whoever said it."""

    kind: str
    said: Mapping[str, object]
    known: Mapping[str, object]


@dataclass(frozen=True)
class CaseEvent:
    """One event as it is kept."""

    version: int
    at_ms: int
    role: str
    actor: str
    kind: str
    said: Mapping[str, object]
    known: Mapping[str, object]


@dataclass(frozen=True)
class CaseRow:
    """One case as it stands, with its events in order."""

    id: str
    code: str
    language: str
    version: int
    keep_photos: bool
    opened_ms: int
    changed_ms: int
    events: tuple[CaseEvent, ...]


@dataclass(frozen=True)
class CaseStore:
    """Reads and writes cases. `now_ms` is the clock; only the server's own is trusted."""

    engine: Engine
    now_ms: Callable[[], int]

    @classmethod
    def open(cls, url: str) -> "CaseStore":
        """The store at this URL. Raises `SettingsError` when it cannot be opened."""
        return cls(open_database(url), lambda: time.time_ns() // 1_000_000)

    def start(self, language: str, who: Who, first: Said) -> tuple[str, str]:
        """Open a case with its first event; its id, and the token that only its owner ever gets."""
        token = secrets.token_urlsafe(24)
        row = {
            "id": secrets.token_hex(8),
            "owner_hash": hashed(token),
            "language": language,
            "version": 0,
            "keep_photos": False,
            "opened_ms": self.now_ms(),
            "changed_ms": self.now_ms(),
        }
        while True:
            code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
            try:
                with self.engine.begin() as connection:
                    connection.execute(insert(cases).values(code=code, **row))
                    self._write(connection, row["id"], first, who)
                return row["id"], token
            except IntegrityError:  # a code is short, so that one may be taken; the case is tried again with another
                if not self._code_taken(code):
                    raise

    def say(self, case_id: str, expected_version: int, said: Said, who: Who) -> int:
        """Add an event to the version that was seen; the version after it.

        The same answer to the same version again, as from a double tap, is taken once. Raises `Conflict` when
        somebody else was first, `NoSuchCase`.
        """
        try:
            with self.engine.begin() as connection:
                if self._bumped(connection, case_id, expected_version) is None:
                    return self._already_said(connection, case_id, expected_version, said, who)
                return self._write(connection, case_id, said, who, expected_version + 1)
        except IntegrityError as error:
            raise NoSuchCase(case_id) from error

    def add(self, case_id: str, said: Said, who: Who, connection: Connection) -> int:
        """Add an event that contradicts nothing, such as a photo, to whatever version there is."""
        return self._write(connection, case_id, said, who)

    def by_token(self, token: str) -> CaseRow:
        """The caregiver's own case. Raises `NoSuchCase`."""
        return self._one(cases.c.owner_hash == hashed(token), token)

    def by_id(self, case_id: str) -> CaseRow:
        """A case by its id. Raises `NoSuchCase`."""
        return self._one(cases.c.id == plain_id(case_id), case_id)

    def by_code(self, code: str) -> CaseRow:
        """A case by the code that was read out, written in any way. Raises `NoSuchCase`."""
        plain = "".join(c for c in code.upper() if c.isalnum())
        return self._one(cases.c.code == plain, code)

    def version(self, case_id: str) -> int:
        """The version as it is now. Raises `NoSuchCase`."""
        with reading(self.engine) as connection:
            found = connection.scalar(select(cases.c.version).where(cases.c.id == plain_id(case_id)))
        if found is None:
            raise NoSuchCase(case_id)
        return found

    def newest(self, most: int) -> list[dict]:
        """Cases without their events, the one that changed last first."""
        shown = (cases.c.id, cases.c.code, cases.c.language, cases.c.version, cases.c.opened_ms, cases.c.changed_ms)
        with reading(self.engine) as connection:
            rows = connection.execute(select(*shown).order_by(cases.c.changed_ms.desc()).limit(most))
            return [dict(row) for row in rows.mappings()]

    def delete(self, case_id: str, who: Who) -> None:
        """Delete a case with all that is kept of it; only its lines in the audit log stay. Raises `NoSuchCase`."""
        with self.engine.begin() as connection:
            if not self.erase(connection, case_id, who, "delete"):
                raise NoSuchCase(case_id)

    def erase(self, connection: Connection, case_id: str, who: Who, action: str, version: int | None = None) -> bool:
        """Delete a case, if it is there and still at this version; whether it was.

        Its events, photos and links go with it. Its lines in the audit log stay, without the caregiver's address.
        """
        here = cases.c.id == plain_id(case_id)
        if version is not None:
            here &= cases.c.version == version
        if connection.execute(delete(cases).where(here)).rowcount == 0:
            return False
        own = (audit.c.case_id == case_id) & (audit.c.role == "caregiver")
        connection.execute(update(audit).where(own).values(address=""))
        self.note(connection, action, case_id, who)
        return True

    def note(self, connection: Connection, action: str, case_id: str, who: Who) -> None:
        """Write one line of the audit log."""
        connection.execute(
            insert(audit).values(
                at_ms=self.now_ms(),
                role=who.role,
                actor=who.actor,
                address=who.address,
                action=action,
                case_id=case_id,
            )
        )

    def _one(self, condition, came: str) -> CaseRow:
        with reading(self.engine) as connection:
            row = connection.execute(select(cases).where(condition)).mappings().first()
            if row is None:
                raise NoSuchCase(came)
            # What was written between the two reads is left for the next look, so that version and events agree.
            own = (events.c.case_id == row["id"]) & (events.c.version <= row["version"])
            rows = connection.execute(select(events).where(own).order_by(events.c.version)).mappings()
            said = tuple(CaseEvent(**{k: v for k, v in r.items() if k != "case_id"}) for r in rows)
        return CaseRow(**{k: v for k, v in row.items() if k != "owner_hash"}, events=said)

    def _write(self, connection: Connection, case_id: str, said: Said, who: Who, version: int | None = None) -> int:
        if version is None:
            version = self._bumped(connection, case_id, None)
        if version is None:
            raise NoSuchCase(case_id)
        connection.execute(
            insert(events).values(
                case_id=case_id,
                version=version,
                at_ms=self.now_ms(),
                role=who.role,
                actor=who.actor,
                kind=said.kind,
                said=dict(said.said),
                known=dict(said.known),
            )
        )
        self.note(connection, said.kind, case_id, who)
        return version

    def _bumped(self, connection: Connection, case_id: str, expected: int | None) -> int | None:
        """Raise the version by one; None when it is not the expected one. Holds the case until the transaction ends."""
        right = cases.c.id == plain_id(case_id)
        if expected is not None:
            right &= cases.c.version == expected
        raised = update(cases).where(right).values(version=cases.c.version + 1, changed_ms=self.now_ms())
        return connection.scalar(raised.returning(cases.c.version))

    def _already_said(self, connection: Connection, case_id: str, expected: int, said: Said, who: Who) -> int:
        now = connection.scalar(select(cases.c.version).where(cases.c.id == case_id))
        if now is None:
            raise NoSuchCase(case_id)
        following = select(events).where((events.c.case_id == case_id) & (events.c.version == expected + 1))
        row = connection.execute(following).mappings().first()
        mine = (said.kind, dict(said.said), who.role, who.actor)
        if row is None or (row["kind"], row["said"], row["role"], row["actor"]) != mine:
            raise Conflict(now)
        return now

    def _code_taken(self, code: str) -> bool:
        with reading(self.engine) as connection:
            return connection.scalar(select(cases.c.id).where(cases.c.code == code)) is not None


def plain_id(came: str) -> str:
    """An id as we make them, and nothing that a database could stumble over. Raises `NoSuchCase`."""
    if not re.fullmatch("[0-9a-f]{16,24}", came):
        raise NoSuchCase(came)
    return came


def hashed(token: str) -> str:
    """What is kept of a token: who reads the database learns no token from it."""
    return hashlib.sha256(token.encode()).hexdigest()
