"""Work on a case becomes labels: readings accepted or corrected, a closing, a part that was exchanged."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.documents import CaseDocument
from api.cases.events import CaseEvent
from api.cases.expiry import delete_abandoned
from api.cases.export import export_case
from api.cases.learned.consent import named, of_case, withdraw
from api.cases.learned.labels import FROM_THE_PHOTO, MODEL, OWNER, PhotoLabel, labels_of
from api.cases.learned.learned_photos import ready_photos
from api.cases.learned.photo_export import export_photos
from api.cases.photos import DAY_MS, CasePhoto, add_photo, photos_of
from api.cases.store import Said, Who
from api.identification import NamedPhoto, Resources
from api.servers.shelf import shelf_of
from api.settings import Settings
from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.quality import Quality
from classifier.taxonomy import CONCEPTS, NOT_VISIBLE
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.api.test_agent_pages import TOKEN, Desk
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

TECHNICIAN = "the technicians' long token"
BOX = ("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})
BOTH = encoded(blob_photo(BOX, ("actuator_head", (0.75, 0.5), 0.2, {"black": "left"})))
HUNG_TOP = {"stop_position": "top", "battery": "hung_pack", "service_buttons": "front", "charge_display": "gauge"}


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(agent_token=TOKEN, technician_token=TECHNICIAN), toy_resources)


@pytest.fixture
def ana(app) -> Iterator[Desk]:
    with TestClient(app) as client:
        yield Desk(client, "Ana")


def technician(app, monkeypatch: pytest.MonkeyPatch, name: str = "Tom") -> Desk:
    with monkeypatch.context() as signing_in:
        signing_in.setattr("tests.api.test_agent_pages.TOKEN", TECHNICIAN)
        return Desk(TestClient(app), name)


@pytest.fixture
def tom(app, monkeypatch) -> Desk:
    return technician(app, monkeypatch)


def photographed(app, photo: bytes = BOTH) -> str:
    """The page of a case, dead and with nobody up, with one photo that may be learned from."""
    state, caller = app.state, Who("caregiver")
    case_id, _ = state.cases.start("en", caller, Said("person_in_sling", {"id": "", "answer": "no"}, {}))
    for kind, answer in (("danger_signs", "none"), ("symptom", "dead")):
        state.cases.say(case_id, state.cases.version(case_id), Said(kind, {"id": kind, "answer": answer}, {}), caller)
    named = NamedPhoto("a.jpg", lambda: photo)
    add_photo(state.cases, state.shelf, case_id, named, 0, state.resources, caller, learn=True)
    return f"/en/staff/cases/{case_id}"


def tell(desk: Desk, here: str, kind: str, id_: str, answer: str, **more: str):
    """Say one thing, without looking at the page that comes then."""
    version = str(desk.client.app.state.cases.version(here.rsplit("/", 1)[1]))
    form = {"form_key": desk.key, "version": version, "kind": kind, "id": id_, "answer": answer} | more
    return desk.client.post(f"{here}/answers", data=form, follow_redirects=False)


def only(app) -> PhotoLabel:
    (ready,), left_out = ready_photos(app.state.cases)
    assert left_out == []
    return ready.label


def reasons(app) -> str:
    ready, left_out = ready_photos(app.state.cases)
    assert ready == []
    return "; ".join(left_out)


def test_a_case_that_a_technician_closes_is_a_labelled_photo_without_a_further_tap(tom: Desk, app) -> None:
    """The question which box it is belongs to the work; the lowering is confirmed by the photo."""
    here = photographed(app)
    tell(tom, here, "observation", "which_box", "hung-top")
    page = tom.client.get(here).text
    assert "Closing also says which lift this is" in page and "hung on the box as a pack" in page
    tell(tom, here, "closed", "in_service", "pack_worn", proof="measured")
    label = only(app)
    assert [(part.kind, part.box_from, part.hidden) for part in label.parts] == [
        ("control_box", MODEL, None), ("actuator_head", MODEL, None)
    ]  # fmt: skip
    assert [part.values for part in label.parts] == [HUNG_TOP, {"lowering": "twist_knob"}]
    assert (label.said_by, label.surely) == ("technician", "at_the_lift")


def test_readings_judged_on_a_crop_label_its_box_and_what_it_hides(tom: Desk, app) -> None:
    here = photographed(app)
    (photo,) = photos_of(app.state.cases, here.rsplit("/", 1)[1])
    for concept, value in HUNG_TOP.items():
        answer = "front" if concept == "stop_position" else value  # one is corrected
        tell(tom, here, "observation", concept, answer, photo=photo.id, place="0")
    tell(tom, here, "observation", "lowering", "twist_knob", photo=photo.id, place="1")
    box, head = only(app).parts
    assert box.values == HUNG_TOP | {"stop_position": "front"} and box.box == photo.reading.subjects[0].box
    assert (box.box_from, box.hidden) == (OWNER, ("service_buttons", "charge_display"))
    assert (head.box_from, head.hidden) == (OWNER, ())
    assert only(app).surely == FROM_THE_PHOTO, "nobody said that they stood at the lift"


def test_a_reading_that_is_taken_back_is_no_label_any_more(tom: Desk, app) -> None:
    here = photographed(app)
    for concept, value in HUNG_TOP.items():
        tell(tom, here, "observation", concept, value)
    assert only(app).parts[0].values == HUNG_TOP
    tell(tom, here, "observation", "battery", "unsure")
    assert "nobody said: battery" in reasons(app)


def test_the_part_that_ended_the_trouble_labels_an_agent_s_case(ana: Desk, app) -> None:
    here = photographed(app)
    tell(ana, here, "closed", "in_service", "pack_worn", proof="exchanged", part="pack-hung")
    label = only(app)
    assert [part.values for part in label.parts] == [HUNG_TOP] and (label.said_by, label.surely) == (
        "agent", "by_the_part"
    )  # fmt: skip
    assert label.parts[0].box_from == MODEL, "a part beside it is not labelled, so it teaches no finder"
    tell(ana, here, "undo", "closed", "")
    assert "nobody said" in reasons(app)


@pytest.mark.parametrize(
    "said",
    [
        {"proof": "exchanged"},
        {"proof": "mended", "part": "pack-hung"},  # it works, but not because of the part
        {"proof": "exchanged", "part": "board-hung"},  # not what was at fault
        {"proof": "exchanged", "part": "no-such-part"},
    ],
)
def test_a_closing_that_does_not_tell_the_lift_is_no_label(ana: Desk, app, said: dict[str, str]) -> None:
    here = photographed(app)
    assert tell(ana, here, "closed", "in_service", "pack_worn", **said).status_code == 303
    assert "nobody said: stop_position, battery" in reasons(app)


def test_what_a_caller_says_on_the_telephone_is_no_label(ana: Desk, app) -> None:
    here = photographed(app)
    for concept, value in HUNG_TOP.items():
        tell(ana, here, "observation", concept, value)
    assert "nobody said" in reasons(app)


def test_a_closing_against_the_readings_is_told_and_not_learned(tom: Desk, app) -> None:
    here = photographed(app)
    for concept, value in HUNG_TOP.items():
        tell(tom, here, "observation", concept, value)
    tell(tom, here, "closed", "in_service", "pack_worn", proof="exchanged", part="pack-stacked")
    assert "the closing says something else of" in reasons(app)


def test_a_photo_that_was_taken_back_is_left_out_with_the_reason(tom: Desk, app) -> None:
    here = photographed(app)
    tell(tom, here, "undo", "", "")
    assert "the photo was taken back in its case" in reasons(app)


def test_only_parts_that_tell_the_lift_are_offered(ana: Desk, app) -> None:
    page = ana.client.get(photographed(app)).text
    offered = {part.id for part in load(DEMO_CATALOGUE).parts if f'<option value="{part.id}"' in page}
    assert {"pack-hung", "actuator-tabs"} <= offered and not {"fuse-any", "hand-pack"} & offered


def sent_label(desk: Desk, here: str, photo: str, **changed: str):
    """Send the form of the photo's second part, the head."""
    version = str(desk.client.app.state.cases.version(here.rsplit("/", 1)[1]))
    box = {"left": "60", "top": "30,5", "right": "90", "bottom": "70"}
    said = {"place": "1", "kind": "actuator_head", "value-lowering": "squeeze_tabs", "how": "at_the_lift"}
    form = {"form_key": desk.key, "version": version, **box, **said, **changed}
    return desk.client.post(f"{here}/photos/{photo}/label", data=form, follow_redirects=False)


