"""The basket: put in, changed, taken out as events; judged against the lift; nothing lost, nothing overwritten."""

import csv
import io
import json
import re
import threading
from html import unescape

import pytest
from fastapi.testclient import TestClient

from api.cases.basket import basket_of, kept_in
from api.cases.events import in_force
from api.cases.export import export_case
from api.cases.store import CaseStore, Conflict, Said, Who
from api.cases.view import view
from tests.api.test_agent_pages import TOKEN, Desk
from tests.api.test_technician_pages import app, opened, send, tom
from tests.guidance.lifts import HUNG_TOP

pytestmark = pytest.mark.walk

__all__ = ["app", "tom"]

STACKED_FRONT = {**HUNG_TOP, "stop_position": "front", "battery": "stacked_pack", "service_buttons": "side"}
"""The values of another box in the demo catalogue."""


NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})


def confirmed(tom: Desk) -> str:
    """A case whose box is confirmed, and whose lowering mechanism is not."""
    here = opened(tom)
    for concept, value in HUNG_TOP.items():
        tom.say(here, "observation", concept, value)
    return here


def basket_in(tom: Desk, app, here: str):
    row = app.state.cases.by_id(here.rsplit("/", 1)[1])
    seen = view(row, app.state.cases, app.state.resources, "technician")
    return basket_of(seen, app.state.resources.catalogue)


def lines_in(tom: Desk, app, here: str) -> dict[str, int]:
    return {line.id: line.quantity for line in basket_in(tom, app, here).lines}


def test_parts_that_fit_are_put_in_changed_and_taken_out(tom: Desk, app) -> None:
    here = confirmed(tom)
    page = send(tom, here, "basket", part="pack-hung", quantity="1")
    assert page.status_code == 200 and str(page.url).endswith("#basket")
    send(tom, here, "basket", part="fuse-any", quantity="2")
    assert lines_in(tom, app, here) == {"pack-hung": 1, "fuse-any": 2}
    page = send(tom, here, "basket", part="pack-hung", quantity="3")
    assert 'value="3"' in page.text and "In it: 3" in page.text
    send(tom, here, "basket", part="fuse-any", quantity="0")
    assert lines_in(tom, app, here) == {"pack-hung": 3}
    send(tom, here, "answers", kind="undo", id="", answer="")
    assert lines_in(tom, app, here) == {"pack-hung": 3, "fuse-any": 2}, "an undo takes the last change back"


def test_a_part_is_ordered_neither_before_it_is_sure_to_fit_nor_when_it_does_not(tom: Desk, app) -> None:
    here = opened(tom)
    open_page = tom.client.get(here).text
    assert "DEMO-" not in open_page, "a number came before the box was confirmed"
    refused = send(tom, here, "basket", part="pack-hung", quantity="1")
    assert refused.status_code == 422 and "It is not sure yet whether this part fits" in refused.text
    assert "DEMO-" not in refused.text
    here = confirmed(tom)
    for part, words in (
        ("charger-stacked", "does not fit this lift"),
        ("actuator-twist", "not sure yet"),
        ("no-such", "not in the catalogue"),
    ):
        refused = send(tom, here, "basket", part=part, quantity="1")
        assert refused.status_code == 422 and words in unescape(refused.text), part
    assert lines_in(tom, app, here) == {}


def test_a_superseded_part_is_refused_with_the_number_of_the_one_that_is_supplied(tom: Desk, app) -> None:
    here = opened(tom)
    tom.say(here, "observation", "which_box", "stacked-front")
    for concept, value in {
        **HUNG_TOP,
        "stop_position": "front",
        "battery": "stacked_pack",
        "service_buttons": "side",
    }.items():
        tom.say(here, "observation", concept, value)
    refused = send(tom, here, "basket", part="pack-stacked-old", quantity="1")
    assert refused.status_code == 422 and "Order DEMO-1202 instead." in refused.text


@pytest.mark.parametrize("quantity", ["", "-1", "1.5", "many", "100", "1e2", "²", "9" * 5000])
def test_a_quantity_that_is_none_changes_nothing_and_is_kept_in_its_field(tom: Desk, app, quantity: str) -> None:
    here = confirmed(tom)
    send(tom, here, "basket", part="pack-hung", quantity="2")
    refused = send(tom, here, "basket", part="pack-hung", quantity=quantity)
    assert refused.status_code == 422 and "is no quantity" in refused.text
    assert lines_in(tom, app, here) == {"pack-hung": 2}
    assert f'value="{quantity}"' in refused.text


def test_a_line_stays_and_warns_when_the_lift_turns_out_to_be_another(tom: Desk, app) -> None:
    here = confirmed(tom)
    send(tom, here, "basket", part="pack-hung", quantity="1")
    page = tom.say(here, "observation", "battery", "built_in")
    assert "It is not sure any more whether this fits." in page.text
    assert "NOT SURE YET" in page.text, "the summary says so as well"
    lower = send(tom, here, "basket", part="pack-hung", quantity="0")
    assert lower.status_code == 200 and lines_in(tom, app, here) == {}


