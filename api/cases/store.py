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
from api.cases.events import CLOSED, UNDO, CaseEvent, up_since
from api.cases.line import keep_line, moves_line
from api.cases.tables import UNTOLD, audit, cases, events, judged_cases

CODE_LETTERS = "ACDEFHJKMNPRTUVWXY3479"
"""Letters and digits that are not mistaken for each other when they are read out."""

CODE_LENGTH = 6
DELETE_ABANDONED = "delete abandoned"
"""How the audit log calls it when a case was deleted because its time was over."""

HELD_BACK = {"control_box": "hold back control_box", "actuator": "hold back actuator"}
CONFIRMS_AGAIN = {"control_box": "confirm control_box again", "actuator": "confirm actuator again"}
"""How it calls it when nothing of a component is confirmed any more, and when it is again."""

LONGEST_TEXT = 10_000
"""Characters of one thing said; a longer one is refused."""


class Conflict(Exception):
    """Somebody else changed the case meanwhile; `version` is what it is now."""

    def __init__(self, version: int) -> None:
        super().__init__(f"The case is at version {version} by now. Look at it as it stands, then answer again.")
        self.version = version


class StillUp(Exception):
    """Somebody is up by what was said: the case is not closed before they are down."""

    def __init__(self) -> None:
        super().__init__("Somebody is still up in this case. Bring them down and record that first, then close it.")


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
class CaseRow:
    """One case as it stands, with its events in order."""

    id: str
    code: str
    language: str
    version: int
    keep_photos: bool
    opened_ms: int
    changed_ms: int
    up_since_ms: int | None
    events: tuple[CaseEvent, ...]


CASE_COLUMNS = ("id", "code", "language", "version", "keep_photos", "opened_ms", "changed_ms", "up_since_ms")


