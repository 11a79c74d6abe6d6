"""What a technician adds: readings judged, the plate's code, parts to confirm, the job sheet."""

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import zxingcpp
from fastapi.testclient import TestClient
from PIL import Image

from api.app import create_app
from api.identification import Resources
from api.settings import Settings
from tests.api.test_agent_pages import PHOTO, TOKEN, Desk, to_symptom
from tests.api.test_gs1 import UDI, picture

TECHNICIAN = "the technicians' long token"


@pytest.fixture
def app(toy_settings: Settings, toy_resources: Resources, tmp_path: Path):
    database = f"sqlite:///{tmp_path / 'cases.db'}"
    tokens = {"agent_token": TOKEN, "technician_token": TECHNICIAN}
    return create_app(replace(toy_settings, database=database, **tokens), toy_resources)


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


def test_readings_are_judged_and_one_failed_block_is_not_hidden_by_the_sum(tom: Desk) -> None:
    """12.65 V + 10.2 V adds up to what a half-charged pack shows (arithmetic)."""
    here = opened(tom)
    page = send(tom, here, "readings", block_1_v="12,65", block_2_v="10.2", rest_hours="12", meter_error_percent="0.5")
    assert "Battery: failed." in page.text
    assert "Battery: failed." not in send(tom, here, "answers", kind="undo", id="", answer="").text


@pytest.mark.parametrize("given", [{}, {"pack_v": "full"}, {"pack_v": "300"}, {"block_1_v": "-1", "block_2_v": "12"}])
def test_readings_that_no_meter_gives_change_nothing(tom: Desk, app, given: dict[str, str]) -> None:
    here = opened(tom)
    before = app.state.cases.version(here.rsplit("/", 1)[1])
    page = send(tom, here, "readings", **given)
    assert page.status_code == 422 and 'role="alert"' in page.text
    assert app.state.cases.version(here.rsplit("/", 1)[1]) == before


def test_the_plate_s_code_goes_into_the_case_and_its_summary(tom: Desk) -> None:
    here = opened(tom)
    page = send(tom, here, "plate", photo=picture(UDI, zxingcpp.BarcodeFormat.DataMatrix, gs1=True))
    assert "<dd>1234</dd>" in page.text and "<dd>2014-12-31</dd>" in page.text
    assert "Plate, serial number: 1234" in page.text
    refused = send(tom, here, "plate", photo=PHOTO)
    assert refused.status_code == 422 and "No barcode or DataMatrix was found" in refused.text


def test_a_plate_from_another_site_is_refused(tom: Desk) -> None:
    here = opened(tom)
    sent = tom.client.post(f"{here}/plate", files={"photos": PHOTO}, data={"version": "5"})
    assert sent.status_code == 403


def test_each_reading_is_shown_with_its_crop_and_can_be_accepted(tom: Desk, app) -> None:
    here = opened(tom)
    page = tom.client.post(f"{here}/link", data={"form_key": tom.key})
    link = re.search(r'class="address">http://testserver(/[^<]+)<', page.text)[1]
    TestClient(app).post(f"{link}/photos", files={"photos": PHOTO})
    page = tom.client.get(here).text
    assert "cut out of photo 1" in page and "Accept: on top" in page
    crop = tom.client.get(re.search(r'<img src="([^"]+/parts/0)"', page)[1])
    width, height = Image.open(io.BytesIO(crop.content)).size
    assert width == pytest.approx(0.3 * 640, rel=0.15) and height == pytest.approx(0.3 * 640, rel=0.15)
    assert tom.client.get(re.sub(r"parts/0$", "parts/9", str(crop.url))).status_code == 404
    accepted = tom.say(here, "observation", "stop_position", "top")
    assert accepted.status_code == 200
    assert "the stop – on top (technician)" in accepted.text


def test_the_job_sheet_and_the_parts_name_what_to_confirm_before_ordering(tom: Desk) -> None:
    here = opened(tom)
    page = tom.client.get(here).text
    assert "Confirm before ordering:" in page
    assert "Job sheet, case" in tom.client.get(f"{here}/sheet").text
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
