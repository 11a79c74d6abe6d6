"""That somebody is up is a state of the case: recorded from any screen, pinned, announced, never closed over."""

import json
import re
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import aclosing, asynccontextmanager

import anyio
import pytest
from fastapi.concurrency import run_in_threadpool
from fastapi.testclient import TestClient
from hypothesis import given, settings
from hypothesis import strategies as st

from api.app import create_app
from api.cases.changes import Live, _lines
from api.cases.events import CLOSED, UNDO, WAY_DOWN, CaseEvent, in_force, occupied, says_up, up_since
from api.cases.expiry import delete_abandoned
from api.cases.links import LINK_MS, make_link
from api.cases.looking import Viewer, look
from api.cases.photos import DAY_MS
from api.cases.queue import PAGE
from api.cases.store import CaseStore, Said, StillUp, Who
from api.identification import Resources
from api.servers.news import news_of
from api.settings import Settings
from tests.api.test_agent_pages import TOKEN, Desk, aloud, to_symptom
from tests.api.test_caregiver_pages import HTML, beside, heading, opened, to_photo, version, words

CALLER, ANA = Who("caregiver", "", "203.0.113.7"), Who("agent", "Ana")


def about_the_person(answer: str) -> Said:
    return Said("person_in_sling", {"id": "person_in_sling", "answer": answer}, {})


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(agent_token=TOKEN), toy_resources)


@pytest.fixture
def phone(app) -> Iterator[TestClient]:
    with TestClient(app, headers=HTML) as client:
        yield client


@pytest.fixture
def ana(app) -> Iterator[Desk]:
    with TestClient(app) as client:
        yield Desk(client, "Ana")


def own_case(app, here: str):
    return app.state.cases.by_token(here.split("/")[3])


def case_for(ana: Desk, app, here: str) -> str:
    return f"/en/staff/cases/{own_case(app, here).id}"


def test_it_opens_a_case_with_a_code_at_once_and_is_pinned_with_how_long(phone, ana: Desk, app) -> None:
    page = beside(phone, "/en", "person_in_sling", "yes")
    row = own_case(app, page.url.path)
    assert row.up_since_ms == row.events[0].at_ms and f"{row.code[:3]} {row.code[3:]}" in words(page)
    listed = words(ana.client.get("/en/staff/cases"))
    assert "Somebody is up for 0 min Nobody has taken it up yet" in listed
    ana.say(f"/en/staff/cases/{row.id}", WAY_DOWN, "agent", "still")
    assert "Nobody has taken it up yet" not in words(ana.client.get("/en/staff/cases"))


def test_no_number_of_newer_cases_pushes_it_out_of_the_queue(app, ana: Desk) -> None:
    store = app.state.cases
    up = [store.start("en", CALLER, about_the_person("yes"))[0] for _ in range(2)]
    for _ in range(PAGE + 2):
        store.start("en", CALLER, about_the_person("no"))
    assert [row["id"] for row in store.listed(PAGE)][:2] == up
    shown = re.findall(r'<th scope="row"[^>]*><a href="/en/staff/cases/(\w+)"', ana.client.get("/en/staff/cases").text)
    assert shown[:2] == up and len(shown) == PAGE + 2


def test_a_case_is_not_closed_over_somebody_who_is_up(ana: Desk, app, case_store: CaseStore) -> None:
    here = to_symptom(ana)
    ana.say(here, "person_in_sling", "person_in_sling", "yes")
    page = ana.say(here, CLOSED, "in_service", "pack_worn")
    assert page.status_code == 409 and "Somebody is still up in this case" in words(page)
    ana.say(here, "person_in_sling", "person_in_sling", "no")
    assert "Confirmed fault: pack worn out" in words(ana.say(here, CLOSED, "in_service", "pack_worn"))
    page = ana.say(here, "person_in_sling", "person_in_sling", "yes")
    assert "Bring the person down first" in words(page), "a closed case is open again for somebody who is up"
    case_id, _ = case_store.start("en", CALLER, about_the_person("unsure"))
    with pytest.raises(StillUp):
        case_store.say(case_id, 1, Said(CLOSED, {"id": "in_service", "answer": "pack_worn"}, {}), ANA)
    assert [event.kind for event in case_store.by_id(case_id).events] == ["person_in_sling"]


