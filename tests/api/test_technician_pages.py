"""What a technician adds: readings judged, the plate's code, parts to confirm, the job sheet."""

import io
import re
from collections.abc import Callable, Iterator
from html import unescape

import pytest
import zxingcpp
from fastapi.testclient import TestClient
from PIL import Image

from api.app import create_app
from api.cases.export import export_case
from api.cases.store import Said, Who
from api.http.slots import Full
from api.identification import Resources
from api.settings import MOST_PHOTOS, Settings
from tests.api.test_agent_pages import PHOTO, TOKEN, Desk, to_symptom
from tests.api.test_gs1 import UDI, picture
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

TECHNICIAN = "the technicians' long token"


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    tokens = {"agent_token": TOKEN, "technician_token": TECHNICIAN}
    return create_app(own_settings(**tokens), toy_resources)


@pytest.fixture
def tom(app, monkeypatch) -> Iterator[Desk]:
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TECHNICIAN)
    with TestClient(app) as client:
        yield Desk(client, "Tom")


def opened(tom: Desk) -> str:
    here = to_symptom(tom)
    tom.say(here, "symptom", "symptom", "dead")
    tom.say(here, "observation", "which_box", "hung-top")
    return here


def send(tom: Desk, here: str, what: str, **fields):
    version = re.search(r'name="version" value="(\d+)', tom.client.get(here).text)[1]
    files = {"photos": fields.pop("photo")} if "photo" in fields else None
    return tom.client.post(f"{here}/{what}", data={"form_key": tom.key, "version": version, **fields}, files=files)


def photographed(tom: Desk, app, here: str) -> str:
    """The case's page after a caller has sent the photo through a link."""
    page = tom.client.post(f"{here}/link", data={"form_key": tom.key})
    link = re.search(r'class="address">http://testserver(/[^<]+)<', page.text)[1]
    TestClient(app).post(f"{link}/photos", files={"photos": PHOTO})
    return tom.client.get(here).text


def test_readings_are_judged_and_one_failed_block_is_not_hidden_by_the_sum(tom: Desk) -> None:
    """12.65 V + 10.2 V adds up to what a half-charged pack shows (arithmetic)."""
    here = opened(tom)
    page = send(tom, here, "readings", block_1_v="12,65", block_2_v="10.2", rest_hours="12", meter_error_percent="0.5")
    assert "Battery: failed." in page.text
    assert "Battery: failed." not in send(tom, here, "answers", kind="undo", id="", answer="").text


def test_each_block_is_judged_under_load_with_its_temperature(tom: Desk) -> None:
    """Ohm by hand: 5.8 V / 8 A = 0.7 ohm for the second block."""
    here = opened(tom)
    page = send(
        tom, here, "readings", block_1_v="12.8", block_2_v="12.8", rest_hours="12", meter_error_percent="0.5",
        loaded_block_1_v="12,2", loaded_block_2_v="7.0", load_current_a="8", temperature_c="20",
    ).text  # fmt: skip
    assert "Battery: failed." in page and "Block 1: good." in page and "Block 2: failed." in page
    assert 'name="loaded_block_2_v" inputmode="decimal" autocomplete="off" value="7"' in page
    assert "Both blocks under load, V: 12.2, 7" in page


def test_readings_from_before_a_new_pack_leave_the_form_and_the_verdict(tom: Desk, app) -> None:
    here = opened(tom)
    send(tom, here, "readings", block_1_v="12,65", block_2_v="10.2", rest_hours="12", meter_error_percent="0.5")
    case_id = here.rsplit("/", 1)[1]
    store, replaced = app.state.cases, Said("step", {"id": "replace_pack", "answer": "still"}, {})
    store.say(case_id, store.version(case_id), replaced, Who("technician", "Tom", ""))
    page = tom.client.get(here).text
    assert "Battery: failed." not in page and "worked on after these readings" in page
    assert 'name="block_1_v" inputmode="decimal" autocomplete="off" value=""' in page


