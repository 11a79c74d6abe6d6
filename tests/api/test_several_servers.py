"""Two servers on one PostgreSQL: neither holds in its memory what the other would have to know."""

import asyncio
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import func, select, text
from sqlalchemy.exc import OperationalError

from api.app import create_app
from api.cases.database import open_database, reading
from api.cases.learned.consent import of_case, withdraw
from api.cases.photos import add_photo, picture_of
from api.cases.store import CaseStore, Said, Who
from api.identification import NamedPhoto, Resources
from api.servers.rate import SharedRate, forget_idle
from api.servers.shelf import SHELF_MS, SharedShelf, shelf_of
from api.servers.tables import rates, shelf
from api.servers.turn import Turn
from api.settings import Settings
from api.state import AppState
from api.upkeep import kept_up
from tests.support.postgres_server import Postgres
from tests.support.toy_networks import blob_photo, encoded

ANA = Who("agent", "Ana")
CAREGIVER = Who("caregiver")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
CLOSING = Said("closed", {"id": "in_service", "answer": "fuse_blown", "proof": "measured"}, {})
PHOTO = encoded(blob_photo(("control_box", (0.3, 0.4), 0.3, {"black": "above"})))


@pytest.fixture(scope="module")
def servers(postgres: Postgres, toy_settings: Settings, toy_resources: Resources) -> Iterator[list[TestClient]]:
    settings = replace(toy_settings, database=postgres.case_database(), requests_per_minute=4)
    with (
        TestClient(create_app(settings, toy_resources)) as first,
        TestClient(create_app(settings, toy_resources)) as second,
    ):
        yield [first, second]


@pytest.fixture
def states(servers: list[TestClient]) -> list[AppState]:
    return [client.app.state for client in servers]


def comes(true: Callable[[], bool], told: str) -> None:
    deadline = time.monotonic() + 30
    while not true():
        assert time.monotonic() < deadline, told
        time.sleep(0.02)


def photographed(state: AppState, learn: bool = False) -> tuple[str, str]:
    """A case with one photo without consent to keep it; the ids of both."""
    case_id, _ = state.cases.start("en", CAREGIVER, NOBODY_UP)
    photo = NamedPhoto("a.jpg", lambda: PHOTO)
    return case_id, add_photo(state.cases, state.shelf, case_id, photo, 0, state.loaded, CAREGIVER, learn)


def held(state: AppState) -> int:
    with reading(state.cases.engine) as connection:
        return connection.scalar(select(func.count()).select_from(shelf))


def test_a_picture_without_consent_is_shown_by_every_server_and_by_none_after_its_time(states) -> None:
    first, second = states
    case_id, photo_id = photographed(first)
    shown = picture_of(second.cases, second.shelf, case_id, photo_id)
    assert shown and shown == picture_of(first.cases, first.shelf, case_id, photo_id)
    for state in states:
        later = replace(state.cases, now_ms=lambda: first.cases.now_ms() + SHELF_MS + 1000)
        assert picture_of(later, state.shelf, case_id, photo_id) is None
    second.shelf.drop_old(first.cases.now_ms() + SHELF_MS + 1000)
    assert held(first) == 0 and picture_of(first.cases, first.shelf, case_id, photo_id) is None


def test_it_goes_with_its_case_and_when_somebody_takes_it_back(states, tmp_path) -> None:
    first, second = states
    case_id, _ = photographed(first)
    second.cases.delete(case_id, ANA)
    assert held(first) == 0
    case_id, photo_id = photographed(first, learn=True)
    withdraw(second.cases, second.shelf, of_case(case_id), CAREGIVER, tmp_path)
    assert held(first) == 0 and picture_of(first.cases, first.shelf, case_id, photo_id) is None


def test_a_piece_of_a_picture_is_shown_by_every_server_and_goes_with_its_case(states) -> None:
    """Such as a line of a rating plate, which is no photo of the case."""
    first, second = states
    case_id, _ = first.cases.start("en", CAREGIVER, NOBODY_UP)
    name = f"{case_id} 0123456789abcdef"
    with first.cases.engine.begin() as connection:
        first.shelf.put(connection, case_id, name, b"a line", first.cases.now_ms())
    assert second.shelf.get(name, second.cases.now_ms()) == b"a line"
    second.cases.delete(case_id, ANA)
    assert held(first) == 0