def test_two_people_at_one_basket_a_conflict_is_shown_and_nothing_is_overwritten(tom: Desk, app) -> None:
    here = confirmed(tom)
    version = re.search(r'name="version" value="(\d+)', tom.client.get(here).text)[1]
    send(tom, here, "basket", part="pack-hung", quantity="2")
    form = {"form_key": tom.key, "version": version, "part": "pack-hung", "quantity": "5"}
    shown = tom.client.post(f"{here}/basket", data=form)
    assert shown.status_code == 409 and "Somebody else changed this case meanwhile." in shown.text
    assert lines_in(tom, app, here) == {"pack-hung": 2}
    assert 'value="5"' in shown.text, "what was typed is still there, to be sent again"


def test_a_double_tap_counts_once(tom: Desk, app) -> None:
    here = confirmed(tom)
    version = re.search(r'name="version" value="(\d+)', tom.client.get(here).text)[1]
    form = {"form_key": tom.key, "version": version, "part": "pack-hung", "quantity": "1"}
    pages = [tom.client.post(f"{here}/basket", data=form) for _ in range(2)]
    assert [page.status_code for page in pages] == [200, 200]
    assert app.state.cases.version(here.rsplit("/", 1)[1]) == int(version) + 1


def test_two_technicians_interleave_their_changes_and_none_is_lost(case_store: CaseStore) -> None:
    """Each raises one part fifty times, again whenever the other was faster; the counts add up."""
    case_id, _ = case_store.start(
        "en", Who("technician", "Tom"), Said("person_in_sling", {"id": "", "answer": "no"}, {})
    )

    def work(part: str) -> None:
        for quantity in range(1, 51):
            while True:
                version = case_store.version(case_id)
                said = {"id": part, "number": part, "name": part, "quantity": quantity}
                try:
                    case_store.say(case_id, version, Said("basket", said, {}), Who("technician", part))
                    break
                except Conflict:
                    continue

    threads = [threading.Thread(target=work, args=(part,)) for part in ("one", "other")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    row = case_store.by_id(case_id)
    assert {id_: said["quantity"] for id_, said in kept_in(in_force(row.events)).items()} == {"one": 50, "other": 50}
    assert row.version == 101


def test_what_to_confirm_stands_beside_the_basket_and_is_ticked_by_name(tom: Desk, app) -> None:
    here = confirmed(tom)
    send(tom, here, "basket", part="fuse-any", quantity="1")
    (row,) = basket_in(tom, app, here).confirm
    assert row.text == "The fuse was measured open, and what blew it was found first." and row.numbers == ("DEMO-4901",)
    page = tom.client.get(here).text
    assert "Do not order yet. Still to confirm: 1." in page
    page = send(tom, here, "checked", id=row.id, answer="yes").text
    assert "Confirmed by Tom" in page and "Everything fits and is confirmed." in page
    assert not basket_in(tom, app, here).open
    send(tom, here, "checked", id=row.id, answer="no")
    assert basket_in(tom, app, here).open == 1
    for id_, answer in (("confirm-battery-1", "yes"), (row.id, "perhaps"), ("", "")):
        assert send(tom, here, "checked", id=id_, answer=answer).status_code == 422


def test_what_goes_along_is_offered_and_mixed_families_are_warned_of(tom: Desk, app) -> None:
    here = confirmed(tom)
    page = send(tom, here, "basket", part="charger-hung", quantity="1").text
    assert "Order together with these" in page and "DEMO-2431" in page.split("Order together with these")[1]
    page = send(tom, here, "basket", part="adapter-hung", quantity="1").text
    assert "Order together with these" not in page
    case_id = here.rsplit("/", 1)[1]
    stray = {"id": "charger-sealed", "number": "DEMO-2101", "name": "charger for sealed boxes", "quantity": 1}
    store = app.state.cases
    store.say(case_id, store.version(case_id), Said("basket", stray, {}), Who("technician", "before the correction"))
    page = tom.client.get(here).text
    assert "This does not fit what is known of the lift now." in page and "They are never mixed." in page
    assert "DO NOT MIX: hung, sealed" in page


def test_a_part_that_the_catalogue_has_dropped_stays_in_the_basket_and_can_be_taken_out(tom: Desk, app) -> None:
    here = confirmed(tom)
    case_id, store = here.rsplit("/", 1)[1], app.state.cases
    gone = {"id": "dropped", "number": "DEMO-0001", "name": "a part of last year", "quantity": 2}
    store.say(case_id, store.version(case_id), Said("basket", gone, {}), Who("technician", "Tom"))
    page = tom.client.get(here).text
    assert "DEMO-0001" in page and "The catalogue does not know this part any more." in page
    assert send(tom, here, "basket", part="dropped", quantity="3").status_code == 422
    assert send(tom, here, "basket", part="dropped", quantity="1").status_code == 200
    send(tom, here, "basket", part="dropped", quantity="0")
    assert lines_in(tom, app, here) == {}


def test_the_basket_is_in_the_sheet_the_files_the_export_and_the_summary(tom: Desk, app) -> None:
    here = confirmed(tom)
    send(tom, here, "basket", part="pack-hung", quantity="2")
    send(tom, here, "checked", id="confirm-battery-1", answer="yes")
    page = tom.client.get(here).text
    assert "To order: 2 × DEMO-1301 hung battery pack" in page
    sheet = tom.client.get(f"{here}/sheet").text
    assert "DEMO-1301" in sheet and "Confirmed by Tom" in sheet
    rows = list(csv.DictReader(io.StringIO(tom.client.get(f"{here}/basket.csv").text)))
    assert [(r["quantity"], r["number"], r["standing"]) for r in rows] == [("2", "DEMO-1301", "fits")]
    assert rows[0]["confirm_before_order"].startswith("The charger charges another pack")
    got = tom.client.get(f"{here}/sheet.json")
    assert got.headers["content-type"] == "application/json" and "attachment" in got.headers["content-disposition"]
    document = got.json()
    assert document["order"]["lines"] == [
        {"quantity": 2, "number": "DEMO-1301", "name": "hung battery pack", "standing": "fits"}
    ]
    assert [row["checked_by"] for row in document["order"]["confirm_before_order"]] == ["Tom", ""]
    fits = {row["name"]: (row["fit"], row["number"]) for row in document["parts"]}
    assert fits["hung battery pack"] == ("fits", "DEMO-1301")
    assert fits["actuator with a knob to twist"] == ("not_sure_yet", None), "a number came before it was sure"
    exported = export_case(app.state.cases, here.rsplit("/", 1)[1], Who("administrator"))
    assert exported["to_order"] == [
        {"id": "pack-hung", "number": "DEMO-1301", "name": "hung battery pack", "quantity": 2}
    ]
    assert json.dumps(exported)


def test_an_agent_reads_the_order_and_changes_nothing_in_it(tom: Desk, app, monkeypatch) -> None:
    here = confirmed(tom)
    send(tom, here, "basket", part="pack-hung", quantity="1")
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TOKEN)
    agent = Desk(TestClient(app), "Ana")
    page = agent.client.get(here).text
    assert "To order: 1 × DEMO-1301 hung battery pack" in page and "Take out" not in page
    assert send(agent, here, "basket", part="pack-hung", quantity="9").status_code == 403
    assert send(agent, here, "checked", id="confirm-battery-1", answer="yes").status_code == 403
    form = {"version": "1", "part": "pack-hung", "quantity": "9"}
    assert tom.client.post(f"{here}/basket", data=form).status_code == 403, "a form of another site"
    assert lines_in(tom, app, here) == {"pack-hung": 1}


