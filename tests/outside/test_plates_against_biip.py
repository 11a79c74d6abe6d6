"""Rating plates against biip (Apache-2.0), which reads GS1 element strings with GS1's own list of identifiers."""

from datetime import date

import pytest
from biip.checksums import gs1_standard_check_digit
from biip.gs1_messages import GS1Message
from hypothesis import given
from hypothesis import strategies as st

from api.plate.gs1 import CHECKED, FIXED, GROUP_SEPARATOR, VARIABLE, check_digit, read_plate
from classifier.errors import InputError

LETTERS = st.sampled_from("0123456789ABCDEFGHJKLMNPQRSTUVWXYZ-./")
DAYS = st.dates(date(2000, 1, 1), date(2049, 12, 31))


@given(st.text("0123456789", min_size=7, max_size=17))
def test_check_digits(digits: str) -> None:
    assert int(check_digit(digits)) == gs1_standard_check_digit(digits)


def values(identifier: str) -> st.SearchStrategy[str]:
    """Right values of an identifier."""
    if identifier in CHECKED:
        size = FIXED[identifier] - 1
        return st.text("0123456789", min_size=size, max_size=size).map(lambda digits: digits + check_digit(digits))
    if FIXED.get(identifier) == 6:
        return DAYS.map(lambda day: f"{day:%y%m%d}")
    if identifier == "20":
        return st.text("0123456789", min_size=2, max_size=2)
    if identifier in ("30", "37"):
        return st.text("0123456789", min_size=1, max_size=VARIABLE[identifier])
    return st.text(LETTERS, min_size=1, max_size=20)


PLATES = st.lists(
    st.sampled_from([*FIXED, *VARIABLE]).flatmap(lambda ai: st.tuples(st.just(ai), values(ai))),
    min_size=1, max_size=5, unique_by=lambda field: field[0],
)  # fmt: skip


@given(PLATES)
def test_every_field_of_an_element_string(fields: list[tuple[str, str]]) -> None:
    text = "".join(ai + value + (GROUP_SEPARATOR if ai in VARIABLE else "") for ai, value in fields)
    plate = read_plate(text.removesuffix(GROUP_SEPARATOR), date.today())
    theirs = GS1Message.parse(text.removesuffix(GROUP_SEPARATOR))
    assert plate.fields == {e.ai.ai: e.value for e in theirs.element_strings} == dict(fields)
    for element in theirs.element_strings:
        if element.ai.ai == "11":
            assert plate.produced == element.date


@given(st.text("0123456789", min_size=13, max_size=13), st.integers(1, 9))
def test_a_wrong_check_digit_is_refused_by_both(digits: str, off: int) -> None:
    wrong = f"01{digits}{(int(check_digit(digits)) + off) % 10}"
    with pytest.raises(InputError, match="wrong check digit"):
        read_plate(wrong, date.today())
    (element,) = GS1Message.parse(wrong).element_strings
    assert element.gtin is None and "check digit" in element.gtin_error
