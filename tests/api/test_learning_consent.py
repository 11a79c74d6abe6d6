"""The consent to learn from a photo: asked before sending, no by itself, taken back by one tap, and then gone."""

import hashlib
import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from PIL import Image
from sqlalchemy import insert, select, text

from api.app import create_app
from api.cases.audit import audit_page
from api.cases.database import reading
from api.cases.learned.consent import Withdrawn, agreed, of_case, of_owner, withdraw
from api.cases.migrations.versions import v0006_learning_photos
from api.cases.photos import picture_of
from api.cases.store import Who
from api.cases.tables import learning_photos
from api.commands.main import main
from api.identification import Resources
from api.servers.shelf import SHELF_MS
from api.settings import Settings
from classifier.lineage import marked
from classifier.recipe import METADATA_FILE
from tests.api.test_agent_pages import TOKEN, Desk
from tests.support.toy_networks import blob_photo, encoded

TECHNICIAN = "the technicians' long token"
PHOTO = encoded(blob_photo(("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})))
ANOTHER = encoded(blob_photo(("control_box", (0.5, 0.5), 0.35, {"black": "left"})))


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(agent_token=TOKEN, technician_token=TECHNICIAN), toy_resources)


@pytest.fixture
def caller(app) -> Iterator[TestClient]:
    with TestClient(app, headers={"accept": "text/html"}) as client:
        yield client


def case(caller: TestClient) -> str:
    """The address of a caregiver's case at the page that takes a photo."""
    form = {"kind": "person_in_sling", "id": "person_in_sling", "answer": "no"}
    here = caller.post("/en/now", data=form).url.path
    version = re.search(r'name="version" value="(\d+)', caller.get(here).text)[1]
    caller.post(f"{here}/answers", data={"version": version, "kind": "danger_signs", "id": "danger_signs",
                                         "answer": "none"})  # fmt: skip
    return here


def sent(caller: TestClient, here: str, photo: bytes = PHOTO, **ticked: str):
    return caller.post(f"{here}/photos", data=ticked, files={"photos": ("a.jpg", photo, "image/jpeg")})


def row_of(app, here: str):
    return app.state.cases.by_token(here.rsplit("/", 1)[1])


def held(app) -> list:
    with reading(app.state.cases.engine) as connection:
        return connection.execute(select(learning_photos)).all()


def pieces_found(folder: Path, picture: bytes) -> list[str]:
    """Every file under a folder that holds a piece of these bytes: a database spreads them over its pages.

    Even stretches of a drawn picture are the same bytes over and over, and say nothing.
    """
    pieces = (picture[start : start + 32] for start in range(0, len(picture) - 32, 16))
    middle = [piece for piece in pieces if len(set(piece)) > 24]
    assert len(middle) > 20
    files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return [path.name for path in files if any(piece in path.read_bytes() for piece in middle)]


@pytest.mark.parametrize("language", ["en", "es"])
def test_it_is_asked_before_the_photo_is_chosen_and_not_ticked(caller: TestClient, language: str) -> None:
    page = caller.get(case(caller).replace("/en/", f"/{language}/")).text
    (box,) = re.findall(r'<input[^>]+name="learn"[^>]*>', page)
    assert "checked" not in box and page.index(box) < page.index('type="file"')
    words = {"en": "May this tool learn from your photo?", "es": "¿Puede esta herramienta aprender de su foto?"}
    assert words[language] in page


def test_without_a_tick_nothing_is_kept_to_learn_from(app, caller: TestClient) -> None:
    here = case(caller)
    page = sent(caller, here, keep="yes")
    assert held(app) == [] and "learning" not in page.text
    assert not any(event.kind == "learn" for event in row_of(app, here).events)


def test_to_learn_is_not_to_keep_for_the_case_and_the_other_way_round(app, caller: TestClient) -> None:
    here = case(caller)
    sent(caller, here, learn="yes")
    (photo,) = held(app)
    row = row_of(app, here)
    with reading(app.state.cases.engine) as connection:
        assert connection.execute(text("SELECT picture, keep_until_ms FROM photos")).all() == [(None, None)]
    assert re.fullmatch("[0-9a-f]{24}", photo.origin) and photo.origin not in (row.id, row.code, photo.photo_id)
    picture = Image.open(io.BytesIO(photo.picture))
    assert not picture.getexif() and (photo.sent_by, photo.label) == ("caregiver", None)
    later = replace(app.state.cases, now_ms=lambda: app.state.cases.now_ms() + 2 * SHELF_MS)
    assert picture_of(later, app.state.shelf, row.id, photo.photo_id) == photo.picture


def test_the_same_photo_again_with_the_tick_is_an_agreement_once(app, caller: TestClient) -> None:
    here = case(caller)
    sent(caller, here)
    for _ in range(2):
        sent(caller, here, learn="yes")
    assert len(held(app)) == 1
    assert [event.kind for event in row_of(app, here).events].count("learn") == 1


def test_one_tap_takes_it_back_and_nothing_of_the_picture_is_left_anywhere(
    own_settings: Callable[..., Settings], toy_resources: Resources, tmp_path: Path
) -> None:
    weights = tmp_path / "weights"
    weights.mkdir()
    app = create_app(own_settings(weights=str(weights)), toy_resources)
    with TestClient(app, headers={"accept": "text/html"}) as caller:
        here = case(caller)
        sent(caller, here, learn="yes", keep="yes")
        sent(caller, here, ANOTHER, keep="yes")
        photo, row = held(app)[0], row_of(app, here)
        (weights / METADATA_FILE).write_text(json.dumps({"version": "v9", "learned_from": [photo.origin]}))
        assert pieces_found(tmp_path, photo.picture) != [], "the search would miss it"
        assert "Take this back and delete these photos" in caller.get(here).text
        done = caller.post(f"{here}/learning")
        assert done.status_code == 200 and "Nothing is learned from your photos" in done.text
        assert pieces_found(tmp_path, photo.picture) == []
        everything = b"".join(path.read_bytes() for path in tmp_path.iterdir() if path.is_file())
        for digest in (hashlib.sha256(PHOTO).hexdigest(), hashlib.sha256(photo.picture).hexdigest()):
            assert digest.encode() not in everything
        assert caller.get(f"{here}/photos/{photo.photo_id}").status_code == 404
        assert held(app) == [] and marked(weights) == {"v9": [photo.origin]}
        assert "Take this back" not in caller.get(here).text
        assert audit_page(app.state.cases).lines[0].action == "withdrawn"
        with reading(app.state.cases.engine) as connection:  # the other consent holds
            kept = connection.execute(text("SELECT id FROM photos WHERE picture IS NOT NULL")).scalars().all()
        assert len(kept) == 1 and kept != [photo.photo_id]
        assert [event.kind for event in row_of(app, here).events][-1] == "withdrawn" and row.code


def test_models_are_named_also_where_weights_may_not_be_written(app, caller: TestClient, tmp_path, monkeypatch, caplog):
    here = case(caller)
    sent(caller, here, learn="yes")
    (photo,) = held(app)
    (tmp_path / METADATA_FILE).write_text(json.dumps({"version": "v9", "learned_from": [photo.origin]}))

    def read_only(path: Path, data: bytes) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("classifier.lineage.write_whole", read_only)
    owner = of_owner(here.rsplit("/", 1)[1])
    gone = withdraw(app.state.cases, app.state.shelf, owner, Who("caregiver"), tmp_path)
    assert gone == Withdrawn(1, {"v9": [photo.origin]}) and held(app) == []
    assert "The model v9 learned from 1" in caplog.text and "Read-only file system" in caplog.text


@pytest.mark.parametrize("by", ["command", "address"])
def test_a_case_deleted_on_request_names_the_models_and_leaves_nothing(
    own_settings, toy_resources: Resources, tmp_path: Path, monkeypatch, capsys, by: str
) -> None:
    weights = tmp_path / "weights"
    weights.mkdir()
    app = create_app(own_settings(weights=str(weights), administrator_token="a token of 16 letters"), toy_resources)
    with TestClient(app, headers={"accept": "text/html"}) as caller:
        here = case(caller)
        sent(caller, here, learn="yes", keep="yes")
        (photo,) = held(app)
        (weights / METADATA_FILE).write_text(json.dumps({"version": "v9", "learned_from": [photo.origin]}))
        if by == "command":
            monkeypatch.setenv("HOISTLORE_DATABASE", app.state.settings.database)
            monkeypatch.setenv("HOISTLORE_WEIGHTS", str(weights))
            assert main(["cases", "delete", photo.code]) == 0
            assert "the model v9 learned from 1 of its photos" in capsys.readouterr().out
        else:
            by_token = {"authorization": "Bearer a token of 16 letters"}
            assert TestClient(app).delete(f"/v1/cases/{photo.case_id}", headers=by_token).status_code == 204
        assert pieces_found(tmp_path, photo.picture) == [] and marked(weights) == {"v9": [photo.origin]}
        assert [line.action for line in audit_page(app.state.cases).lines][:2] == ["delete", "withdrawn"]


def test_what_was_taken_back_can_be_agreed_to_again(app, caller: TestClient) -> None:
    here = case(caller)
    sent(caller, here, learn="yes")
    (first,) = held(app)
    caller.post(f"{here}/learning")
    sent(caller, here)
    assert held(app) == []
    sent(caller, here, learn="yes")
    (again,) = held(app)
    assert again.photo_id == first.photo_id and again.origin != first.origin
    assert caller.get(f"{here}/photos/{again.photo_id}").status_code == 200


def test_another_case_s_photos_stay(app, caller: TestClient) -> None:
    one, other = case(caller), case(caller)
    sent(caller, one, learn="yes")
    sent(caller, other, learn="yes")
    caller.post(f"{one}/learning")
    assert [photo.case_id for photo in held(app)] == [row_of(app, other).id]


def test_the_address_takes_it_back_when_the_case_is_gone(app, caller: TestClient) -> None:
    here = case(caller)
    token, store = here.rsplit("/", 1)[1], app.state.cases
    sent(caller, here, learn="yes")
    (photo,) = held(app)
    with store.engine.begin() as connection:  # as when the case is too old and its photo was labelled
        connection.execute(text("UPDATE learning_photos SET photo_id = NULL"))
        connection.execute(text("DELETE FROM cases"))
    assert agreed(store, of_owner(token)) == 1
    assert "Take this back and delete these photos" in caller.get(f"{here}/learning").text
    assert "Nothing is learned from your photos" in caller.post(f"{here}/learning").text
    assert held(app) == [] and audit_page(store).lines[0].action == "withdrawn"
    assert audit_page(store).lines[0].case_id == photo.case_id


def test_a_deleted_case_takes_its_photos_along_whatever_version_deletes_it(app, caller: TestClient) -> None:
    here = case(caller)
    sent(caller, here, learn="yes")
    with app.state.cases.engine.begin() as connection:
        connection.execute(text("DELETE FROM cases"))
    assert held(app) == []


def test_a_link_and_the_staff_ask_and_take_back_too(app) -> None:
    with TestClient(app) as client:
        ana = Desk(client, "Ana")
        here = ana.open()
        page = client.post(f"{here}/link", data={"form_key": ana.key})
        link = re.search(r'class="address">http://testserver(/[^<]+)<', page.text)[1]
        ana.say(here, "person_in_sling", "person_in_sling", "no")
        phone = TestClient(app, headers={"accept": "text/html"})
        assert 'name="learn"' in phone.get(link).text
        back = sent(phone, link, learn="yes")
        assert "Take this back and delete these photos" in back.text
        phone.post(f"{link}/learning")
        assert held(app) == []
        sent(phone, link, learn="yes")
        case_id = here.rsplit("/", 1)[1]
        assert agreed(app.state.cases, of_case(case_id)) == 1
        assert "Take it back for the sender" in client.get(here).text
        assert client.post(f"{here}/learning", data={"form_key": "no"}).status_code == 403
        client.post(f"{here}/learning", data={"form_key": ana.key})
        assert held(app) == [] and app.state.cases.by_id(case_id).events[-1].actor == "Ana"


def test_a_technician_s_upload_says_that_it_was_agreed(app, monkeypatch) -> None:
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TECHNICIAN)
    with TestClient(app) as client:
        tom = Desk(client, "Tom")
        here = tom.open()
        assert 'name="learn"' in client.get(here).text
        files = {"photos": ("a.jpg", PHOTO, "image/jpeg")}
        client.post(f"{here}/photos", data={"form_key": tom.key, "version": "1", "learn": "yes"}, files=files)
        assert [photo.sent_by for photo in held(app)] == ["technician"]


def test_the_migration_touches_no_table_that_the_version_before_writes() -> None:
    made = set(v0006_learning_photos.TABLES)
    source = Path(v0006_learning_photos.__file__).read_text("utf-8")
    assert set(re.findall(r'create_table\(\s*"(\w+)"', source)) == made
    assert not re.search(r"add_column|alter_column|drop_column|batch_alter", source)


def test_one_random_name_is_one_photo(app, caller: TestClient) -> None:
    here = case(caller)
    sent(caller, here, learn="yes")
    (photo,) = held(app)
    with pytest.raises(Exception, match=r"(?i)unique"), app.state.cases.engine.begin() as connection:
        connection.execute(insert(learning_photos).values(photo._mapping))