@pytest.mark.parametrize(
    "given",
    [{}, {"pack_v": "full"}, {"pack_v": "300"}, {"pack_v": "nan"}, {"rest_hours": "inf"},
     {"block_1_v": "-1", "block_2_v": "12"}],
)  # fmt: skip
def test_readings_that_no_meter_gives_change_nothing(tom: Desk, app, given: dict[str, str]) -> None:
    here = opened(tom)
    before = app.state.cases.version(here.rsplit("/", 1)[1])
    page = send(tom, here, "readings", **given)
    assert page.status_code == 422 and 'role="alert"' in page.text
    assert app.state.cases.version(here.rsplit("/", 1)[1]) == before
    assert all(f'value="{typed}"' in page.text for typed in given.values()), "what was typed is still there"


def test_readings_that_were_entered_stand_in_their_fields_so_that_one_more_joins_them(tom: Desk) -> None:
    here = opened(tom)
    page = send(tom, here, "readings", block_1_v="12,65", block_2_v="12.6", rest_hours="12").text
    shown = dict(re.findall(r'name="(\w+)" inputmode="decimal" autocomplete="off" value="([\d.]*)"', page))
    assert shown == {
        "block_1_v": "12.65", "block_2_v": "12.6", "pack_v": "", "rest_hours": "12", "meter_error_percent": "",
        "loaded_v": "", "load_current_a": "", "temperature_c": "", "charge_hours": "", "gauge_bars_percent": "",
        "loaded_block_1_v": "", "loaded_block_2_v": "",
    }  # fmt: skip
    assert f"<dt>First block at rest, V</dt><dd>{shown['block_1_v']}</dd>" in tom.client.get(f"{here}/sheet").text


def test_what_the_charger_the_gauge_and_the_beeper_said_is_judged_as_well(tom: Desk) -> None:
    here = opened(tom)
    page = send(tom, here, "readings", charge_hours="0.5", gauge_bars_percent="75", beeps_under_load="yes").text
    assert "Battery: low." in page and "full after 0.5 h" in page and "beeps under load" in page
    assert '<option value="yes" selected>' in page
    assert "From flat to full, hours: 0.5; Gauge of the box, %: 75; Beeps while the arm raises: Yes" in page
    assert "<dt>Beeps while the arm raises</dt><dd>Yes</dd>" in tom.client.get(f"{here}/sheet").text


def photo(n: int) -> tuple[str, bytes, str]:
    """A photo that is like no other, under the name that a tablet gives every one of them."""
    box = ("control_box", (0.35, 0.3 + n / 40), 0.3, {"black": "above", "white": "left"})
    return ("image.jpg", encoded(blob_photo(box)), "image/jpeg")


def upload(tom: Desk, here: str, photos: list, **fields):
    files = [("photos", one) for one in photos]
    return tom.client.post(f"{here}/photos", data={"form_key": tom.key, **fields}, files=files)


def kept(app, here: str) -> tuple[int, int, int]:
    """How many photos of a case have a reading, an event, and a picture on disk."""
    exported = export_case(app.state.cases, here.rsplit("/", 1)[1], Who("administrator"))
    events = [event for event in exported["case"]["events"] if event["kind"] == "photo"]
    return len(exported["photos"]), len(events), sum(p["picture_jpeg_base64"] is not None for p in exported["photos"])


def test_several_photos_at_once_a_bad_one_is_named_and_the_good_ones_are_kept(tom: Desk, app) -> None:
    here = opened(tom)
    bad = ("image.jpg", b"\xff\xd8\xff\xe0 and then nothing", "image/jpeg")
    page = upload(tom, here, [photo(0), bad, photo(1), ("empty.jpg", b"", "image/jpeg")])
    assert page.status_code == 422
    assert "Photos taken: 2. These were not:" in page.text
    assert "Photo 2 of 4, image.jpg: " in page.text and "Photo 4 of 4, empty.jpg: " in page.text
    assert "Control box in photo 2" in page.text and "photo 3" not in page.text
    assert kept(app, here) == (2, 2, 0), "half-stored, or kept without consent"
    again = upload(tom, here, [photo(0), photo(1)])
    assert again.status_code == 200 and str(again.url).endswith("#photos")
    assert kept(app, here) == (2, 2, 0), "the same photo again changes nothing"
    assert upload(tom, here, [photo(2)], keep="yes").status_code == 200
    assert kept(app, here) == (3, 3, 1)


