"""Text on rating plates: what is a candidate, what is doubtful, what is refused; a person confirms each field."""

import io
import re
from datetime import date
from html import unescape

import numpy as np
import pytest
from PIL import Image

from api.cases.events import PLATE
from api.plate.fields import SURE, Letter, PlateText, TextLine, agreed, plate_text
from api.plate.text import text_reader
from classifier.photo import PhotoLimits, open_photo
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from tests.api.test_agent_pages import Desk
from tests.api.test_technician_pages import app, opened, send, tom
from tests.support.rating_plates import drawn_plate, judged, without_forms

pytestmark = pytest.mark.walk

__all__ = ["app", "tom"]

TODAY = date(2026, 11, 25)
DEMO = load(DEMO_CATALOGUE)
PLAIN = without_forms(DEMO)
LIMITS = PhotoLimits(25 * 2**20, 64_000_000)


def look(text: str, **unsure: float) -> list[Letter]:
    """`unsure`: letters with another certainty than all others, by `p` and their place."""
    return [Letter(c, unsure.get(f"p{n}", 1.0)) for n, c in enumerate(text)]


def lines(*texts: str) -> list[TextLine]:
    return [TextLine(tuple(look(text)), (10.0, 40.0 * n, 300.0, 40.0 * n + 20)) for n, text in enumerate(texts)]


def read(*texts: str, catalogue: Catalogue = PLAIN) -> PlateText:
    return plate_text(lines(*texts), catalogue, TODAY)


def test_a_letter_is_as_sure_as_the_least_sure_look_and_not_at_all_where_looks_differ() -> None:
    letters = agreed([look("AB12"), look("AB12", p1=0.6), look("A812"), look("AB112")])
    assert "".join(one.character for one in letters) == "AB12"
    assert [one.sure for one in letters] == [1.0, 0.0, 0.0, 0.0], "a letter more makes both beside it doubtful"
    assert [one.sure for one in agreed([look("S/N 7"), look("S/N7")])] == [1.0] * 5, "a space alone is no difference"


@pytest.mark.parametrize(
    "line",
    ["S/N 48293-7763", "SN: 48293-7763", "Serial No. 48293-7763", "Ser. Nr. 48293-7763", "N° de serie 48293-7763",
     "SERIAL 48293-7763", "5/N 48293-7763", "No de série: 48293-7763"],
)  # fmt: skip
def test_a_serial_number_follows_its_label_in_three_languages(line: str) -> None:
    assert read("TAMBRIC", line, "24 V DC").serial.value == "48293-7763"


def test_a_number_may_stand_right_of_its_label_or_below_it() -> None:
    label, number = TextLine(tuple(look("S/N")), (10, 0, 60, 20)), tuple(look("48293-7763"))
    for box in ((80.0, 2.0, 200.0, 22.0), (12.0, 26.0, 150.0, 46.0)):
        assert plate_text([label, TextLine(number, box)], PLAIN, TODAY).serial.value == "48293-7763"
    far = TextLine(number, (300.0, 200.0, 400.0, 220.0))
    assert plate_text([label, far], PLAIN, TODAY).serial is None


def test_the_other_fields_and_what_cannot_be_so() -> None:
    found = read("Type HT-240", "S/N 48293-7763", "05/2019", "24 V DC  8 A")
    assert (found.model.value, found.produced.value, found.volts.value) == ("HT-240", "2019-05", "24")
    assert not any(one.to_check for one in (found.serial, found.model, found.produced, found.volts))
    assert read("S/N 48293-7763", "2031-01").produced.why == "This day is still to come."
    assert read("S/N 2019-05-1234").produced is None, "a serial number is no date"


def test_what_is_doubtful_is_named_and_too_much_of_it_is_refused() -> None:
    letters = look("S/N 48293773", p5=SURE - 0.01)
    assert plate_text([TextLine(tuple(letters), (0, 0, 9, 9))], PLAIN, TODAY).serial.doubtful == (1,)
    letters = look("S/N 48293773", **{f"p{n}": 0.3 for n in range(4, 9)})
    assert plate_text([TextLine(tuple(letters), (0, 0, 9, 9))], PLAIN, TODAY).serial is None
    for text in ("S/N", "S/N 123", "S/N ABCDE", "nothing of the kind"):
        assert read(text).serial is None


def test_noughts_and_ones_are_doubtful_where_the_catalogue_says_nothing_and_looks_that_differ_are_no_reading() -> None:
    assert read("S/N 7O4K-1").serial.doubtful == (1, 5)
    assert read("S/N 7041-1").serial.doubtful == (1, 3, 5)
    differ = agreed([look("S/N 7B42-9"), look("S/N 7842-9")])
    assert plate_text([TextLine(differ, (0, 0, 9, 9))], PLAIN, TODAY).serial is None
    elsewhere = agreed([look("S/N 7342-9"), look("5/N 7342-9")])
    assert plate_text([TextLine(elsewhere, (0, 0, 9, 9))], PLAIN, TODAY).serial.value == "7342-9"


