"""The application with the toy model, in process and behind a real socket."""

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import pytest
import uvicorn
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.database import open_database
from api.cases.store import CaseStore
from api.identification import Resources
from api.people import passwords
from api.settings import Settings
from tests.api.described import Described
from tests.support.postgres_server import Postgres, running_postgres


@pytest.fixture(scope="session")
def toy_settings(toy_model_dir: Path, tmp_path_factory: pytest.TempPathFactory) -> Settings:
    database = f"sqlite:///{tmp_path_factory.mktemp('cases') / 'cases.db'}"
    return Settings(
        weights=str(toy_model_dir), database=database, requests_per_minute=0, requests_per_minute_per_case=0
    )


@pytest.fixture(scope="session")
def without_cases(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database without cases, brought up to date: a test that begins with a copy has no need to do it again."""
    path = tmp_path_factory.mktemp("without") / "cases.db"
    open_database(f"sqlite:///{path}").dispose()
    return path


@pytest.fixture
def own_settings(toy_settings: Settings, without_cases: Path, tmp_path: Path) -> Callable[..., Settings]:
    """The toy settings with a database of this test's own, and what else is given by name."""
    shutil.copy(without_cases, tmp_path / "cases.db")
    return partial(replace, toy_settings, database=f"sqlite:///{tmp_path / 'cases.db'}")


@pytest.fixture(scope="session", autouse=True)
def quick_hashes() -> Iterator[None]:
    """Passwords are hashed at the least price; the price that is asked has a test of its own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "PasswordHasher", partial(PasswordHasher, time_cost=1, memory_cost=8, parallelism=1))
        yield


@pytest.fixture(scope="session")
def toy_resources(toy_settings: Settings) -> Resources:
    return Resources.load(toy_settings)


@pytest.fixture(scope="session")
def described(toy_settings: Settings, toy_resources: Resources) -> Described:
    """The description of the API, with every route: made once, the same for all settings with tokens."""
    return Described(create_app(toy_settings, toy_resources).openapi())


@pytest.fixture
def client(toy_settings: Settings, toy_resources: Resources, described: Described) -> Iterator[TestClient]:
    """A client whose answers are all held against the description of the API."""
    with TestClient(create_app(toy_settings, toy_resources), raise_server_exceptions=False) as client:
        described.watch(client)
        yield client


@dataclass(frozen=True)
class Served:
    """An application behind a real socket."""

    url: str
    app: FastAPI


@pytest.fixture
def served(toy_resources: Resources) -> Iterator[Callable[..., Served]]:
    """Start a real server with these settings."""
    servers: list[tuple[uvicorn.Server, threading.Thread]] = []

    def start(settings: Settings, port: int = 0) -> Served:
        app = create_app(settings, toy_resources)
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        servers.append((server, thread))
        deadline = time.monotonic() + 20
        while not server.started:
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.01)
        return Served(f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", app)

    yield start
    for server, thread in servers:
        server.should_exit = True
        thread.join(10)


@pytest.fixture(params=["sqlite", "postgresql"])
def case_store(request: pytest.FixtureRequest, without_cases: Path, tmp_path: Path) -> Iterator[CaseStore]:
    """An empty store, on each of the two databases that are promised."""
    if request.param == "sqlite":
        shutil.copy(without_cases, tmp_path / "cases.db")
        store = CaseStore.open(f"sqlite:///{tmp_path / 'cases.db'}")
    else:
        store = CaseStore.open(request.getfixturevalue("postgres").case_database())
    yield store
    store.engine.dispose()


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """A PostgreSQL server of our own, gone when the tests are over."""
    with running_postgres() as server:
        yield server
