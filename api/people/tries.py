"""How often somebody may try to sign in: counted in the database, since several servers may share it."""

import math

from sqlalchemy import case, delete, select, update

from api.cases.database import INSERT
from api.cases.store import CaseStore, hashed
from api.cases.tables import sign_in_tries
from api.http.slots import TooManyRequests

OF_ADDRESS, OF_ADDRESS_MS = 10, 60_000
OF_NAME, OF_NAME_MS = 20, 15 * 60_000
"""Tries that failed, in how long. A password of 15 characters is not guessed at these rates."""


def count_try(store: CaseStore, address: str, name: str) -> None:
    """Count a try before it is looked at; `forget_tries` takes it back. Raises `TooManyRequests`."""
    _count(store, f"address {address}", OF_ADDRESS, OF_ADDRESS_MS)
    if name:
        _count(store, f"name {name}", OF_NAME, OF_NAME_MS)


def forget_tries(store: CaseStore, address: str, name: str) -> None:
    """Whoever came in guessed nothing: their name's count begins anew, and their address has one try less.

    The address keeps the others: nobody guesses at colleagues and clears that by signing in themselves.
    """
    key, tries = sign_in_tries.c.key, sign_in_tries.c.tries
    mine = (key == hashed(f"address {address}")) & (tries > 0)
    with store.engine.begin() as connection:
        connection.execute(update(sign_in_tries).where(mine).values(tries=tries - 1))
        connection.execute(delete(sign_in_tries).where(key == hashed(f"name {name}")))


def _count(store: CaseStore, what: str, most: int, within_ms: int) -> None:
    """One statement counts and reads, so that tries at the same time cannot pass each other."""
    now, since, tries = store.now_ms(), sign_in_tries.c.since_ms, sign_in_tries.c.tries
    over = since <= now - within_ms
    with store.engine.begin() as connection:
        first = INSERT[connection.dialect.name](sign_in_tries).values(key=hashed(what), since_ms=now, tries=1)
        again = {"since_ms": case((over, now), else_=since), "tries": case((over, 1), else_=tries + 1)}
        connection.execute(first.on_conflict_do_update(index_elements=[sign_in_tries.c.key], set_=again))
        began, counted = connection.execute(select(since, tries).where(sign_in_tries.c.key == hashed(what))).one()
        connection.execute(delete(sign_in_tries).where(since <= now - OF_NAME_MS))
    if counted > most:
        raise TooManyRequests(max(1, math.ceil((began + within_ms - now) / 1000)))