def test_a_photo_that_was_taken_back_counts_again_when_it_comes_again(tom: Desk, app) -> None:
    here = opened(tom)
    upload(tom, here, [photo(0)])
    assert "cut out of photo 1" not in send(tom, here, "answers", kind="undo", id="", answer="").text
    assert "cut out of photo 1" in upload(tom, here, [photo(0)]).text
    assert kept(app, here) == (1, 2, 0)


def test_photos_beyond_what_a_case_takes_are_named(tom: Desk, app) -> None:
    here = opened(tom)
    page = upload(tom, here, [photo(n) for n in range(MOST_PHOTOS + 2)])
    assert page.status_code == 422 and f"Photos taken: {MOST_PHOTOS}. These were not:" in page.text
    for number in (MOST_PHOTOS + 1, MOST_PHOTOS + 2):
        assert f"Photo {number} of {MOST_PHOTOS + 2}, image.jpg: The case has 6 photos already" in page.text
    assert kept(app, here) == (MOST_PHOTOS, MOST_PHOTOS, 0)


def test_a_photo_that_found_no_place_is_named_and_the_others_are_kept(tom: Desk, app, monkeypatch) -> None:
    here = opened(tom)
    run, calls = app.state.slots.run, []

    async def busy_once(work, *args):
        calls.append(work)
        if len(calls) == 2:
            raise Full
        return await run(work, *args)

    monkeypatch.setattr(app.state.slots, "run", busy_once)
    page = upload(tom, here, [photo(0), photo(1), photo(2)])
    assert page.status_code == 422 and "Photo 2 of 3, image.jpg: Too many photos are being read" in page.text
    assert kept(app, here) == (2, 2, 0)


def test_no_photo_text_for_a_photo_and_a_form_of_another_site_change_nothing(tom: Desk, app) -> None:
    here = opened(tom)
    assert upload(tom, here, []).status_code == 422
    words = tom.client.post(f"{here}/photos", data={"form_key": tom.key, "photos": "text"})
    assert words.status_code == 422
    assert tom.client.post(f"{here}/photos", files={"photos": photo(0)}).status_code == 403
    assert kept(app, here) == (0, 0, 0)


def test_parts_stand_in_a_table_with_the_reason_and_without_a_number_while_it_is_open(tom: Desk) -> None:
    here = opened(tom)
    page = unescape(tom.client.get(here).text)
    assert "Not sure yet: " in page and "Does not fit: " not in page and "DEMO-" not in page
    for concept, value in (("stop_position", "top"), ("battery", "hung_pack"), ("service_buttons", "front")):
        tom.say(here, "observation", concept, value)
    page = unescape(tom.say(here, "observation", "charge_display", "gauge").text)
    fits, rest = page.split('id="not-sure-yet"')
    unsure, not_ = rest.split('id="does-not-fit"')
    assert "DEMO-1301" in fits and "This lift has: Hung pack, stop on top." in fits
    assert "Actuator with a knob to twist" in unsure and "DEMO-" not in unsure
    assert "How this lift is lowered, is open." in unsure
    assert "DEMO-2201" in not_ and "For: Stacked pack, stop in front. This lift has: Hung pack, stop on top." in not_


