"""The guiding camera: what each frame lacks, that nothing of it is kept, and that nobody's photos hold it up."""

import re
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from PIL import Image, ImageDraw, ImageFilter

from api.app import create_app
from api.cases.links import make_link
from api.cases.store import CaseStore, Who
from api.cases.view import view
from api.guide.framing import NOTHING, TOO_FAR, WRONG_SIDE
from api.guide.hints import CUT_OFF, GOOD, HINT_WORDS, LOOK_FOR, OTHER_SIDE, hint_of, likeness
from api.guide.wanted import BOX, GUIDED, MOTOR_END
from api.identification import Resources
from api.pages.caregiver import guided, routes
from api.servers.rate import OwnRate
from api.settings import Settings
from tests.support.toy_networks import blob_photo, encoded

MARKS = {"black": "above", "white": "left"}


def box(centre=(0.5, 0.5), side=0.4, marks=MARKS, other_side=False) -> Image.Image:
    """A frame with a control box; from its other side a grey patch is seen on it."""
    frame = blob_photo(("control_box", centre, side, marks))
    if other_side:
        left, top = centre[0] * 640 + side * 64, centre[1] * 480 + side * 64
        ImageDraw.Draw(frame).rectangle((left, top, left + side * 205, top + side * 205), fill=(128, 128, 128))
    return frame