def test_a_part_is_labelled_once_however_often_the_form_is_sent(tom: Desk, app) -> None:
    here = photographed(app)
    case_id = here.rsplit("/", 1)[1]
    (photo,) = photos_of(app.state.cases, case_id)
    version = str(app.state.cases.version(case_id))
    for _ in range(2):
        assert sent_label(tom, here, photo.id, version=version).status_code == 303
    (said,) = [event.said for event in app.state.cases.by_id(case_id).events if event.kind == "label"]
    assert said["box"] == [0.6, 0.305, 0.9, 0.7] and said["values"] == {"lowering": "squeeze_tabs"}
    assert "Motor end of the arm; the lowering mechanism: " in tom.client.get(f"{here}/history").text
    assert only(app).parts[0].kind == "actuator_head" and only(app).said_by == "technician"


@pytest.mark.parametrize(
    "changed",
    [
        {"left": "95"}, {"left": "-1"}, {"right": "101"}, {"top": "nan"}, {"bottom": ""}, {"left": "89.9"},
        {"kind": "sofa"}, {"value-lowering": "magic"}, {"how": "by_the_part"}, {"place": "7"}, {"place": "-1"},
    ],
)  # fmt: skip
def test_what_cannot_be_said_of_a_part_is_refused_and_nothing_is_recorded(tom: Desk, app, changed) -> None:
    here = photographed(app)
    case_id = here.rsplit("/", 1)[1]
    (photo,) = photos_of(app.state.cases, case_id)
    page = sent_label(tom, here, photo.id, **changed)
    assert page.status_code == 422 and 'role="alert"' in page.text
    assert not any(event.kind == "label" for event in app.state.cases.by_id(case_id).events)


