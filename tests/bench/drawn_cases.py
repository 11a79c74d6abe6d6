"""Very many drawn cases, written past the API: by COPY into PostgreSQL, thousands in a statement into SQLite.

Above `MOST_DRAWN` the database copies the drawn ones under other ids, codes and times; so a lift's numbers are found in
as many cases as there are copies.
"""

import json
import random
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import Connection, Table, text

from api.cases.events import CLOSED, CaseEvent
from api.cases.learning import LABEL
from api.cases.line import line_of, words_of
from api.cases.store import CODE_LETTERS, CaseRow, CaseStore
from api.cases.summary import closed_case
from api.cases.tables import case_labels, case_words, cases, events

TOGETHER = 5_000
MOST_DRAWN = 5_000
MINUTE_MS = 60_000
SITES = [f"{place} {kind} {floor}" for place in ("North", "South", "Elm", "Oak", "River") for kind in ("House", "Ward")
         for floor in range(1, 30)]  # fmt: skip
NAMES = ["Ana", "Bo", "Cleo", "Dan", "Eve", "Finn", "Gil", "Hana", "Ivo", "Jo", "Kim", "Lou", "Max", "Noa"]

CASE_COLUMNS = ("id", "code", "owner_hash", "language", "version", "keep_photos", "opened_ms", "changed_ms")
CASE_COLUMNS += ("told_version", "judged_version", "standing", "status", "occupied", "symptom", "photo_count")
CASE_COLUMNS += ("taken_up", "assignee", "site", "asset")
WORD_COLUMNS = ("word", "case_id")
LABEL_COLUMNS = ("case_id", *LABEL)
EVENT_COLUMNS = ("case_id", "version", "at_ms", "role", "actor", "kind", "said", "known")


def filled(store: CaseStore, count: int, rng: random.Random, judged: bool = True) -> None:
    """Put drawn cases into an empty database. `judged`: closed ones are labelled already.

    More than `MOST_DRAWN` are a whole multiple of it.
    """
    drawn = min(count, MOST_DRAWN)
    with store.engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA cache_size=-500000")
        _draw(connection, drawn, rng, store.now_ms(), judged)
        connection.commit()
        if count > drawn:
            _copy(connection, round(count / drawn), rng)
            connection.commit()
    with store.engine.begin() as connection:
        connection.execute(text("ANALYZE"))
    store.engine.dispose()  # no connection keeps the large cache


def _draw(connection: Connection, count: int, rng: random.Random, now_ms: int, judged: bool) -> None:
    for first in range(0, count, TOGETHER):
        rows: dict[str, list[tuple]] = {"cases": [], "events": [], "words": [], "labels": []}
        for number in range(first, min(first + TOGETHER, count)):
            _add(rows, number, drawn_events(now_ms - int(rng.random() * 180 * 24 * 60) * MINUTE_MS, rng), judged)
        _write(connection, cases, CASE_COLUMNS, rows["cases"])
        _write(connection, events, EVENT_COLUMNS, rows["events"])
        _write(connection, case_words, WORD_COLUMNS, sorted(rows["words"]))
        _write(connection, case_labels, LABEL_COLUMNS, rows["labels"])


def _copy(connection: Connection, times: int, rng: random.Random) -> None:
    """Have every case as many times, under other ids, codes and times: sorted, and indexed afterwards."""
    if connection.dialect.name == "postgresql":  # references hold as they are, and nobody listens
        for setting in ("session_replication_role = replica", "work_mem = '512MB'", "maintenance_work_mem = '512MB'"):
            connection.exec_driver_sql(f"SET {setting}")
    connection.exec_driver_sql("CREATE TEMPORARY TABLE copies (prefix VARCHAR(4), tail VARCHAR(2), sooner BIGINT)")
    for n in range(1, times):
        connection.exec_driver_sql(
            f"INSERT INTO copies VALUES ('{n:04x}', '{n:02x}', {rng.randrange(30 * 86_400_000)})"
        )
    other = dict.fromkeys(("opened_ms", "changed_ms", "at_ms"), "{} - sooner") | {"code": "{} || tail"}
    other |= dict.fromkeys(("id", "case_id", "owner_hash"), "prefix || substr({}, 5)")
    tables = ((cases, CASE_COLUMNS), (events, EVENT_COLUMNS), (case_words, WORD_COLUMNS), (case_labels, LABEL_COLUMNS))
    for table, columns in tables:
        for index in table.indexes:
            index.drop(connection)
        wanted = ", ".join(other.get(name, "{}").format(f"drawn.{name}") for name in columns)
        ordered = ", ".join(str(columns.index(column.name) + 1) for column in table.primary_key)
        connection.exec_driver_sql(f"CREATE TEMPORARY TABLE drawn AS SELECT * FROM {table.name}")
        connection.exec_driver_sql(
            f"INSERT INTO {table.name} ({', '.join(columns)}) SELECT {wanted} FROM drawn, copies ORDER BY {ordered}"
        )
        connection.exec_driver_sql("DROP TABLE drawn")
        for index in table.indexes:
            index.create(connection)


