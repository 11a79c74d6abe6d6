"""Rating plates: GS1 element strings against other people's examples, and codes read back from pictures."""

import io
from contextlib import suppress
from datetime import date

import numpy as np
import pytest
import zxingcpp
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from api.plate.gs1 import GROUP_SEPARATOR, check_digit, day_of, is_gs1_text, read_plate
from api.plate.rating_plate import label_in_photo, plate_in_photo
from classifier.errors import InputError, NotAPhoto
from classifier.photo import PhotoLimits

TODAY = date(2026, 11, 25)
LIMITS = PhotoLimits(25 * 2**20, 64_000_000)
UDI = "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"
"""Source: barcodefaq.com, "GS1 Unique Device Identification": the string, and the value of each of its fields."""


@pytest.mark.parametrize(("digits", "right"), [("629104150021", "3"), ("890400021003", "7"), ("730001100001", "7")])
def test_check_digits_of_examples_of_gs1(digits: str, right: str) -> None:
    """Sources: 890… GS1 India, "Check Digit" (read); 629… and 730… from memory, recomputed by hand."""
    assert check_digit(digits) == right


def test_an_example_of_a_udi_with_its_separator() -> None:
    plain = f"0151022222233336111412311715070710A213B1{GROUP_SEPARATOR}211234"
    for text in (UDI, plain, GROUP_SEPARATOR + plain):
        plate = read_plate(text, TODAY)
        assert (plate.gtin, plate.batch, plate.serial, plate.produced) == (
            "51022222233336", "A213B1", "1234", date(2014, 12, 31),
        )  # fmt: skip
        assert plate.fields["17"] == "150707"