def test_no_age_deletes_a_case_in_which_somebody_is_up(case_store: CaseStore) -> None:
    case_id, _ = case_store.start("en", CALLER, about_the_person("yes"))
    later = CaseStore(case_store.engine, lambda: case_store.now_ms() + 400 * DAY_MS)
    assert delete_abandoned(later, 30) == 0
    case_store.add_once(case_id, about_the_person("no"), CALLER)
    assert delete_abandoned(later, 30) == 1


def test_the_caregiver_s_footer_sets_it_from_every_page(phone, app) -> None:
    here = to_photo(phone)
    for path in (here, f"{here}/photo", f"{here}/code"):
        page = phone.get(path)
        form = re.search(rf'<form method="post" action="{here}/now">.*?</form>', page.text, re.DOTALL)[0]
        assert 'value="person_in_sling"' in form and 'name="answer" value="yes"' in form
    page = beside(phone, here, "person_in_sling", "yes")
    assert heading(page) == "Bring the person down first" and own_case(app, here).up_since_ms
    assert heading(phone.get(here)) == "Bring the person down first"
    assert heading(beside(phone, here, "person_in_sling", "no")).startswith("Take a photo")


def test_a_danger_sign_can_be_reported_at_every_step_and_adds_to_what_was_said(phone, app) -> None:
    here = to_photo(phone)
    beside(phone, here, "person_in_sling", "yes")
    beside(phone, here, "danger_signs", "smoke")
    page = beside(phone, here, "danger_signs", "moves_unasked")
    assert "Call the fire service now." in words(page) and "Press the red stop and leave it pressed." in words(page)
    for path in ("/en/", "/en/down", "/en/offline", here, f"{here}/down"):
        assert 'value="smoke"' in phone.get(path).text, path
    page = beside(phone, "/en", "danger_signs", "smoke")
    assert heading(page) == "Bring the person down first", "who is up is not known, and is taken as yes"
    assert "Call the fire service now." in words(page)
    dry = to_photo(phone)
    assert "Touch the lift no more." in words(beside(phone, dry, "danger_signs", "smoke"))


def test_what_is_said_beside_the_person_is_never_stale_and_sent_twice_is_taken_once(phone, app) -> None:
    here = opened(phone)
    beside(phone, here, "person_in_sling", "yes")
    for _ in range(2):
        assert beside(phone, here, WAY_DOWN, "worse", sent="0123456789abcdef").status_code == 200
    assert "Stop what you are doing. Hold the person steady." in words(phone.get(here))
    beside(phone, here, WAY_DOWN, "worse", sent="another-sending")
    assert [event.kind for event in own_case(app, here).events].count(WAY_DOWN) == 2


def test_what_a_browser_said_offline_comes_into_one_case(phone, app) -> None:
    token = "f" * 48
    for kind, answer in (("person_in_sling", "yes"), ("danger_signs", "heat"), (WAY_DOWN, "worse")):
        page = beside(phone, "/en", kind, answer, token=token, sent=f"sending-{answer}")
    assert page.url.path == f"/en/c/{token}/down" and "pull the charger's plug" in words(page)
    assert len(app.state.cases.up_now()) == 1
    assert beside(phone, "/en", "person_in_sling", "yes", token="short").url.path != f"/en/c/{token}/down"


def test_somebody_else_s_newer_word_that_a_person_is_up_is_not_ended_by_an_older_down(phone, ana: Desk, app) -> None:
    here = opened(phone)
    seen = version(beside(phone, here, "person_in_sling", "yes"))
    ana.say(case_for(ana, app, here), WAY_DOWN, "agent", "still")
    page = beside(phone, here, "person_in_sling", "no", version=seen)
    assert page.status_code == 409 and own_case(app, here).up_since_ms
    beside(phone, here, "person_in_sling", "no", version=version(page))
    assert own_case(app, here).up_since_ms is None


@pytest.mark.parametrize("kind, answer", [("closed", "pack_worn"), ("person_in_sling", "perhaps"), (WAY_DOWN, "x")])
def test_what_cannot_be_said_there_is_refused(phone, kind: str, answer: str) -> None:
    assert beside(phone, opened(phone), kind, answer).status_code == 422


def test_the_agent_who_opened_a_case_has_asked_nobody_yet(ana: Desk, app) -> None:
    here = ana.open()
    assert app.state.cases.up_now() == []
    page = ana.say(here, "person_in_sling", "person_in_sling", "unsure")
    assert len(app.state.cases.up_now()) == 1
    assert aloud(page).startswith("Look at the motor end")