def test_a_caregiver_s_step_back_takes_nothing_out_of_the_basket(
    case_store: CaseStore,
) -> None:
    case_id, _ = case_store.start("en", Who("caregiver"), NOBODY_UP)
    said = {"id": "fuse-any", "number": "DEMO-4901", "name": "fuse", "quantity": 1}
    for kind, what, who in (
        ("no_photo", {}, "caregiver"),
        ("basket", said, "technician"),
        ("undo", {}, "caregiver"),
        ("undo", {}, "caregiver"),
    ):
        case_store.say(case_id, case_store.version(case_id), Said(kind, what, {}), Who(who))
    assert [e.kind for e in in_force(case_store.by_id(case_id).events)] == ["person_in_sling", "basket"]


def test_an_alternative_is_refused_while_the_other_lies_in_the_basket(tom: Desk, app) -> None:
    here = opened(tom)
    box = {"stop_position": "front", "battery": "built_in", "service_buttons": "side", "charge_display": "lamp_row"}
    for concept, value in {"which_box": "sealed-front", **box}.items():
        tom.say(here, "observation", concept, value)
    page = send(tom, here, "basket", part="blocks-sealed-front", quantity="1")
    assert page.status_code == 200
    table = page.text
    assert table.index("DEMO-1102") < table.index("DEMO-1101"), "the exact one comes first"
    refused = send(tom, here, "basket", part="blocks-sealed-top", quantity="1")
    assert refused.status_code == 422 and "are alternatives" in refused.text
    send(tom, here, "basket", part="blocks-sealed-front", quantity="0")
    assert send(tom, here, "basket", part="blocks-sealed-top", quantity="1").status_code == 200