@dataclass(frozen=True)
class CaseStore:
    """Reads and writes cases. `now_ms` is the clock; only the server's own is trusted."""

    engine: Engine
    now_ms: Callable[[], int]

    @classmethod
    def open(cls, url: str) -> "CaseStore":
        """The store at this URL. Raises `SettingsError` when it cannot be opened."""
        return cls(open_database(url), lambda: time.time_ns() // 1_000_000)

    def start(self, language: str, who: Who, first: Said, token: str | None = None) -> tuple[str, str]:
        """Open a case with its first event; its id, and the token that only its owner ever gets.

        A browser that was offline made the `token` itself; it has to be new.
        """
        token = token or secrets.token_urlsafe(24)
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
        somebody else was first, `NoSuchCase`, and `StillUp` for a closing while somebody is up.
        """
        try:
            with self.engine.begin() as connection:
                if self._bumped(connection, case_id, expected_version) is None:
                    return self._already_said(connection, case_id, expected_version, said, who)
                return self._write(connection, case_id, said, who, expected_version + 1)
        except IntegrityError as error:
            raise NoSuchCase(case_id) from error

    def say_instead(self, case_id: str, expected_version: int, taken_back: int, said: Said, who: Who) -> int:
        """Take the last `taken_back` answers back and say this in their place, all or nothing; the version after it.

        Raises `Conflict` when somebody else was first, and `NoSuchCase`.
        """
        with self.engine.begin() as connection:
            version = self._bumped(connection, case_id, expected_version)
            if version is None:
                now = connection.scalar(select(cases.c.version).where(cases.c.id == plain_id(case_id)))
                raise NoSuchCase(case_id) if now is None else Conflict(now)
            for _ in range(taken_back):
                self._write(connection, case_id, Said(UNDO, {}, said.known), who, version)
                version = None
            return self._write(connection, case_id, said, who)

    def add(self, case_id: str, said: Said, who: Who, connection: Connection) -> int:
        """Add an event that contradicts nothing, such as a photo, to whatever version there is."""
        return self._write(connection, case_id, said, who)

    def add_once(self, case_id: str, said: Said, who: Who) -> None:
        """Add what is said beside a person who is up, whatever stands in the case by now: it is never refused as stale.

        A browser that sends the same again after a lost answer names the sending in `said["sent"]`; it is taken once.
        """
        with self.engine.begin() as connection:
            own = update(cases).where(cases.c.id == plain_id(case_id))
            if connection.execute(own.values(version=cases.c.version)).rowcount == 0:  # and so the case is held
                raise NoSuchCase(case_id)
            sent = said.said.get("sent")
            if not sent or all(event.said.get("sent") != sent for event in self._events(connection, case_id)):
                self._write(connection, case_id, said, who)

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

    def up_now(self) -> list[dict]:
        """Every case in which somebody is up, without its events, who is up longest first; no limit."""
        return self._rows(cases.c.up_since_ms >= 0, cases.c.up_since_ms, None)

    def listed(self, most: int) -> list[dict]:
        """Cases without their events: everyone who is up, then so many others, the one that changed last first."""
        return self.up_now() + self._rows(cases.c.up_since_ms.is_(None), cases.c.changed_ms.desc(), most)

    def delete(self, case_id: str, who: Who) -> None:
        """Delete a case with all that is kept of it; only its lines in the audit log stay. Raises `NoSuchCase`."""
        with self.engine.begin() as connection:
            if not self.erase(connection, case_id, who, "delete"):
                raise NoSuchCase(case_id)
            connection.execute(delete(judged_cases).where(judged_cases.c.case_id == case_id))

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

    def note(self, connection: Connection, action: str, case_id: str, who: Who, reason: str = "") -> None:
        """Write one line of the audit log; `reason` where somebody gave one."""
        connection.execute(
            insert(audit).values(
                at_ms=self.now_ms(),
                role=who.role,
                actor=who.actor,
                address=who.address,
                action=action,
                case_id=case_id,
                reason=reason,
            )
        )

    def _one(self, condition, came: str) -> CaseRow:
        with reading(self.engine) as connection:
            row = connection.execute(select(cases).where(condition)).mappings().first()
            if row is None:
                raise NoSuchCase(came)
            # What was written between the two reads is left for the next look, so that version and events agree.
            said = tuple(e for e in self._events(connection, row["id"]) if e.version <= row["version"])
        return CaseRow(**{k: row[k] for k in CASE_COLUMNS}, events=said)

    def _rows(self, condition, order, most: int | None) -> list[dict]:
        columns = ("id", "code", "language", "version", "opened_ms", "changed_ms", "up_since_ms")
        wanted = select(*(cases.c[name] for name in columns)).where(condition).order_by(order, cases.c.id).limit(most)
        with reading(self.engine) as connection:
            return [dict(row) for row in connection.execute(wanted).mappings()]

    def tell_untold(self, most: int) -> int:
        """Tell anew the lines of cases that another version of this server changed; of how many, at most `most`."""
        behind = select(cases.c.id).where(UNTOLD).limit(most)
        with reading(self.engine) as connection:
            found = list(connection.scalars(behind))
        if found:
            with self.engine.begin() as connection:
                for case_id in found:
                    everything = self._events(connection, case_id)
                    keep_line(connection, case_id, everything, up_since(everything))
        return len(found)

    def _events(self, connection: Connection, case_id: str) -> tuple[CaseEvent, ...]:
        own = select(events).where(events.c.case_id == case_id).order_by(events.c.version)
        rows = connection.execute(own).mappings()
        return tuple(CaseEvent(**{k: v for k, v in row.items() if k != "case_id"}) for row in rows)

    def _write(self, connection: Connection, case_id: str, said: Said, who: Who, version: int | None = None) -> int:
        if version is None:
            version = self._bumped(connection, case_id, None)
        if version is None:
            raise NoSuchCase(case_id)
        if said.kind == CLOSED and connection.scalar(select(cases.c.up_since_ms).where(cases.c.id == case_id)):
            raise StillUp
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
        if version == 1 or moves_line(said.kind, said.said):
            everything = self._events(connection, case_id)
            keep_line(connection, case_id, everything, up_since(everything))
        elif who.role != "caregiver":
            up = (cases.c.id == case_id) & (cases.c.up_since_ms >= 0)
            connection.execute(update(cases).where(up).values(taken_up=True))
        self.note(connection, said.kind, case_id, who)
        return version

    def _bumped(self, connection: Connection, case_id: str, expected: int | None) -> int | None:
        """Raise the version by one; None when it is not the expected one. Holds the case until the transaction ends."""
        right = cases.c.id == plain_id(case_id)
        if expected is not None:
            right &= cases.c.version == expected
        # What was told of the case still holds, or is still behind by what another server's version left untold.
        one_more = {"version": cases.c.version + 1, "told_version": cases.c.told_version + 1}
        raised = update(cases).where(right).values(**one_more, changed_ms=self.now_ms())
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


def spoken_code(code: str) -> str:
    """A case's code as it is read out: in two halves."""
    return f"{code[:3]} {code[3:]}"
