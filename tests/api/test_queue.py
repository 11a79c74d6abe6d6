"""The queue: what it shows is kept beside each case, searched by the database, and the same as the events say."""

from dataclasses import asdict, replace

import pytest
from sqlalchemy import text, update

from api.cases.line import line_of, plain_words, words_of
from api.cases.queue import DAY_MS, FEW, Wanted, mark_of, mark_words, queue_page
from api.cases.store import CaseStore, Said, Who
from api.cases.tables import cases

CALLER, ANA = Who("caregiver"), Who("agent", "Ana")


def person(answer: str) -> Said:
    return Said("person_in_sling", {"id": "person_in_sling", "answer": answer}, {})


def opened(store: CaseStore, *said: tuple[str, dict], up: str = "no") -> str:
    case_id, _ = store.start("en", CALLER, person(up))
    for kind, what in said:
        store.say(case_id, store.version(case_id), Said(kind, what, {}), ANA)
    return case_id


def ids(store: CaseStore, **wanted: object) -> list[str]:
    return [row["id"] for row in queue_page(store, Wanted(**wanted)).rows]


def test_what_the_queue_shows_of_a_case_is_what_its_events_say(case_store: CaseStore) -> None:
    about = {"caller": "José Núñez", "phone": "+1 (555) 010-0122", "site": "Elm House", "serial": "SN-4471"}
    case_id = opened(
        case_store,
        ("symptom", {"id": "symptom", "answer": "dead"}),
        ("about", about),
        ("asset", {"id": "asset", "answer": "L-00017/a"}),
        ("note", {"id": "", "answer": "Door 12, ring twice"}),
        ("assigned", {"id": "", "answer": "Ana"}),
        ("context", {"id": "wet", "answer": "no"}),
    )
    row = case_store.by_id(case_id)
    (shown,) = queue_page(case_store, Wanted()).rows
    told = asdict(line_of(row.events, row.up_since_ms))
    assert {name: shown[name] for name in told} == told
    assert (shown["assignee"], shown["site"], shown["asset"], shown["occupied"]) == (
        "Ana",
        "Elm House",
        "L-00017/a",
        "no",
    )
    for words in ("jose", "nunez elm", "+1 555 010", "0100122", "010-0122", "sn4471", "4471", "L-00017", "l00017a",
                  "ring", row.code.lower()[:4]):  # fmt: skip
        assert ids(case_store, text=words) == [case_id], words
    for words in ("jose bo", "nune z", "xylophone", "ouse", "!?", "\x01"):
        assert ids(case_store, text=words) == [], words
    case_store.say(case_id, row.version, Said("undo", {"id": "", "answer": ""}, {}), ANA)
    case_store.say(case_id, row.version + 1, Said("about", {"caller": "Bo"}, {}), ANA)
    assert ids(case_store, text="jose") == [] and ids(case_store, text="bo elm") == [case_id]
    case_store.delete(case_id, ANA)
    assert ids(case_store, text="elm") == []


def test_somebody_up_stands_above_every_filter_search_and_page(case_store: CaseStore) -> None:
    up = opened(case_store, up="yes")
    others = [opened(case_store) for _ in range(5)]
    for wanted in (Wanted(), Wanted(text="nothing fits"), Wanted(status="closed"), Wanted(whose="Bo"), Wanted(days=7)):
        assert [row["id"] for row in queue_page(case_store, wanted, most=2).up] == [up]
    pages, after = [], None
    for _ in range(4):
        page = queue_page(case_store, Wanted(), after, most=2)
        assert [row["id"] for row in page.up] == [up]
        pages.append([row["id"] for row in page.rows])
        after = mark_of(mark_words(page.after))
        if after is None:
            break
    assert sorted(sum(pages, [])) == sorted(others) and [len(page) for page in pages] == [2, 2, 1]


def test_filters_and_the_order_of_the_queue(case_store: CaseStore) -> None:
    closing = ("closed", {"id": "in_service", "answer": "pack_worn"})
    closed, handed = (
        opened(case_store, closing),
        opened(case_store, ("handed_over", {"id": "", "answer": "technician"})),
    )
    asked, _ = case_store.start("en", ANA, Said("opened", {"id": "", "answer": ""}, {}))
    mine = opened(case_store, ("assigned", {"id": "", "answer": "Ana"}))
    assert ids(case_store)[0] == asked and ids(case_store)[-1] == closed
    assert [row["standing"] for row in queue_page(case_store, Wanted()).rows] == [1, 2, 2, 3]
    assert ids(case_store, status="closed") == [closed] and ids(case_store, status="with a technician") == [handed]
    assert ids(case_store, whose="Ana") == [mine] and set(ids(case_store, whose="nobody")) == {asked, handed, closed}
    later = replace(case_store, now_ms=lambda: case_store.now_ms() + 2 * DAY_MS)
    assert ids(case_store, days=1) == [] and len(ids(later, days=1)) == 4 and ids(later, days=7) == []


def test_a_common_word_is_looked_up_as_exactly_as_a_rare_one(case_store: CaseStore, monkeypatch) -> None:
    here = [opened(case_store, ("about", {"site": "Elm House"})) for _ in range(3)]
    opened(case_store, ("about", {"site": "Oak House"}))
    rare = ids(case_store, text="elm house")
    monkeypatch.setattr("api.cases.queue.FEW", 1)
    assert set(rare) == set(here) and ids(case_store, text="elm house") == rare and FEW > 1


def test_common_words_that_are_never_or_seldom_together_are_looked_up_together(
    case_store: CaseStore, monkeypatch
) -> None:
    for site in ("Elm House", "Elm Yard", "Oak House", "Oak Yard"):
        opened(case_store, ("about", {"site": site, "caller": "Ana" if "House" in site else "Ben"}))
    monkeypatch.setattr("api.cases.queue.FEW", 1)
    (both,) = queue_page(case_store, Wanted(text="elm house")).rows
    assert both["site"] == "Elm House"
    assert ids(case_store, text="elm oak") == [] and ids(case_store, text="elm house ben") == []


def test_what_another_version_of_the_server_changed_is_told_when_it_is_asked_for(case_store: CaseStore) -> None:
    """A server from before these columns raises `version` alone, and opens cases without a line."""
    case_id = opened(case_store, ("about", {"site": "Elm House"}))
    with case_store.engine.begin() as connection:
        connection.execute(update(cases).values(version=cases.c.version + 1, told_version=0, site="", status="closed"))
        connection.execute(text("DELETE FROM case_words"))
        connection.execute(update(cases).values(version=cases.c.version - 1))
    assert ids(case_store, text="elm", status="open") == [case_id] and ids(case_store, status="closed") == []
    assert case_store.tell_untold(9) == 0


@pytest.mark.parametrize("words", ["", "-", "1-2", "x-1-a", "1-x-a", "1-" + "9" * 20 + "-a", "٣-1-a", "1-1-'", "1--a"])
def test_a_mark_that_is_none_is_the_first_page(words: str) -> None:
    assert mark_of(words) is None


def test_words_are_plain_and_few() -> None:
    assert plain_words("José's L-17/a  ✓ שלום") == ["joses", "jose", "s", "l17a", "l", "17", "a", "שלום"]
    assert plain_words("🛟 --- \u202e") == []
    assert len(words_of("ACDEFH", ())) == 1