HEAD = blob_photo(("actuator_head", (0.5, 0.5), 0.4, {"black": "left"}))
FRAMES = {
    "too_dark": box().point(lambda level: level // 12),
    "overexposed": Image.new("RGB", (640, 480), (250, 250, 250)),
    "blank": Image.new("RGB", (640, 480), (128, 128, 128)),
    "blurred": box().filter(ImageFilter.GaussianBlur(40)),
    "too_small": box().resize((80, 60)),
    NOTHING: blob_photo(("charger", (0.5, 0.5), 0.4, {})),
    TOO_FAR: blob_photo(("control_box", (0.7, 0.5), 0.18, MARKS), ("charger", (0.25, 0.5), 0.3, {})),
    CUT_OFF: box(centre=(0.1, 0.5)),
    WRONG_SIDE: box(marks={"black": "above"}),
    GOOD: box(),
}


@pytest.fixture(scope="module")
def good(toy_resources: Resources) -> str:
    """How the box looks in a frame that is good."""
    return hint_of(encoded(box()), BOX, (), toy_resources.model).look


@pytest.mark.parametrize("lacks", FRAMES)
def test_a_frame_is_told_what_it_lacks(toy_resources: Resources, lacks: str) -> None:
    hint = hint_of(encoded(FRAMES[lacks]), BOX, (), toy_resources.model)
    assert hint.id == lacks
    assert hint.words(BOX) in (*HINT_WORDS.values(), LOOK_FOR[BOX.kind])
    assert (hint.look != "") == (lacks == GOOD)


def test_a_look_alike_is_never_good(toy_resources: Resources) -> None:
    frame = encoded(blob_photo(("look_alike", (0.5, 0.5), 0.4, MARKS)))
    assert hint_of(frame, BOX, (), toy_resources.model).id == NOTHING


def test_the_same_side_is_not_taken_twice_and_the_other_one_is(toy_resources: Resources, good: str) -> None:
    nearer = hint_of(encoded(box((0.48, 0.52), 0.42)), BOX, (good,), toy_resources.model)
    other = hint_of(encoded(box(other_side=True)), BOX, (good,), toy_resources.model)
    assert (nearer.id, other.id) == (OTHER_SIDE, GOOD)


def test_a_second_side_of_the_box_need_not_show_what_the_first_one_did(toy_resources: Resources, good: str) -> None:
    hidden = encoded(box(marks={"black": "above"}, other_side=True))
    assert hint_of(hidden, BOX, (), toy_resources.model).id == WRONG_SIDE
    assert hint_of(hidden, BOX, (good,), toy_resources.model).id == GOOD


def test_the_motor_end_is_looked_for_by_itself(toy_resources: Resources) -> None:
    assert hint_of(encoded(HEAD), MOTOR_END, (), toy_resources.model).id == GOOD
    assert hint_of(encoded(box()), MOTOR_END, (), toy_resources.model).words(MOTOR_END) == LOOK_FOR[MOTOR_END.kind]


def test_likeness_is_a_correlation() -> None:
    """1 of a look with itself, however bright, -1 with its negative; an even one is like none."""
    assert likeness("0f0f", "0f0f") == pytest.approx(1) and likeness("0f0f", "3636") == pytest.approx(1)
    assert likeness("0f0f", "f0f0") == pytest.approx(-1)
    assert likeness("7777", "0f0f") == 0


@pytest.fixture(scope="module")
def camera(
    toy_resources: Resources, toy_settings: Settings, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[TestClient]:
    database = f"sqlite:///{tmp_path_factory.mktemp('guide') / 'cases.db'}"
    app = create_app(replace(toy_settings, slots=1, queue=0, database=database), toy_resources)
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def opened(camera: TestClient, up: str = "no") -> str:
    """A case at the page that takes a photo, or at the way down."""
    said = {"kind": "person_in_sling", "id": "person_in_sling", "answer": up}
    here = camera.post("/en/now", data=said).url.path.split("/at/")[0].removesuffix("/down")
    if up == "no":
        said = {"version": "1", "kind": "danger_signs", "id": "danger_signs", "answer": "none"}
        camera.post(f"{here}/answers", data=said)
    return here


def looked(camera: TestClient, here: str, frame: Image.Image, **fields: str):
    files = {"photos": ("frame.jpg", encoded(frame), "image/jpeg")}
    return camera.post(f"{here}/look", files=files, data={"view": "box", **fields})


def taken(camera: TestClient, here: str, frame: Image.Image):
    files = {"photos": ("camera.jpg", encoded(frame), "image/jpeg")}
    return camera.post(f"{here}/photos", files=files, headers={"accept": "application/json"})


def everything(store: CaseStore) -> dict[str, list]:
    with store.engine.connect() as connection:
        tables = [row[0] for row in connection.exec_driver_sql("select name from sqlite_master where type = 'table'")]
        return {table: connection.exec_driver_sql(f"select * from {table}").all() for table in tables}


def test_nothing_is_kept_of_a_frame_that_is_only_looked_at(camera: TestClient) -> None:
    here, state = opened(camera), camera.app.state
    before, shown = everything(state.cases), list(state.shelf._held)
    for frame in FRAMES.values():
        answer = looked(camera, here, frame)
        assert answer.status_code == 200 and answer.headers["cache-control"] == "no-store"
    assert everything(state.cases) == before and list(state.shelf._held) == shown


def test_the_frames_that_settle_it_are_photos_and_what_was_read_is_told(camera: TestClient, good: str) -> None:
    here = opened(camera)
    first = taken(camera, here, box()).json()
    assert first["guide"]["view"] == "box" and first["guide"]["again"]
    assert first["told"][0] == "It is not yet clear which box this is." and "the stop: on top" in first["told"]
    assert looked(camera, here, box(), taken=good).json()["hint"] == OTHER_SIDE
    second = taken(camera, here, box(other_side=True)).json()
    assert (second["guide"], second["asked"]) == (None, True)  # one answer about the box settles more than any photo
    page = camera.get(f"{here}/ask").text
    assert f'data-ask="{here}/ask"' in camera.get(f"{here}/photo").text
    answered = re.search(r'name="id" value="(\w+)"', page)[1]
    assert camera.app.state.resources.catalogue.observations_by_id[answered].about != "lowering"


def test_who_stands_at_the_box_is_asked_about_it_and_whoever_does_not_about_what_is_open(camera: TestClient) -> None:
    here, resources = opened(camera), camera.app.state.resources
    for side in (False, True):
        taken(camera, here, box(other_side=side))
    store, token = camera.app.state.cases, here.split("/")[-1]
    asked = {role: view(store.by_token(token), store, resources, role).at_the_box for role in ("caregiver", "agent")}
    assert asked["agent"] is None
    assert resources.catalogue.observations_by_id[asked["caregiver"].id].about not in (None, "lowering")
    said = {"version": str(store.by_token(token).version), "kind": "observation", "id": asked["caregiver"].id}
    camera.post(f"{here}/answers", data=said | {"answer": "unsure"})
    assert store.by_token(token).events[-1].said["answer"] == "unsure"
    assert view(store.by_token(token), store, resources, "caregiver").at_the_box is None


def test_a_box_of_no_listed_kind_is_shown_from_its_other_corner_before_the_motor_end(camera: TestClient) -> None:
    here, of_none = opened(camera), {"black": "below", "white": "left"}  # hung, with its stop in front
    first = taken(camera, here, box(marks=of_none)).json()
    assert first["told"][0] == "This box is none of those on our list."
    assert (first["guide"]["view"], first["guide"]["again"]) == ("box", True)
    second = taken(camera, here, box(marks=of_none, other_side=True)).json()
    assert (second["guide"]["view"], second["guide"]["again"]) == ("motor_end", False)


def photos(camera: TestClient, here: str) -> list:
    row = camera.app.state.cases.by_token(here.split("/")[-1])
    return [event for event in row.events if event.kind == "photo"]


def test_through_a_link_nothing_is_told_of_the_case(camera: TestClient) -> None:
    row = camera.app.state.cases.by_token(opened(camera).split("/")[-1])
    door = f"/en/u/{make_link(camera.app.state.cases, row.id, Who('agent', 'Ana'))}"
    assert looked(camera, door, box()).json()["take"]
    answer = taken(camera, door, box()).json()
    assert (answer["told"], answer["sure"]) == ([], False) and answer["guide"]["again"]


def test_while_somebody_is_up_the_motor_end_is_wanted_and_the_way_back_is_there(camera: TestClient) -> None:
    page = camera.get(f"{opened(camera, 'yes')}/down").text
    assert 'data-view="motor_end"' in page and "Back to the way down" in page
    assert "Somebody is up in the sling" in camera.get(opened(camera)).text.split("<dialog")[1].split("</dialog>")[0]


def test_only_a_page_whose_script_guides_may_use_the_camera(camera: TestClient) -> None:
    here = opened(camera)
    policies = {path: camera.get(path).headers["permissions-policy"] for path in ("/en/", here, "/en/down")}
    assert {path for path, policy in policies.items() if "camera=(self)" in policy} == {here}
    assert all("microphone=()" in policy and "camera=" in policy for policy in policies.values())


@pytest.mark.parametrize("fields", [{"view": "roof"}, {"taken": "xyz"}, {"taken": "0" * 143}])
def test_what_no_script_of_ours_sends_is_refused(camera: TestClient, fields: dict[str, str]) -> None:
    assert looked(camera, opened(camera), box(), **fields).status_code == 422


def test_a_frame_is_small(camera: TestClient) -> None:
    here = opened(camera)
    assert looked(camera, here, Image.new("RGB", (1100, 1000))).status_code == 413
    files = {"photos": ("frame.jpg", b"\xff\xd8\xff" + bytes(700_000), "image/jpeg")}
    assert camera.post(f"{here}/look", files=files, data={"view": "box"}).status_code == 413
    assert looked(camera, here.replace("/c/", "/c/guessed"), box()).status_code == 404


def test_each_camera_has_a_rate_of_its_own_and_guesses_count_as_any(
    camera: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, other = opened(camera), opened(camera)
    monkeypatch.setattr(camera.app.state, "hint_rate", OwnRate(2))
    monkeypatch.setattr(camera.app.state, "rate", OwnRate(1))
    assert [looked(camera, here, box()).status_code for _ in range(3)] == [200, 200, 429]
    assert looked(camera, other, box()).status_code == 200
    assert [looked(camera, f"/en/c/guess{n}", box()).status_code for n in range(2)] == [404, 429]


def test_a_hint_waits_for_nobody_s_photo_and_is_dropped_when_its_own_places_are_taken(
    camera: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, busy, done = opened(camera), threading.Semaphore(0), threading.Event()

    def slow(*_: object) -> object:
        busy.release()
        assert done.wait(30)
        return hint_of(encoded(box()), BOX, (), camera.app.state.loaded.model)

    with ThreadPoolExecutor(3) as others:
        monkeypatch.setattr(routes, "add_photo", slow)
        waiting = [others.submit(taken, camera, here, box())]
        assert busy.acquire(timeout=30)
        assert taken(camera, here, box()).status_code == 503  # the photos' places are taken
        assert looked(camera, here, box()).json()["take"]
        monkeypatch.setattr(guided, "hint_of", slow)
        waiting += [others.submit(looked, camera, here, box()) for _ in range(2)]
        assert busy.acquire(timeout=30) and busy.acquire(timeout=30)
        dropped = looked(camera, here, box())
        assert dropped.status_code == 503 and "retry-after" in dropped.headers
        done.set()
        assert [each.result().status_code for each in waiting] == [200, 200, 200]


def test_after_four_photos_the_camera_asks_for_no_more(camera: TestClient) -> None:
    here = opened(camera)
    for side in range(4):
        answer = taken(camera, here, box(side=0.3 + side / 50))
    assert answer.json()["guide"] is None
    assert "<dialog" not in camera.get(f"{here}/photo").text


def test_every_view_says_what_to_look_for() -> None:
    assert {view.kind for view in GUIDED.values()} == set(LOOK_FOR)