def test_only_a_technician_labels_and_only_what_may_be_learned_from(tom: Desk, ana: Desk, app) -> None:
    here = photographed(app)
    case_id = here.rsplit("/", 1)[1]
    (photo,) = photos_of(app.state.cases, case_id)
    assert sent_label(ana, here, photo.id).status_code == 403
    withdraw(app.state.cases, app.state.shelf, of_case(case_id), Who("agent", "Ana"), Path(app.state.settings.weights))
    assert tom.client.get(f"{here}/photos/{photo.id}/label").status_code == 404
    assert sent_label(tom, here, photo.id).status_code == 404


def test_a_case_s_document_says_since_when_its_photo_may_be_learned_from(app) -> None:
    case_id = photographed(app).rsplit("/", 1)[1]
    (photo,) = export_case(app.state.cases, case_id, Who("administrator"))["photos"]
    assert photo["learn_since_ms"] == photo["received_ms"] or photo["learn_since_ms"] > photo["received_ms"]
    assert photo["picture_jpeg_base64"] and photo["keep_until_ms"] is None
    CaseDocument.model_validate(export_case(app.state.cases, case_id, Who("administrator")))


def test_on_either_database_from_consent_to_export_and_out_again(case_store, toy_resources, tmp_path: Path) -> None:
    """Agree, label, export, outlive the case, withdraw by its code."""
    case_id, _ = case_store.start("en", Who("caregiver"), Said("person_in_sling", {"id": "", "answer": "no"}, {}))
    named_photo = NamedPhoto("a.jpg", lambda: BOTH)
    shelf = shelf_of(case_store.engine)
    add_photo(case_store, shelf, case_id, named_photo, 0, toy_resources, Who("caregiver"), learn=True)
    said = {"id": "", "answer": "", "proof": "exchanged", "part": "pack-hung", "states": HUNG_TOP}
    case_store.say(case_id, case_store.version(case_id), Said("closed", said, {}), Who("agent", "Ana"))
    code = case_store.by_id(case_id).code
    assert export_photos(case_store, tmp_path / "out", Who("administrator")).whole == 1
    late = replace(case_store, now_ms=lambda: case_store.now_ms() + 400 * DAY_MS)
    assert delete_abandoned(late, 30) == 1
    again = export_photos(case_store, tmp_path / "out", Who("administrator"))
    assert (again.whole, again.written, again.withdrawn) == (1, [], [])
    assert withdraw(case_store, shelf, named(code.lower()), Who("agent", "Ana"), tmp_path).pictures == 1
    after = export_photos(case_store, tmp_path / "out", Who("administrator"))
    assert after.whole == 0 and after.withdrawn == after.removed and len(after.withdrawn) == 1