def _add(rows: dict[str, list[tuple]], number: int, happened: list[CaseEvent], judged: bool) -> None:
    """One case, its events, its words and what it teaches, as the server would have written them."""
    id_, code, version = f"{number:016x}", _code(number), len(happened)
    opened, changed = happened[0].at_ms - MINUTE_MS, happened[-1].at_ms
    label = closed_case(CaseRow(id_, code, "en", version, False, opened, changed, None, tuple(happened)))
    own = asdict(line_of(happened, None)) | {
        "id": id_, "code": code, "owner_hash": f"{number:064x}", "language": "en", "version": version,
        "keep_photos": False, "opened_ms": opened, "changed_ms": changed, "told_version": version,
        "judged_version": version if judged and label else 0,
    }  # fmt: skip
    rows["cases"].append(tuple(own[name] for name in CASE_COLUMNS))
    rows["events"] += [
        (id_, e.version, e.at_ms, e.role, e.actor, e.kind, json.dumps(e.said), json.dumps(e.known)) for e in happened
    ]
    rows["words"] += [(word, id_) for word in words_of(code, happened)]
    if judged and label:
        rows["labels"].append((id_, *(getattr(label, name) for name in LABEL)))


def _write(connection: Connection, table: Table, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> None:
    driver = connection.connection.driver_connection
    assert driver is not None
    if connection.dialect.name == "sqlite":
        places = ", ".join("?" * len(columns))
        driver.executemany(f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES ({places})", rows)
        return
    connection.execute(text("SELECT 1"))  # so that the transaction is begun, and committed, by SQLAlchemy
    with driver.cursor() as cursor, cursor.copy(f"COPY {table.name} ({', '.join(columns)}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)


def drawn_events(opened_ms: int, rng: random.Random) -> list[CaseEvent]:
    """What was said in one case: who calls, the trouble, a few steps, and in nine of ten how it was closed."""
    name, site = rng.choice(NAMES), rng.choice(SITES)
    about = {"caller": f"{rng.choice(NAMES)} {rng.choice(NAMES)}son", "phone": f"+1 555 {rng.randrange(10**7):07d}"}
    about |= {"site": site, "serial": f"SN{rng.randrange(10**8):08d}"}
    told: list[tuple[str, dict[str, str]]] = [
        ("opened", {"id": "", "answer": ""}),
        ("person_in_sling", {"id": "person_in_sling", "answer": "no"}),
        ("danger_signs", {"id": "danger_signs", "answer": "none"}),
        ("about", about),
        ("asset", {"id": "asset", "answer": f"L-{rng.randrange(10**5):05d}"}),
        ("symptom", {"id": "symptom", "answer": rng.choice(["dead", "weak", "up_only", "down_only"])}),
        ("note", {"id": "", "answer": f"calls back at {rng.randrange(24)} o'clock, door {rng.randrange(400)}"}),
        ("assigned", {"id": "", "answer": name}),
    ]
    if rng.random() < 0.9:
        told.append((CLOSED, {"id": "in_service", "answer": "pack_worn", "proof": "mended"}))
    return [
        CaseEvent(n, opened_ms + n * MINUTE_MS, "agent", name, kind, said, {}) for n, (kind, said) in enumerate(told, 1)
    ]


def _code(number: int) -> str:
    letters = []
    for _ in range(6):
        number, place = divmod(number, len(CODE_LETTERS))
        letters.append(CODE_LETTERS[place])
    return "".join(reversed(letters))
