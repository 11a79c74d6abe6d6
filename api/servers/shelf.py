"""Pictures without consent: shown for fifteen minutes, by whichever server, and in no backup."""

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from sqlalchemy import Connection, Engine, delete, func, select
from sqlalchemy.dialects.postgresql import insert

from api.cases.database import reading
from api.servers.tables import shelf

SHELF_MS = 15 * 60 * 1000
"""How long a picture without consent is shown."""

MEMORY_BYTES = 64 * 2**20
DATABASE_BYTES = 1024 * 2**20
"""The newest pictures of so many bytes; older ones go before their time."""


class Shelf(Protocol):
    """Holds each picture for `SHELF_MS`."""

    def put(self, connection: Connection, case_id: str, name: str, picture: bytes, now_ms: int) -> None:
        """Hold a picture of a case. `connection`: of the transaction that it belongs to."""

    def get(self, name: str, now_ms: int) -> bytes | None:
        """The picture, while it is held."""

    def drop(self, names: Sequence[str]) -> None:
        """Forget these now."""

    def drop_old(self, now_ms: int) -> None:
        """Forget what is too old or too much."""


def shelf_of(engine: Engine) -> Shelf:
    """The shelf of the servers on this database."""
    return SharedShelf(engine) if engine.dialect.name == "postgresql" else OwnShelf()


@dataclass
class OwnShelf:
    """In the memory of the one server, never written."""

    _held: OrderedDict[str, tuple[int, bytes]] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def put(self, connection: Connection, case_id: str, name: str, picture: bytes, now_ms: int) -> None:
        """Hold a picture, and drop what is too old or too much."""
        with self._lock:
            self._held[name] = (now_ms + SHELF_MS, picture)
            self._held.move_to_end(name)
            while sum(len(p) for _, p in self._held.values()) > MEMORY_BYTES:
                self._held.popitem(last=False)
        self.drop_old(now_ms)

    def get(self, name: str, now_ms: int) -> bytes | None:
        """The picture, while it is held."""
        self.drop_old(now_ms)
        with self._lock:
            return self._held.get(name, (0, None))[1]

    def drop(self, names: Sequence[str]) -> None:
        """Forget these now."""
        with self._lock:
            for name in names:
                self._held.pop(name, None)

    def drop_old(self, now_ms: int) -> None:
        """Forget what is too old."""
        with self._lock:
            for name in [p for p, (until, _) in self._held.items() if until < now_ms]:
                del self._held[name]


@dataclass(frozen=True)
class SharedShelf:
    """In an unlogged table of PostgreSQL: gone after a crash, in no log, and in no dump that leaves such tables out."""

    engine: Engine

    def put(self, connection: Connection, case_id: str, name: str, picture: bytes, now_ms: int) -> None:
        """Hold a picture; of one that is held already for longer."""
        held = {"until_ms": now_ms + SHELF_MS, "picture": picture}
        row = insert(shelf).values(name=name, case_id=case_id, **held)
        connection.execute(row.on_conflict_do_update(index_elements=[shelf.c.name], set_=held))

    def get(self, name: str, now_ms: int) -> bytes | None:
        """The picture, while it is held."""
        held = (shelf.c.name == name) & (shelf.c.until_ms >= now_ms)
        with reading(self.engine) as connection:
            return connection.scalar(select(shelf.c.picture).where(held))

    def drop(self, names: Sequence[str]) -> None:
        """Forget these now."""
        with self.engine.begin() as connection:
            connection.execute(delete(shelf).where(shelf.c.name.in_(names)))

    def drop_old(self, now_ms: int) -> None:
        """Forget what is too old or too much, and have its room overwritten."""
        newest_first = func.sum(func.length(shelf.c.picture)).over(order_by=shelf.c.until_ms.desc())
        summed = select(shelf.c.name, newest_first.label("bytes")).subquery()
        too_much = select(summed.c.name).where(summed.c.bytes > DATABASE_BYTES)
        with self.engine.begin() as connection:
            over = (shelf.c.until_ms < now_ms) | shelf.c.name.in_(too_much)
            gone = connection.execute(delete(shelf).where(over)).rowcount
        if gone:
            with self.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.exec_driver_sql("VACUUM shelf")