def test_a_link_phone_has_the_way_down_while_somebody_is_up_and_only_then(phone, ana: Desk, app) -> None:
    here = to_symptom(ana)
    token = make_link(app.state.cases, here.rsplit("/", 1)[1], ANA)
    door = f"/en/u/{token}"
    assert heading(phone.get(door)).startswith("Take a photo of the box")
    page = beside(phone, door, "person_in_sling", "yes")
    assert heading(phone.get(door)) == "Bring the person down first" and 'value="twist_knob"' in page.text
    assert "Somebody is up." in words(ana.client.get(here))
    later = app.state.cases.now_ms() + 2 * LINK_MS
    object.__setattr__(app.state.cases, "now_ms", lambda: later)
    make_link(app.state.cases, ana.open().rsplit("/", 1)[1], ANA)  # which tidies up
    assert heading(phone.get(door)) == "Bring the person down first", "no link ends while somebody is up"
    assert beside(phone, door, "person_in_sling", "no").status_code == 404, "and then it is over"


@pytest.mark.anyio
async def test_staff_who_are_signed_in_are_told_at_once_through_whatever_server(case_store: CaseStore) -> None:
    live, other = Live(case_store), CaseStore.open(case_store.engine.url.render_as_string(hide_password=False))
    async with listening(live):
        stream = _lines(live, Viewer("", "Ana"), 0, tell_up=True)
        assert json.loads((await told(stream, "up")).split("data: ")[1]) == []
        case_id, _ = await run_in_threadpool(other.start, "en", CALLER, about_the_person("yes"))
        assert [row["id"] for row in json.loads((await told(stream, "up")).split("data: ")[1])] == [case_id]
        here = _lines(live, Viewer(case_id, "Ana"), 1, tell_up=False)
        assert json.loads((await told(here, "looking")).split("data: ")[1]) == []
        await run_in_threadpool(look, other, [Viewer(case_id, "Bo")])
        assert json.loads((await told(here, "looking")).split("data: ")[1]) == ["Bo"]
        await run_in_threadpool(other.add_once, case_id, about_the_person("yes"), ANA)
        assert (await told(here, "changed")).endswith("data: 2\n\n")
        gone = _lines(live, Viewer(case_id, ""), 2, tell_up=False)
        await anext(gone)
        await run_in_threadpool(other.delete, case_id, ANA)
        assert (await told(gone, "changed")).endswith("data: -1\n\n")
    other.engine.dispose()


@asynccontextmanager
async def listening(live: Live) -> AsyncIterator[None]:
    """As a server hears of changes."""

    async def hear() -> None:
        async with aclosing(news_of(live.store.engine)) as news:
            async for _ in news:
                live.wake()

    async with anyio.create_task_group() as tasks:
        tasks.start_soon(hear)
        tasks.start_soon(live.run)
        yield
        tasks.cancel_scope.cancel()


async def told(stream: AsyncIterator[str], event: str) -> str:
    with anyio.fail_after(30):
        async for line in stream:
            if line.startswith(f"event: {event}\n"):
                return line
    raise AssertionError(f"the stream ended without {event}")


def test_it_stands_on_every_page_of_the_staff(phone, ana: Desk, app) -> None:
    here = to_symptom(ana)
    beside(phone, "/en", "person_in_sling", "yes")
    for path in (here, "/en/staff/cases", f"{here}/history"):
        assert "Somebody is up: case" in words(ana.client.get(path)), path


answers = st.sampled_from(["yes", "no", "unsure"])
sayings = st.one_of(
    st.tuples(st.just("person_in_sling"), answers),
    st.tuples(st.just("observation"), answers),
    st.tuples(st.just(WAY_DOWN), st.sampled_from(["still", "worse"])),
    st.tuples(st.sampled_from(["context", UNDO, UNDO]), st.just("x")),
)


@settings(deadline=None)
@given(st.lists(st.tuples(sayings, st.sampled_from(["caregiver", "agent"])), max_size=12))
def test_only_the_word_that_they_are_down_ends_it(said: list) -> None:
    events = [CaseEvent(1, 1, "caregiver", "", "person_in_sling", {"answer": "no"}, {})]
    for n, ((kind, answer), role) in enumerate(said, 2):
        events.append(CaseEvent(n, n, role, "", kind, {"id": "person_in_sling", "answer": answer}, {}))
    up = [event.version for event in events if says_up(event)]
    downs = [e.version for e in in_force(events) if e.kind == "person_in_sling" and e.said["answer"] == "no"]
    still = bool(up) and max(up) > max(downs, default=0)
    assert (up_since(events) is not None) == still
    assert (occupied(in_force(events)) != "no") or not still