def test_without_its_separator_the_batch_runs_on_into_the_serial_number() -> None:
    plate = read_plate("0151022222233336111412311715070710A213B1211234", TODAY)
    assert (plate.batch, plate.serial) == ("A213B1211234", None)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no GS1 element string"),
        ("hello", "begins with no application identifier"),
        ("(01)51022222233337", "wrong check digit, 6 is right"),
        ("0151022222233", "14 digits"),
        ("(11)141331", "no day of the calendar"),
        ("(11)14123x", "6 digits"),
        ("(21)", "1 to 20"),
        ("(21)" + "x" * 21, "1 to 20"),
        ("(21)a(21)b", "two values"),
        ("(21)a\x00", "1 to 20"),
        ("(99)x", "no application identifier"),
        ("(01", "no application identifier"),
    ],
)
def test_what_is_wrong_is_named(text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_plate(text, TODAY)


def test_day_nought_is_the_last_of_the_month_and_two_digits_mean_the_nearest_year() -> None:
    """GS1 General Specifications, 7.12 (from memory)."""
    assert day_of("280200", TODAY) == date(2028, 2, 29)
    years = {"26": 2026, "76": 2076, "77": 1977, "99": 1999, "00": 2000}
    assert {two: day_of(f"{two}0101", TODAY).year for two in years} == years


@given(st.text(alphabet="0123456789", min_size=12, max_size=13), st.integers(0, 12), st.integers(1, 9))
def test_one_wrong_digit_never_passes(digits: str, place: int, more: int) -> None:
    whole = digits + check_digit(digits)
    place %= len(whole)
    wrong = whole[:place] + str((int(whole[place]) + more) % 10) + whole[place + 1 :]
    assert check_digit(wrong[:-1]) != wrong[-1]


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(InputError):
        read_plate(text, TODAY)


@pytest.mark.parametrize(
    ("address", "fields"),
    [
        ("https://id.gs1.org/01/09521234543213", {"01": "09521234543213"}),
        ("https://id.gs1.org/01/09521234543213/10/ABC123/21/12345",
         {"01": "09521234543213", "10": "ABC123", "21": "12345"}),
        ("https://id.gs1.org/01/09521234543213/10/ABC123?17=261231",
         {"01": "09521234543213", "10": "ABC123", "17": "261231"}),
        ("https://example.com/products/01/09521234543213", {"01": "09521234543213"}),
    ],
)  # fmt: skip
def test_examples_of_gs1_digital_link_addresses(address: str, fields: dict[str, str]) -> None:
    """Source: BWIPP, wiki, "GS1 Digital Link URIs" (read). biip reads the same fields from the same addresses."""
    assert read_plate(address, TODAY).fields == fields
    theirs = GS1DigitalLinkURI.parse(address).element_strings
    assert {one.ai.ai: one.value for one in theirs} == fields


def test_a_digital_link_keeps_what_a_plate_is_read_for_and_refuses_what_is_wrong() -> None:
    plate = read_plate("HTTPS://lift.example/x/01/9521234543213/21/A%2F7?11=190500&linkType=all&99=x", TODAY)
    assert (plate.gtin, plate.serial, plate.produced) == ("09521234543213", "A/7", date(2019, 5, 31))
    for address, told in (
        ("https://id.gs1.org/01/09521234543214/21/7", "wrong check digit, 3 is right"),
        ("https://lift.example/manual", "no GS1 element string"),
        ("https://id.gs1.org/01/09521234543213/21/" + "x" * 21, "1 to 20"),
    ):
        with pytest.raises(InputError, match=told):
            read_plate(address, TODAY)


@pytest.mark.parametrize(
    ("text", "gs1"),
    [(UDI, True), ("]d20151022222233336211234", True), ("0151022222233336211234", True),
     (f"211234{GROUP_SEPARATOR}10A", True), ("https://id.gs1.org/01/09521234543213/21/7", True),
     ("https://lift.example/manual", False), ("https://lift.example/01/12", False), ("A-17", False),
     ("0151022222233337211234", False), ("01510222222", False), ("211234", False)],
)  # fmt: skip
def test_text_that_says_itself_that_it_is_gs1(text: str, gs1: bool) -> None:
    assert is_gs1_text(text) is gs1


@pytest.mark.parametrize(
    "text", [UDI, "]d20151022222233336211234", "0151022222233336211234", "https://id.gs1.org/01/51022222233336/21/1234"]
)
def test_a_plain_qr_code_with_gs1_text_is_read_and_is_no_inventory_number(text: str) -> None:
    photo = picture(text, zxingcpp.BarcodeFormat.QRCode)
    plate = plate_in_photo(photo, "plate.jpg", LIMITS, TODAY)
    assert (plate.gtin, plate.serial) == ("51022222233336", "1234")
    assert label_in_photo(photo, "plate.jpg", LIMITS, TODAY) == plate


def picture(text: str, form: zxingcpp.BarcodeFormat, **options: bool) -> bytes:
    code = np.array(zxingcpp.create_barcode(text, form, **options).to_image(scale=5))
    plate = Image.fromarray(np.pad(code, 80, constant_values=235)).convert("RGB").rotate(4, fillcolor=(235, 235, 235))
    buffer = io.BytesIO()
    plate.save(buffer, "JPEG", quality=80)
    return buffer.getvalue()


@pytest.mark.parametrize("form", ["DataMatrix", "Code128", "QRCode"])
def test_a_code_is_read_from_a_photo(form: str) -> None:
    photo = picture(UDI, getattr(zxingcpp.BarcodeFormat, form), gs1=True)
    plate = plate_in_photo(photo, "plate.jpg", LIMITS, TODAY)
    assert (plate.gtin, plate.batch, plate.serial) == ("51022222233336", "A213B1", "1234")


def test_a_trade_barcode_gives_its_number_alone() -> None:
    plate = plate_in_photo(picture("629104150021", zxingcpp.BarcodeFormat.EAN13), "p.jpg", LIMITS, TODAY)
    assert (plate.gtin, plate.serial) == ("06291041500213", None)


def test_a_photo_without_such_a_code_says_so() -> None:
    blank = io.BytesIO()
    Image.new("RGB", (400, 300), (200, 200, 200)).save(blank, "PNG")
    with pytest.raises(InputError, match="No barcode"):
        plate_in_photo(blank.getvalue(), "p.png", LIMITS, TODAY)
    with pytest.raises(InputError, match="no GS1 element string"):
        plate_in_photo(picture("https://lift.example", zxingcpp.BarcodeFormat.QRCode), "p.jpg", LIMITS, TODAY)
    with pytest.raises(NotAPhoto):
        plate_in_photo(b"nothing", "p.jpg", LIMITS, TODAY)
