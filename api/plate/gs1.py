"""GS1 element strings, as a rating plate's barcode or DataMatrix carries them, into fields; check digits verified.

Application identifiers, lengths and the date rules are those of the GS1 General Specifications, from memory.
"""

import calendar
from dataclasses import dataclass
from datetime import date

from classifier.errors import InputError

GROUP_SEPARATOR = "\x1d"
"""Ends a field of variable length unless it is the last; scanners give FNC1 as this character."""

FIXED = {"00": 18, "01": 14, "02": 14, "11": 6, "12": 6, "13": 6, "15": 6, "16": 6, "17": 6, "20": 2}
VARIABLE = {"10": 20, "21": 20, "22": 20, "30": 8, "37": 8, "240": 30, "241": 30, "250": 30}
"""Most characters of a field that ends at a separator."""

CHECKED = ("00", "01", "02")
DATES = ("11", "12", "13", "15", "16", "17")
CENTURY_SPAN_YEARS = 50
"""A year of two digits is the one nearest to now: at most 50 ahead and 49 back."""


@dataclass(frozen=True)
class Plate:
    """What a rating plate's code says; None for what it does not say."""

    gtin: str | None
    serial: str | None
    batch: str | None
    produced: date | None
    fields: dict[str, str]


def read_plate(text: str, today: date) -> Plate:
    """Read an element string, with separators or with its identifiers in brackets. Raises `InputError`."""
    fields = _bracketed(text) if text.startswith("(") else _plain(text)
    for identifier, value in fields.items():
        if identifier in CHECKED and check_digit(value[:-1]) != value[-1]:
            wanted = check_digit(value[:-1])
            raise InputError(f"({identifier}) {value} has a wrong check digit, {wanted} is right. Scan it again.")
        if identifier in DATES:
            day_of(value, today)
    produced = day_of(fields["11"], today) if "11" in fields else None
    return Plate(fields.get("01"), fields.get("21"), fields.get("10"), produced, fields)


def check_digit(digits: str) -> str:
    """The digit that follows these: weights 3 and 1 alternate from the right, and the sum goes up to a ten."""
    if not (digits.isascii() and digits.isdigit()):
        raise InputError(f"{digits!r} came; digits alone are wanted.")
    total = sum(int(d) * (3 if n % 2 == 0 else 1) for n, d in enumerate(reversed(digits)))
    return str(-total % 10)


def day_of(value: str, today: date) -> date:
    """The date of YYMMDD; day 00 means the last of the month. Raises `InputError`."""
    if not (len(value) == 6 and value.isascii() and value.isdigit()):
        raise InputError(f"The date {value!r} came; six digits, YYMMDD, are wanted.")
    year = today.year - today.year % 100 + int(value[:2])
    if year - today.year > CENTURY_SPAN_YEARS:
        year -= 100
    elif today.year - year >= CENTURY_SPAN_YEARS:
        year += 100
    month, day = int(value[2:4]), int(value[4:])
    try:
        return date(year, month, day or calendar.monthrange(year, month)[1])
    except (ValueError, calendar.IllegalMonthError) as error:
        raise InputError(f"The date {value} is no day of the calendar. Scan the code again.") from error


def _plain(text: str) -> dict[str, str]:
    fields: dict[str, str] = {}
    rest = text.lstrip(GROUP_SEPARATOR)
    while rest:
        identifier = _identifier(rest)
        rest = rest[len(identifier) :]
        if identifier in FIXED:
            value, rest = rest[: FIXED[identifier]], rest[FIXED[identifier] :].removeprefix(GROUP_SEPARATOR)
        else:
            value, _, rest = rest.partition(GROUP_SEPARATOR)
        _keep(fields, identifier, value)
    return _some(fields, text)


def _bracketed(text: str) -> dict[str, str]:
    fields: dict[str, str] = {}
    for part in text.split("(")[1:]:
        identifier, closed, value = part.partition(")")
        if not closed or identifier not in {**FIXED, **VARIABLE}:
            raise InputError(f"({identifier} is no application identifier that a plate is read for.")
        _keep(fields, identifier, value.strip().removesuffix(GROUP_SEPARATOR))
    return _some(fields, text)


def _identifier(rest: str) -> str:
    for length in (2, 3):
        if rest[:length] in FIXED or rest[:length] in VARIABLE:
            return rest[:length]
    raise InputError(f"{rest[:4]!r} begins with no application identifier that a plate is read for.")


def _keep(fields: dict[str, str], identifier: str, value: str) -> None:
    exact, most = FIXED.get(identifier), VARIABLE.get(identifier)
    fits = len(value) == exact if exact else 0 < len(value) <= most
    if not fits or not value.isascii() or not value.isprintable() or (exact and not value.isdigit()):
        wanted = f"{exact} digits" if exact else f"1 to {most} characters, ended by a separator"
        raise InputError(f"({identifier}) has {value[:40]!r}; {wanted} are wanted. Scan the code again.")
    if fields.get(identifier, value) != value:
        raise InputError(f"({identifier}) stands twice with two values. Scan the code again.")
    fields[identifier] = value


def _some(fields: dict[str, str], text: str) -> dict[str, str]:
    if not fields:
        raise InputError(f"{text[:40]!r} is no GS1 element string.")
    return fields
