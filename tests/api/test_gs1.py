"""Rating plates: GS1 element strings against other people's examples, and codes read back from pictures."""

import io
from contextlib import suppress
from datetime import date

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from api.plate.gs1 import GROUP_SEPARATOR, check_digit, day_of, read_plate
from api.plate.rating_plate import plate_in_photo
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