def test_what_was_corrected_says_so_and_can_be_taken_back(tom: Desk) -> None:
    here = opened(tom)
    upload(tom, here, [photo(0)])
    page = tom.say(here, "observation", "stop_position", "front").text
    assert "Recorded: on the front (Tom)" in page and "Accept: on top" in page
    assert "Tom says: the stop on the front." in page
    page = tom.say(here, "observation", "stop_position", "unsure").text
    assert "Recorded: on the front" not in page and "Photo 1: the stop on top." in page


def test_the_plate_s_code_goes_into_the_case_and_its_summary(tom: Desk) -> None:
    here = opened(tom)
    page = send(tom, here, "plate", photo=picture(UDI, zxingcpp.BarcodeFormat.DataMatrix, gs1=True))
    assert "<dd>1234</dd>" in page.text and "<dd>2014-12-31</dd>" in page.text
    assert "Plate, serial number: 1234" in page.text
    refused = send(tom, here, "plate", photo=PHOTO)
    assert refused.status_code == 422 and "No code was found, and no serial number could be read." in unescape(
        refused.text
    )
    refused = send(tom, here, "plate", photo=("plate.jpg", b"", "image/jpeg"))
    assert refused.status_code == 422 and 'role="alert"' in refused.text
    refused = send(tom, here, "plate")
    assert refused.status_code == 422 and "No photo came." in refused.text


def test_a_plate_from_another_site_is_refused(tom: Desk) -> None:
    here = opened(tom)
    sent = tom.client.post(f"{here}/plate", files={"photos": PHOTO}, data={"version": "5"})
    assert sent.status_code == 403


def test_each_reading_is_shown_with_its_crop_and_can_be_accepted(tom: Desk, app) -> None:
    here = opened(tom)
    page = photographed(tom, app, here)
    assert "cut out of photo 1" in page and "Accept: on top" in page
    crop = tom.client.get(re.search(r'<img src="([^"]+/parts/0)"', page)[1])
    width, height = Image.open(io.BytesIO(crop.content)).size
    assert width == pytest.approx(0.3 * 640, rel=0.15) and height == pytest.approx(0.3 * 640, rel=0.15)
    assert tom.client.get(re.sub(r"parts/0$", "parts/9", str(crop.url))).status_code == 404
    accepted = tom.say(here, "observation", "stop_position", "top")
    assert accepted.status_code == 200
    assert "the stop – on top (Tom, technician)" in accepted.text


@pytest.mark.parametrize("others_ruled_out", [True, False])
def test_only_a_reading_that_leaves_nothing_else_open_stands_out(
    tom: Desk, app, toy_resources: Resources, monkeypatch, others_ruled_out: bool
) -> None:
    """A value of which the set threshold is 1 stays in every set."""
    bars = toy_resources.model.reader.recipe.concepts["stop_position"].set_thresholds
    monkeypatch.setitem(bars, "front", 0.5 if others_ruled_out else 1.0)
    here = opened(tom)
    button = re.search(r'<button class="([^"]+)"[^>]*>Accept: on top', photographed(tom, app, here))[1]
    assert button == ("small-button main" if others_ruled_out else "small-button")


def test_the_job_sheet_and_the_parts_name_what_to_confirm_before_ordering(tom: Desk) -> None:
    here = opened(tom)
    assert "Confirm first which control box this is." in tom.client.get(here).text
    sheet = tom.client.get(f"{here}/sheet").text
    assert "Job sheet, case" in sheet and "Each block was measured after a rest of six hours" in sheet
    csv = tom.client.get(f"{here}/parts.csv")
    assert csv.headers["content-type"].startswith("text/csv") and "attachment" in csv.headers["content-disposition"]
    assert csv.text.splitlines() == ["component,as,number,name,note"], "a number came before the box was confirmed"


def test_only_a_technician_is_told_a_technician_s_steps(tom: Desk, app, monkeypatch) -> None:
    here = opened(tom)
    assert "Meter readings" in tom.client.get(here).text
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TOKEN)
    agent = Desk(TestClient(app), "Ana")
    page = agent.client.get(here).text
    assert "Meter readings" not in page and "isolate it" not in page
