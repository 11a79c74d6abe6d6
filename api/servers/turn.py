"""Which of the servers on one database does what is to be done once."""

import threading
from contextlib import suppress

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError, SQLAlchemyError


class Turn:
    """Held by one server at a time, until it ends or loses its connection; then by whichever asks next."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._holding: Connection | None = None
        self._asking = threading.Lock()

    def mine(self) -> bool:
        """Whether it is this server's turn; always where one server has the database, as SQLite."""
        if self._engine.dialect.name != "postgresql":
            return True
        with self._asking:
            try:
                if self._holding is None:
                    return self._taken()
                self._holding.execute(text("SELECT 1"))
                return True
            except DBAPIError:  # the connection broke, and with it the lock
                self.give_back()
                return False

    def give_back(self) -> None:
        """Let another server have it."""
        if self._holding is not None:
            with suppress(SQLAlchemyError):  # a broken connection holds no lock
                self._holding.execute(text("SELECT pg_advisory_unlock_all()"))
            with suppress(SQLAlchemyError):
                self._holding.invalidate()
                self._holding.close()
            self._holding = None

    def _taken(self) -> bool:
        connection = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        mine = connection.scalar(text("SELECT pg_try_advisory_lock(hashtext('hoistlore upkeep'))"))
        if mine:
            self._holding = connection
        else:
            connection.close()
        return bool(mine)
