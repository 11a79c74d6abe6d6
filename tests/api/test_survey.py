"""A walk round the pool over HTTP, by plain forms and as a telephone's queue sends it."""

import hashlib
import re
import secrets
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
import zxingcpp

from api.app import create_app
from api.cases.events import in_force
from api.cases.expiry import delete_expired
from api.cases.learned.consent import agreed
from api.cases.learned.labels import OWNER, labels_of
from api.cases.learned.learned_photos import ready_photos
from api.cases.photos import DAY_MS, add_photo, photos_of
from api.cases.queue import Wanted, queue_page
from api.identification import Resources
from api.settings import Settings
from api.surveys.progress import LiftState, states_of
from api.surveys.register import lifts_of, sent_on
from tests.api.test_agent_pages import Desk
from tests.api.test_gs1 import picture
from tests.api.test_photo_labels import TECHNICIAN, technician
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

LEFT = ("control_box", (0.4, 0.5), 0.4, {"black": "above", "white": "left"})
RIGHT = ("control_box", (0.6, 0.5), 0.4, {"black": "above", "white": "left"})
HEAD = ("actuator_head", (0.5, 0.5), 0.4, {"black": "left"})
JSON = {"accept": "application/json"}
JUDGED = {
    "good": (LEFT,),
    "nothing": (HEAD,),
    "wrong_side": (("control_box", (0.4, 0.5), 0.4, {"black": "above"}),),
    "too_far": (("control_box", (0.2, 0.7), 0.18, {}), ("charger", (0.7, 0.4), 0.4, {})),
}
"""Photos of a box's left corner, and how each is judged."""