def reading(*kinds: str) -> CasePhoto:
    def read(concept: str) -> ConceptReading:
        return ConceptReading(dict.fromkeys(CONCEPTS[concept], 0.0) | {NOT_VISIBLE: 1.0}, (NOT_VISIBLE,))

    concepts = {"control_box": HUNG_TOP, "actuator_head": {"lowering": ""}, "charger": {}}
    subjects = tuple(SubjectReading(k, (0.1, 0.1, 0.5, 0.5), 0.9, {c: read(c) for c in concepts[k]}) for k in kinds)
    return CasePhoto("p", PhotoReading("a", 100, 100, Quality(True, ()), subjects))


def events(*said: tuple[str, str, dict]) -> list[CaseEvent]:
    """A photo, and then what these people said: name, kind, said."""
    photo = CaseEvent(1, 0, "caregiver", "", "photo", {"id": "p"}, {})
    return [photo, *(CaseEvent(n, 0, "technician", who, kind, s, {}) for n, (who, kind, s) in enumerate(said, 2))]


def label(seen: int, box=(0.1, 0.1, 0.5, 0.5), place: int = 0, kind: str = "actuator_head", **values: str) -> dict:
    values = values or {"lowering": "none"}
    return {"id": "p", "place": place, "kind": kind, "box": list(box), "values": values, "hidden": [],
            "how": "at_the_lift", "seen": seen}  # fmt: skip


def folded(photo: CasePhoto, *said: tuple[str, str, dict]) -> PhotoLabel:
    (one,) = labels_of(events(*said), [photo])
    return one


def test_two_people_at_once_are_both_kept_and_nothing_is_learned_until_one_decides() -> None:
    head = reading("actuator_head")
    both = (("Tom", "label", label(1)), ("Rob", "label", label(1, lowering="squeeze_tabs")))
    assert "people say different things of its part 1" in folded(head, *both).open
    decided = folded(head, *both, ("Rob", "label", label(3, lowering="twist_knob")))
    assert decided.open == "" and decided.parts[0].values == {"lowering": "twist_knob"}
    assert folded(head, both[0], ("Rob", "label", label(1))).open == "", "they agree"


def test_boxes_of_two_people_have_to_mark_the_same_place() -> None:
    head = reading("actuator_head")
    near = (("Tom", "label", label(1)), ("Rob", "label", label(1, box=(0.12, 0.1, 0.52, 0.5))))
    far = (near[0], ("Rob", "label", label(1, box=(0.6, 0.6, 0.9, 0.9))))
    assert folded(head, *near).open == "" and "different things" in folded(head, *far).open


def test_a_person_corrects_their_own_label() -> None:
    own = folded(
        reading("actuator_head"), ("Tom", "label", label(1)), ("Tom", "label", label(1, lowering="twist_knob"))
    )
    assert own.open == "" and own.parts[0].values == {"lowering": "twist_knob"}


def test_what_is_said_of_the_lift_after_a_label_that_did_not_see_it_is_told() -> None:
    later = ("Rob", "observation", {"id": "lowering", "answer": "twist_knob"})
    assert "another lowering since" in folded(reading("actuator_head"), ("Tom", "label", label(1)), later).open


def test_a_value_left_open_in_a_label_is_the_lift_s() -> None:
    said = ("Rob", "observation", {"id": "lowering", "answer": "twist_knob"})
    one = folded(reading("actuator_head"), said, ("Tom", "label", label(2, lowering="unsure")))
    assert one.open == "" and one.parts[0].values == {"lowering": "twist_knob"}
    assert (
        "nobody said: lowering" in folded(reading("actuator_head"), ("Tom", "label", label(1, lowering="unsure"))).open
    )


def test_a_part_that_is_none_and_a_photo_of_nothing() -> None:
    none = label(1, kind="") | {"values": {}}
    nothing = folded(reading("charger"), ("Tom", "label", none))
    assert nothing.open == "" and nothing.parts == ()
    assert "no part was found" in folded(reading()).open
    drawn = folded(reading(), ("Tom", "label", label(1)))
    assert drawn.open == "" and drawn.parts[0].box_from == OWNER


def test_two_boxes_in_one_photo_are_each_to_be_said() -> None:
    said = ("Tom", "observation", {"id": "lowering", "answer": "twist_knob"})
    two = reading("actuator_head", "actuator_head")
    assert "more than one actuator_head" in folded(two, said).open
    first = ("Tom", "label", label(2))
    assert folded(two, said, first).open == ""