def test_the_catalogue_s_form_proves_mends_or_questions_a_serial_number() -> None:
    """The demo pool's form is two digits, a letter that is neither I nor O, a digit, a stroke, five digits."""
    right = read("Type HT-240", "S/N 18Q4-00715", catalogue=DEMO)
    assert right.serial.value == "18Q4-00715" and not right.serial.to_check and right.generations == ("hung-top",)
    mended = read("S/N I8Q4-OO715", catalogue=DEMO).serial
    assert mended.value == "18Q4-00715" and mended.doubtful == (0, 5, 6)
    other = read("Type XY-1", "S/N 48293-7763", "48 V", catalogue=DEMO)
    assert (other.serial.why, other.model.why, other.volts.why) == (
        "The catalogue knows no serial number of this form.", "The catalogue knows no box of this type.",
        "The catalogue knows no box of this voltage.",
    )  # fmt: skip


def test_a_plate_is_read_by_the_library_itself() -> None:
    plate = drawn_plate(np.random.default_rng([4, 0]))
    picture, found = text_reader().lines_in(open_photo(plate.photo, "plate.jpg", LIMITS))
    assert max(picture.size) >= 960 and plate_text(found, PLAIN, TODAY).serial.value == plate.serial


@pytest.mark.thorough
def test_a_dozen_plates_are_read_or_refused_and_no_wrong_letter_is_unmarked() -> None:
    """Plates that no threshold was chosen on; the whole figure: `python -m tests.bench.rating_plates --plates 60`."""
    counts = judged(2, range(12))
    assert counts["wrong, a wrong letter unmarked"] == 0
    assert counts["right"] + counts["right, marked"] + counts["refused"] >= 10


def test_text_is_shown_to_be_confirmed_and_recorded_only_then(tom: Desk, app) -> None:
    here = opened(tom)
    plate = drawn_plate(np.random.default_rng([4, 0]))
    before = app.state.cases.version(here.rsplit("/", 1)[1])
    page = send(tom, here, "plate", photo=("plate.jpg", plate.photo, "image/jpeg"))
    assert page.status_code == 200 and "recorded only once you confirm it" in page.text
    assert re.search(rf'<input id="plate-serial"[^>]* value="{plate.serial}"', page.text)
    assert app.state.cases.version(here.rsplit("/", 1)[1]) == before, "nothing was recorded yet"
    line = tom.client.get(re.search(r'class="line-read" src="([^"]+)"', page.text)[1])
    assert line.headers["content-type"] == "image/jpeg" and Image.open(io.BytesIO(line.content)).width > 50
    fields = {"plate-serial": plate.serial, "plate-model": "HT-240", "plate-produced": "2019-05", "plate-volts": "24"}
    refused = send(tom, here, "plate-text", **fields, doubtful="yes")
    assert refused.status_code == 422 and 'id="wrong-compared"' in refused.text and plate.serial in refused.text
    page = unescape(send(tom, here, "plate-text", **fields, doubtful="yes", compared="yes").text)
    assert f"Plate, serial number: {plate.serial}" in page and "Plate, type: HT-240" in page
    events = app.state.cases.by_id(here.rsplit("/", 1)[1]).events
    assert events[-1].kind == PLATE and events[-1].said["volts"] == "24"


@pytest.mark.parametrize(
    ("given", "field"),
    [({}, "serial"), ({"produced": "May 2019"}, "produced"), ({"produced": "2031-01"}, "produced"),
     ({"serial": "x" * 61}, "serial"), ({"volts": "much"}, "volts")],
)  # fmt: skip
def test_what_is_typed_wrong_changes_nothing_and_stands_beside_its_field(tom: Desk, app, given, field: str) -> None:
    here = opened(tom)
    before = app.state.cases.version(here.rsplit("/", 1)[1])
    page = send(tom, here, "plate-text", **{f"plate-{name}": value for name, value in given.items()})
    assert page.status_code == 422 and f'id="wrong-plate-{field}"' in page.text
    assert all(f'value="{value}"' in page.text for value in given.values())
    assert app.state.cases.version(here.rsplit("/", 1)[1]) == before


def test_without_the_library_the_page_says_that_typing_is_needed(tom: Desk, monkeypatch) -> None:
    monkeypatch.setattr("api.pages.staff.bench.plate.text_reader", lambda: None)
    plate = drawn_plate(np.random.default_rng([4, 0]))
    page = send(tom, opened(tom), "plate", photo=("plate.jpg", plate.photo, "image/jpeg"))
    assert page.status_code == 422 and "this server reads no text. Type below what the plate says." in page.text
    assert 'name="plate-serial"' in page.text


def test_a_picture_of_a_line_is_the_case_s_own(tom: Desk) -> None:
    here, other = opened(tom), opened(tom)
    plate = drawn_plate(np.random.default_rng([4, 0]))
    page = send(tom, here, "plate", photo=("plate.jpg", plate.photo, "image/jpeg")).text
    own = re.search(r'class="line-read" src="([^"]+)"', page)[1]
    assert tom.client.get(own.replace(here, other)).status_code == 404
    assert tom.client.get(f"{here}/plate/0123").status_code == 404