def photo(*blobs: tuple, size: int = 640) -> bytes:
    return encoded(blob_photo(*blobs, size_wh=(size, size * 3 // 4)))


def dark() -> bytes:
    return encoded(blob_photo(LEFT).point(lambda value: value // 20))


def code(text: str, gs1: bool = False) -> bytes:
    """A photo of a DataMatrix with this text."""
    return picture(text, zxingcpp.BarcodeFormat.DataMatrix, gs1=gs1)


class Walk:
    """One survey, and whoever walks."""

    def __init__(self, desk: Desk, **agreed_to: str) -> None:
        self.desk, self.id = desk, secrets.token_hex(8)
        form = {"form_key": desk.key, "survey": self.id, "name": "North house", **agreed_to}
        self.page = desk.client.post("/en/staff/survey", data=form)
        self.here = f"/en/staff/survey/{self.id}"

    def post(self, path: str, shot: bytes | None = None, headers: dict | None = None, **fields: str):
        files = {"photos": ("a.jpg", shot, "image/jpeg")} if shot is not None else None
        data = {"form_key": self.desk.key, **fields}
        return self.desk.client.post(f"{self.here}{path}", data=data, files=files, headers=headers or {})

    def lift(self, number: str = "", shot: bytes | None = None, token: str = "", **more: str) -> str:
        token = token or secrets.token_hex(16)
        self.page = self.post("/lifts", shot, lift=token, number=number, **more)
        return token

    def view(self, token: str, view: str, shot: bytes | None = None, **more: str):
        return self.post(f"/lifts/{token}/views", shot, view=view, **more)

    def states(self) -> list[LiftState]:
        store = self.desk.client.app.state.cases
        return states_of(store, lifts_of(store, self.id))

    def state(self, token: str) -> LiftState:
        return next(one for one in self.states() if one.lift.token == token)

    def of(self, token: str, view: str) -> str:
        return next(one.state for one in self.state(token).views if one.view.id == view)

    def photographed(self, number: str, size: int = 640) -> str:
        token = self.lift(number)
        for view, blob in (("box_left", LEFT), ("box_right", RIGHT), ("motor_end", HEAD)):
            self.view(token, view, photo(blob, size=size))
        self.view(token, "plate", go="skipped")
        return token

    def accept(self, token: str, **values: str) -> httpx.Response:
        """Press the one button of the readings, having changed these."""
        page = self.desk.client.get(f"{self.here}/lifts/{token}").text
        form = {"version": re.search(r'name="version" value="(\d+)', page)[1]}
        for name, options in re.findall(r'<select id="[^"]+" name="(value-\w+)">(.*?)</select>', page):
            chosen = re.search(r'value="(\w+)" selected', options)
            form[name] = chosen[1] if chosen else "unsure"
        form |= {f"value-{concept}": value for concept, value in values.items()}
        return self.post(f"/lifts/{token}/readings", **form)


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(technician_token=TECHNICIAN), toy_resources)


@pytest.fixture
def tom(app, monkeypatch) -> Desk:
    return technician(app, monkeypatch)


@pytest.fixture
def walk(tom: Desk) -> Walk:
    return Walk(tom)


def told(page: httpx.Response) -> str:
    return " ".join(re.findall(r'role="alert">(.*?)</p>', page.text))


def test_a_survey_is_begun_once_and_asks_once_what_the_owner_agreed_to(tom: Desk) -> None:
    page = tom.client.get("/en/staff/survey").text
    assert "What did the owner of these lifts agree to?" in page and "checked" not in page
    walk = Walk(tom)
    tom.client.post("/en/staff/survey", data={"form_key": tom.key, "survey": walk.id, "name": "again"})
    assert tom.client.get("/en/staff/survey").text.count("/en/staff/survey/") == 1
    assert "North house" in walk.page.text
    empty = tom.client.post("/en/staff/survey", data={"form_key": tom.key, "survey": "0" * 16, "name": "  "})
    assert empty.status_code == 422 and "Say what is surveyed" in told(empty)


@pytest.mark.parametrize("verdict", JUDGED)
def test_a_photo_is_judged_at_once(walk: Walk, verdict: str) -> None:
    token = walk.lift("A-1")
    page = walk.view(token, "box_left", photo(*JUDGED[verdict]))
    assert walk.of(token, "box_left") == verdict
    assert page.status_code == 200 and (verdict == "good") == (walk.state(token).next_view.view.id == "box_right")


def test_a_dark_photo_is_not_kept_and_a_worse_one_later_changes_nothing(walk: Walk) -> None:
    token = walk.lift("A-1")
    assert "Turn on a light" in walk.view(token, "box_left", dark()).text
    assert walk.of(token, "box_left") == "too_dark" and walk.state(token).photos == 0
    walk.view(token, "box_left", photo(LEFT))
    walk.view(token, "box_left", dark())
    assert walk.of(token, "box_left") == "good"


def test_one_photo_is_not_both_corners(walk: Walk) -> None:
    token = walk.lift("A-1")
    walk.view(token, "box_left", photo(LEFT))
    walk.view(token, "box_right", photo(LEFT))
    assert (walk.of(token, "box_right"), walk.state(token).photos) == ("same_photo", 1)


def test_whoever_stands_there_may_go_on_with_a_photo_or_without_one(walk: Walk) -> None:
    token = walk.lift("A-1")
    walk.view(token, "box_left", photo(*JUDGED["wrong_side"]))
    walk.view(token, "box_left", go="kept")
    walk.view(token, "plate", go="skipped")
    assert (walk.of(token, "box_left"), walk.of(token, "plate")) == ("kept", "skipped")
    assert [one.view.id for one in walk.state(token).missing] == ["box_right", "motor_end", "plate"]
    assert "it cannot be photographed" in walk.desk.client.get(f"{walk.here}/missing").text


def test_a_lift_is_known_by_the_code_on_it(walk: Walk) -> None:
    token = walk.lift(shot=code("POOL 0042"))
    assert walk.state(token).lift.number == "POOL 0042"
    plate = walk.lift(shot=code("(01)51022222233336(21)S77", gs1=True))
    assert (walk.state(plate).lift.number, walk.of(plate, "plate")) == ("S77", "good")
    walk.lift(shot=code("(01)51022222233336", gs1=True))  # the code of an article is on many lifts
    assert walk.page.status_code == 422 and "No code was read." in told(walk.page)


def test_a_code_that_cannot_be_read_loses_nothing_that_comes_after_it(walk: Walk) -> None:
    token = walk.lift(shot=photo(LEFT), queued="yes")
    walk.view(token, "box_left", photo(LEFT))
    own = walk.state(token)
    assert (own.lift.number, own.code, own.views[0].state) == ("", "no_code", "good")
    page = walk.desk.client.get(f"{walk.here}/missing").text
    assert "Lift 1, number not known" in page and "its number: No code was read." in page
    walk.post(f"/lifts/{token}/number", number="A-9")
    assert walk.state(token).lift.number == "A-9"


def test_photos_may_arrive_before_the_lift_that_they_are_of(walk: Walk) -> None:
    token = secrets.token_hex(16)
    answer = walk.post(f"/lifts/{token}/views", photo(LEFT), JSON, view="box_left")
    assert answer.json()["views"]["box_left"] == {"state": "good", "told": "good", "photo": True}
    assert walk.post("/lifts", None, JSON, lift=token, number="A-3", queued="yes").json()["number"] == "A-3"
    assert len(walk.states()) == 1


def test_everything_sent_twice_is_there_once(walk: Walk) -> None:
    token = secrets.token_hex(16)
    for _ in range(2):
        walk.lift("A-1", token=token, queued="yes")
        walk.view(token, "box_left", photo(LEFT))
        walk.view(token, "plate", code("(21)77", gs1=True))
    events = walk.desk.client.app.state.cases.by_id(walk.state(token).lift.case_id).events
    assert [e.kind for e in events] == ["surveyed", "asset", "photo", "view", "plate", "view"]


def test_two_lifts_with_one_number_are_asked_about(walk: Walk) -> None:
    first, second = walk.lift("A-1"), walk.lift("a-1")
    assert "Lift 1 has the same number. Is it the same lift?" in walk.page.text
    walk.post(f"/lifts/{second}/number", same="yes")  # nothing was photographed there: it was begun twice
    assert [one.lift.token for one in walk.states()] == [first]
    third = walk.lift("A-1")
    walk.view(first, "box_left", photo(LEFT))
    walk.view(third, "box_right", photo(RIGHT))
    assert walk.state(third).clash
    walk.post(f"/lifts/{third}/number", same="yes")
    assert [one.state for one in walk.state(first).views] == ["good", "good", "", ""]
    assert not walk.state(third).clash and "Lifts: 1." in walk.desk.client.get(walk.here).text
    fourth = walk.lift("A-1")
    walk.post(f"/lifts/{fourth}/number", number="A-2")
    assert not walk.state(fourth).same_as


def test_two_technicians_on_one_lift_find_each_other(walk: Walk, app, monkeypatch) -> None:
    rob = Walk(technician(app, monkeypatch, "Rob"))
    rob.here, rob.id = walk.here, walk.id
    token = walk.lift("A-1")
    other = rob.lift("A-1")
    assert rob.state(other).clash
    walk.view(token, "box_left", photo(LEFT))
    rob.view(token, "box_right", photo(RIGHT))
    assert [one.state for one in walk.state(token).views][:2] == ["good", "good"]


@pytest.mark.parametrize("path", ["/lifts", "/lifts/{token}/views"])
def test_what_is_no_photo_is_said_so(walk: Walk, path: str) -> None:
    token = walk.lift("A-1")
    answer = walk.post(path.format(token=token), b"no photo", JSON, lift=secrets.token_hex(16), view="box_left")
    assert answer.status_code == 415 and answer.json()["photo"] == "a.jpg"
    assert walk.state(token).photos == 0


def test_a_survey_that_is_not_there_takes_nothing(walk: Walk) -> None:
    before = len(queue_page(walk.desk.client.app.state.cases, Wanted()).rows)
    for wrong in ("0" * 16, "nonsense"):
        answer = walk.desk.client.post(
            f"/en/staff/survey/{wrong}/lifts", data={"form_key": walk.desk.key, "lift": "a" * 32, "number": "1"}
        )
        assert answer.status_code == 404
    assert walk.post("/lifts", lift="guessed", number="1").status_code == 422
    assert walk.desk.client.get(f"{walk.here}/lifts/{'b' * 32}").status_code == 404
    assert len(queue_page(walk.desk.client.app.state.cases, Wanted()).rows) == before


def test_readings_are_accepted_with_one_tap_and_become_labels(tom: Desk, app) -> None:
    walk = Walk(tom, learn="yes")
    token = walk.photographed("A-1")
    assert walk.state(token).unsaid == ("stop_position", "battery", "lowering")
    page = walk.accept(token, service_buttons="front", charge_display="gauge")
    assert "What you said is recorded." in told(page) and walk.state(token).unsaid == ()
    case_id = walk.state(token).lift.case_id
    live = in_force(app.state.cases.by_id(case_id).events)
    labels = labels_of(live, photos_of(app.state.cases, case_id))
    assert [label.open for label in labels] == ["", "", ""]
    assert all(part.box_from == OWNER for label in labels for part in label.parts)
    assert labels[0].parts[0].values["battery"] == "hung_pack"
    ready, left_out = ready_photos(app.state.cases)
    assert (len(ready), len({one.lift_key for one in ready}), left_out) == (3, 1, [])
    before = len(app.state.cases.by_id(case_id).events)
    walk.accept(token)
    assert len(app.state.cases.by_id(case_id).events) == before


def test_without_the_owner_s_word_nothing_is_kept_to_learn_from(walk: Walk, app) -> None:
    walk.photographed("A-1")
    assert agreed(app.state.cases, sent_on(walk.id)) == 0


def database_files(app) -> list[Path]:
    path = Path(app.state.cases.engine.url.database)
    return list(path.parent.glob(f"{path.name}*"))


def test_the_owner_takes_it_back_for_the_whole_survey_at_once(tom: Desk, app) -> None:
    walk = Walk(tom, learn="yes")
    for number in ("A-1", "A-2"):
        walk.photographed(number)
    assert agreed(app.state.cases, sent_on(walk.id)) == 6
    page = walk.post("/learning")
    assert "Photos that this tool may learn from: 0." in page.text
    everything = b"".join(path.read_bytes() for path in database_files(app))
    for shot in (photo(LEFT), photo(RIGHT), photo(HEAD)):
        assert hashlib.sha256(shot).hexdigest()[:32].encode() not in everything, "a digest would tell who has the file"
    walk.photographed("A-3")
    assert agreed(app.state.cases, sent_on(walk.id)) == 0


def test_a_photo_on_its_way_while_the_owner_takes_it_back_is_not_learned_from(tom: Desk, app, monkeypatch) -> None:
    walk = Walk(tom, learn="yes")
    token = walk.lift("A-1")

    def meanwhile(*arguments) -> str:
        assert "may learn from: 0." in walk.post("/learning").text
        return add_photo(*arguments)

    monkeypatch.setattr("api.surveys.taking.add_photo", meanwhile)
    walk.view(token, "box_left", photo(LEFT))
    assert walk.of(token, "box_left") == "good" and agreed(app.state.cases, sent_on(walk.id)) == 0


def test_lifts_of_a_survey_do_not_stand_before_cases_that_wait(walk: Walk, app) -> None:
    token = walk.lift("A-1")
    here = walk.desk.open()
    rows = queue_page(app.state.cases, Wanted()).rows
    assert [row["status"] for row in rows] == ["open", "surveyed"] and here.endswith(rows[0]["id"])
    case = f"/en/staff/cases/{walk.state(token).lift.case_id}"
    assert walk.desk.say(case, "danger_signs", "danger_signs", "smoke").status_code in (200, 422)
    walk.desk.say(case, "person_in_sling", "person_in_sling", "yes")
    assert queue_page(app.state.cases, Wanted()).up[0]["id"] == walk.state(token).lift.case_id


def test_a_surveyed_lift_goes_with_time_and_its_labelled_photos_stay(tom: Desk, app) -> None:
    walk = Walk(tom, learn="yes")
    token = walk.photographed("A-1")
    walk.accept(token, service_buttons="front", charge_display="gauge")
    unlabelled = walk.photographed("A-2", size=800)
    store = app.state.cases
    now = store.now_ms()
    object.__setattr__(store, "now_ms", lambda: now + 400 * DAY_MS)
    delete_expired(store, 180)
    assert [one.gone for one in walk.states()] == [True, True]
    ready, _ = ready_photos(store)
    assert len(ready) == 3 and agreed(store, sent_on(walk.id)) == 3
    assert unlabelled != token


def test_the_pages_are_in_spanish(walk: Walk) -> None:
    token = walk.lift("A-1")
    for path in (walk.here, f"{walk.here}/lifts/{token}", f"{walk.here}/missing", "/en/staff/survey"):
        page = walk.desk.client.get(path.replace("/en/", "/es/")).text
        assert 'lang="es"' in page and "Photograph only lifts" not in page and "What is missing" not in page
