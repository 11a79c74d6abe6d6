"""How long the staff's pages take with very many cases in the database.

Run: `python -m tests.bench.many_cases --cases 100000 --seed 1 [--database URL] [--pages] [--unjudged]`. The cases are
drawn: who calls, where from, which lift, what is wrong, and how far it went; most are closed. A database that holds
cases already is measured as it is, so that one can be measured several times. Then the queue's questions to the
database are timed one after the other; with `--pages` also how long the application takes to start, and an agent's
requests to it. What a closing teaches is learned after it was answered, and timed apart; so are answers that are given
meanwhile. `--unjudged`: no closed case is judged and labelled yet, as after an upgrade. Processor time of this process
stands beside the time on the clock, which says more where others work on the same machine; PostgreSQL's is not in it.
"""

import argparse
import platform
import random
import re
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import numpy as np
from fastapi.testclient import TestClient
from sqlalchemy import func, select

from api.app import create_app
from api.cases.database import reading
from api.cases.queue import Wanted, queue_page
from api.cases.store import CaseStore
from api.cases.tables import cases
from api.identification import Resources
from api.settings import Settings
from tests.bench.drawn_cases import MINUTE_MS, filled
from tests.support.toy_networks import write_model

TOKEN = "a token for nothing but this measurement"


def main() -> None:
    """Print processor, versions and percentiles of each kind of request."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--pages", action="store_true")
    parser.add_argument("--unjudged", action="store_true")
    parser.add_argument("--database", default="", help="left out: SQLite in a folder")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = arguments.database or f"sqlite:///{folder}/cases.db"
        rng = random.Random(arguments.seed)
        store = CaseStore.open(url)
        started = time.perf_counter()
        if not _cases(store):
            filled(store, arguments.cases, rng, judged=not arguments.unjudged)
            print(f"filled in {time.perf_counter() - started:.0f} s")
        print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}, {url.split(':')[0]}")
        print(f"{_cases(store)} cases", flush=True)
        for name, wanted in asked_of_the_queue(rng).items():
            _row(
                f"queue: {name}",
                [_taken(lambda wanted=wanted: queue_page(store, *wanted())) for _ in range(arguments.runs)],
            )
        if not arguments.pages:
            return
        model = write_model(Path(folder) / "model")
        limits = {"requests_per_minute": 0, "requests_per_minute_per_case": 0}
        settings = Settings(weights=str(model), database=url, agent_token=TOKEN, **limits)
        resources = Resources.load(settings)
        _row("start, catalogue and networks apart", [_taken(lambda: create_app(settings, resources)) for _ in range(3)])
        app = create_app(settings, resources)
        learn, app.state.learn = app.state.learn, lambda: None
        with TestClient(app) as client:
            timed(client, arguments.runs, rng, learn)


def _cases(store: CaseStore) -> int:
    with reading(store.engine) as connection:
        return connection.scalar(select(func.count()).select_from(cases)) or 0


def asked_of_the_queue(rng: random.Random) -> dict[str, Callable[[], tuple]]:
    """What is asked of the queue, each time with another number where there is one."""
    return {
        "first page": lambda: (Wanted(),),
        "a later page": lambda: (Wanted(), (3, _ago(rng), f"{rng.randrange(1000):016x}")),
        "with a technician (none)": lambda: (Wanted(status="with a technician"),),
        "one's own": lambda: (Wanted(whose="Ana"),),
        "closed, a week ago": lambda: (Wanted(status="closed", days=7),),
        "an inventory number": lambda: (Wanted(text=f"L-{rng.randrange(10**5):05d}"),),
        "the end of a number": lambda: (Wanted(text=f"{rng.randrange(10**4):04d}"),),
        "a common word": lambda: (Wanted(text="house"),),
        "two common words": lambda: (Wanted(text="north ana"),),
        "a common word that nobody has": lambda: (Wanted(text="ward", whose="Zoe"),),
        "two common words, never together": lambda: (Wanted(text="north elm"),),
        "a common word, closed half a year ago": lambda: (Wanted(text="north", status="closed", days=182),),
        "a common word in an open case": lambda: (Wanted(text="house", status="open"),),
        "a word that is nowhere": lambda: (Wanted(text="xyzzy"),),
    }


Taken = tuple[float, float]
"""Seconds by the clock, and of this process's processor time."""


def _taken(ask: Callable[[], object]) -> Taken:
    started, worked = time.perf_counter(), time.process_time()
    ask()
    return time.perf_counter() - started, time.process_time() - worked