def test_the_oldest_pictures_go_first_where_they_are_too_many(states, monkeypatch) -> None:
    first, second = states
    (_, old), (case_id, new) = photographed(first), photographed(first)
    with first.cases.engine.begin() as connection:
        connection.execute(shelf.update().where(shelf.c.name == old).values(until_ms=shelf.c.until_ms - 1000))
        size = connection.scalar(select(func.length(shelf.c.picture)).where(shelf.c.name == new))
    monkeypatch.setattr("api.servers.shelf.DATABASE_BYTES", size)
    second.shelf.drop_old(first.cases.now_ms())
    assert held(first) == 1 and picture_of(first.cases, first.shelf, case_id, new)


def test_it_is_in_no_log_of_the_database_and_on_sqlite_in_memory_alone(states, case_store: CaseStore) -> None:
    wanted = text("SELECT relname FROM pg_class WHERE relpersistence = 'u' AND relkind = 'r' ORDER BY relname")
    with reading(states[0].cases.engine) as connection:
        assert connection.scalars(wanted).all() == ["rates", "shelf"]
    shared = case_store.engine.dialect.name == "postgresql"
    assert isinstance(shelf_of(case_store.engine), SharedShelf) == shared


def test_requests_are_counted_together(servers: list[TestClient]) -> None:
    ask = [client.get("/en/c/none").status_code for client in (*servers, *servers)]
    assert ask == [404] * 4
    refused = [client.get("/v1/cases/none") for client in servers]
    assert [answer.status_code for answer in refused] == [429, 429]
    assert all(1 <= int(answer.headers["retry-after"]) <= 15 for answer in refused)


def test_who_asks_for_nothing_is_forgotten(states) -> None:
    engine, now = states[0].cases.engine, 10**12
    SharedRate(engine, "of test", 5, lambda: now).take("192.0.2.1")
    with reading(engine) as connection:
        assert not connection.scalars(select(rates.c.key).where(rates.c.key.contains("192.0.2.1"))).all()
    forget_idle(engine, now + 60_001)
    with reading(engine) as connection:
        assert now not in connection.scalars(select(rates.c.counted_ms)).all()


def test_a_case_that_one_server_closes_moves_the_rates_of_the_other(states) -> None:
    first, second = states
    before = second.learning.cases
    case_id, _ = first.cases.start("en", ANA, NOBODY_UP)
    first.cases.say(case_id, 1, CLOSING, ANA)
    first.learn()
    comes(lambda: second.learning.cases == before + 1, "the other server never heard of it")
    assert second.resources.catalogue.faults == first.resources.catalogue.faults
    second.cases.delete(case_id, ANA)
    comes(lambda: first.learning.cases == second.learning.cases == before, "a deleted case still counts")


def test_one_server_does_what_is_done_once_until_it_ends_or_loses_its_connection(postgres: Postgres) -> None:
    url = postgres.new_database()
    first, second = (Turn(open_database(url)) for _ in range(2))
    assert [first.mine(), second.mine(), first.mine(), second.mine()] == [True, False, True, False]
    first.give_back()
    assert [second.mine(), first.mine()] == [True, False]
    with open_database(url).begin() as connection:
        connection.execute(
            text(
                "SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory' AND database = "
                "(SELECT oid FROM pg_database WHERE datname = current_database())"
            )  # fmt: skip
        )
    assert second.mine() is False
    comes(first.mine, "nobody takes over")
    first.give_back()


def test_sqlite_has_one_server(tmp_path) -> None:
    assert Turn(open_database(f"sqlite:///{tmp_path / 'cases.db'}")).mine()


@pytest.mark.anyio
async def test_what_a_server_does_beside_answering_outlives_a_moment_without_the_database(monkeypatch) -> None:
    monkeypatch.setattr("api.upkeep.AGAIN_S", 0)
    done: list[str] = []

    async def work() -> None:
        done.append("begun")
        if len(done) < 3:
            raise OperationalError("SELECT 1", {}, Exception("the server closed the connection"))
        raise asyncio.CancelledError

    with pytest.raises(asyncio.CancelledError):
        await kept_up(work)
    assert len(done) == 3