def timed(client: TestClient, runs: int, rng: random.Random, learn: Callable[[], None]) -> None:
    """Time each kind of request `runs` times; `learn` is what follows a closing."""
    client.headers["accept"] = "text/html"
    page = client.post("/en/staff/sign-in", data={"token": TOKEN, "name": "Ana"})
    key = re.search(r'form_key" value="([^"]+)', page.text)[1]
    queue = "/en/staff/cases"
    kinds: dict[str, Callable[[], object]] = {
        "queue, first page": lambda: client.get(queue),
        "queue, later pages": _later(client, queue, rng),
        "queue, open": lambda: client.get(queue, params={"status": "open"}),
        "queue, mine": lambda: client.get(queue, params={"whose": "mine"}),
        "queue, closed a week ago": lambda: client.get(queue, params={"status": "closed", "days": "7"}),
        "search, asset": lambda: client.get(queue, params={"q": f"L-{rng.randrange(10**5):05d}"}),
        "search, end of a number": lambda: client.get(queue, params={"q": f"{rng.randrange(10**4):04d}"}),
        "search, common word": lambda: client.get(queue, params={"q": "house"}),
        "search, two common words": lambda: client.get(queue, params={"q": "north ana"}),
        "search, a common word and another's name": lambda: client.get(queue, params={"q": "ward", "whose": "nobody"}),
        "search, words never together": lambda: client.get(queue, params={"q": "north elm"}),
        "search, nothing fits": lambda: client.get(queue, params={"q": "xyzzy"}),
    }
    for name, ask in kinds.items():
        _row(name, [_taken(lambda ask=ask: ask().raise_for_status()) for _ in range(runs)])
    for name, taken in _calls(client, key, max(1, runs // 5)).items():
        _row(name, taken)
    learned: list[Taken] = []
    thread = threading.Thread(target=lambda: learned.append(_taken(learn)))
    thread.start()
    meanwhile = _calls(client, key, max(1, runs // 15))
    thread.join()
    for name, taken in meanwhile.items():
        _row(f"{name}, while it learns", taken)
    _row("what closings taught, meanwhile", learned)


def _later(client: TestClient, queue: str, rng: random.Random) -> Callable[[], object]:
    return lambda: client.get(queue, params={"after": f"3-{_ago(rng)}-{rng.randrange(1000):016x}"})


def _ago(rng: random.Random) -> int:
    return time.time_ns() // 1_000_000 - rng.randrange(150 * 24 * 60) * MINUTE_MS


def _calls(client: TestClient, key: str, count: int) -> dict[str, list[Taken]]:
    """Whole calls: what it takes to open a case, to see it again, its page after each answer, and to close it."""
    names = ("open a call", "its page again", "an answer and the page after it", "close")
    taken: dict[str, list[Taken]] = {name: [] for name in names}

    def told(what: str, path: str, form: dict[str, str]) -> httpx.Response:
        pages: list[httpx.Response] = []
        taken[what].append(_taken(lambda: pages.append(client.post(path, data={"form_key": key, **form}))))
        return pages[0].raise_for_status()

    for _ in range(count):
        page = told("open a call", "/en/staff/cases", {})
        here = page.url.path
        for form in _answers(page.text):
            form = {**form, "version": _version(page.text)}
            page = told("an answer and the page after it", f"{here}/answers", form)
            taken["its page again"].append(_taken(lambda here=here: client.get(here).raise_for_status()))
        closing = {"kind": "closed", "id": "in_service", "answer": "pack_worn", "proof": "mended"}
        told("close", f"{here}/answers", {"version": _version(page.text), **closing})
    return taken


def _answers(_page: str) -> Iterator[dict[str, str]]:
    yield {"kind": "person_in_sling", "id": "person_in_sling", "answer": "no"}
    yield {"kind": "danger_signs", "id": "danger_signs", "answer": "none"}
    yield {"kind": "symptom", "id": "symptom", "answer": "dead"}
    for id_, answer in (("where_is_stop", "top"), ("how_battery_sits", "hung_pack"), ("buttons_on_box", "front")):
        yield {"kind": "observation", "id": id_, "answer": answer}


def _version(page: str) -> str:
    return re.search(r'name="version" value="(\d+)', page)[1]


def _row(name: str, taken: list[Taken]) -> None:
    by_clock, by_processor = np.array(taken).T * 1000
    p50, p95 = np.percentile(by_clock, [50, 95])
    print(
        f"{name:<46} n {len(taken):>3}  best {by_clock.min():7.1f}  median {p50:7.1f}  p95 {p95:7.1f} ms"
        f"  (processor: median {np.median(by_processor):7.1f} ms)",
        flush=True,
    )


if __name__ == "__main__":
    main()
