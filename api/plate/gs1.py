"""What a rating plate's code says: GS1 element strings and GS1 Digital Link addresses; check digits verified.

Application identifiers, lengths and the date rules are those of the GS1 General Specifications, from memory.
"""

import calendar
import re
from dataclasses import dataclass
from datetime import date
from urllib.parse import parse_qsl, unquote, urlsplit

from classifier.errors import InputError
from classifier.messages import Message

GROUP_SEPARATOR = "\x1d"
"""Ends a field of variable length unless it is the last; scanners give FNC1 as this character."""

FIXED = {"00": 18, "01": 14, "02": 14, "11": 6, "12": 6, "13": 6, "15": 6, "16": 6, "17": 6, "20": 2}
VARIABLE = {"10": 20, "21": 20, "22": 20, "30": 8, "37": 8, "240": 30, "241": 30, "250": 30}
"""Most characters of a field that ends at a separator."""

SYMBOLOGIES = ("]d2", "]C1", "]Q3", "]e0")
"""What a scanner writes before an element string: DataMatrix, Code 128, QR and DataBar with GS1 in them."""

QUALIFIERS = ("22", "10", "21")
"""What follows an article's number in the path of a GS1 Digital Link address."""

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

    def as_said(self) -> dict[str, str | None]:
        """What a case keeps of it."""
        produced = self.produced.isoformat() if self.produced else None
        return {"gtin": self.gtin, "serial": self.serial, "batch": self.batch, "produced": produced}


def read_plate(text: str, today: date) -> Plate:
    """Read an element string, with separators or with its identifiers in brackets, or a GS1 Digital Link address.

    Raises `InputError`.
    """
    plain = text[3:] if text.startswith(SYMBOLOGIES) else text
    if plain.lower().startswith(("http://", "https://")):
        fields = _linked(plain)
    else:
        fields = _bracketed(plain) if plain.startswith("(") else _plain(plain)
    for identifier, value in fields.items():
        if identifier in CHECKED and check_digit(value[:-1]) != value[-1]:
            wanted = check_digit(value[:-1])
            raise InputError(
                Message(
                    "({identifier}) {value} has a wrong check digit, {wanted} is right. Scan it again.",
                    identifier=identifier,
                    value=value,
                    wanted=wanted,
                )
            )
        if identifier in DATES:
            day_of(value, today)
    produced = day_of(fields["11"], today) if "11" in fields else None
    return Plate(fields.get("01"), fields.get("21"), fields.get("10"), produced, fields)


def serial_in(typed: str) -> str:
    """The serial number of an element string that a scanner typed, in brackets or after its FNC1; empty for any other.

    Text that only looks like one is somebody's own numbering, and stays as it was typed.
    """
    if not typed.startswith(("(", *SYMBOLOGIES)):
        return ""
    try:
        return read_plate(typed, date.today()).serial or ""
    except InputError:
        return ""


def is_gs1_text(text: str) -> bool:
    """Whether a code that is not marked as GS1 says so by its text: brackets, a scanner's mark, separators, an address.

    So is the number of an article with more after it, if its check digit is right.
    """
    if text.startswith(("(", *SYMBOLOGIES)) or GROUP_SEPARATOR in text:
        return True
    if text.lower().startswith(("http://", "https://")):
        return re.search(r"/01/\d{8,14}(?=[/?#]|$)", text) is not None
    gtin = re.match(r"01(\d{14})(?:1[0-7]|2[0-2]|240|241|250)", text, re.ASCII)
    return gtin is not None and check_digit(gtin[1][:-1]) == gtin[1][-1]


def check_digit(digits: str) -> str:
    """The digit that follows these: weights 3 and 1 alternate from the right, and the sum goes up to a ten."""
    if not (digits.isascii() and digits.isdigit()):
        raise InputError(Message("{digits} came; digits alone are wanted.", digits=f"{digits!r}"))
    total = sum(int(d) * (3 if n % 2 == 0 else 1) for n, d in enumerate(reversed(digits)))
    return str(-total % 10)


def day_of(value: str, today: date) -> date:
    """The date of YYMMDD; day 00 means the last of the month. Raises `InputError`."""
    if not (len(value) == 6 and value.isascii() and value.isdigit()):
        raise InputError(Message("The date {value} came; six digits, YYMMDD, are wanted.", value=f"{value!r}"))
    year = today.year - today.year % 100 + int(value[:2])
    if year - today.year > CENTURY_SPAN_YEARS:
        year -= 100
    elif today.year - year >= CENTURY_SPAN_YEARS:
        year += 100
    month, day = int(value[2:4]), int(value[4:])
    try:
        return date(year, month, day or calendar.monthrange(year, month)[1])
    except (ValueError, calendar.IllegalMonthError) as error:
        raise InputError(
            Message("The date {value} is no day of the calendar. Scan the code again.", value=value)
        ) from error


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


def _linked(address: str) -> dict[str, str]:
    """The fields of a GS1 Digital Link address: the article in its path, then what qualifies it, then the query.

    Syntax: GS1 Digital Link Standard, URI Syntax. A number of 8, 12 or 13 digits is one of 14 with noughts before it.
    """
    parts = urlsplit(address)
    steps = [unquote(step) for step in parts.path.split("/")]
    at = next((n for n in range(len(steps) - 1) if steps[n] == "01" and steps[n + 1].isdigit()), None)
    if at is None:
        raise InputError(Message("{text} is no GS1 element string.", text=f"{address[:40]!r}"))
    fields: dict[str, str] = {}
    _keep(fields, "01", steps[at + 1].zfill(FIXED["01"]))
    rest = steps[at + 2 :]
    pairs = list(zip(rest[::2], rest[1::2], strict=False))
    for identifier, value in [*(p for p in pairs if p[0] in QUALIFIERS), *parse_qsl(parts.query)]:
        if identifier in FIXED or identifier in VARIABLE:
            _keep(fields, identifier, value)
    return fields


def _bracketed(text: str) -> dict[str, str]:
    fields: dict[str, str] = {}
    for part in text.split("(")[1:]:
        identifier, closed, value = part.partition(")")
        if not closed or identifier not in {**FIXED, **VARIABLE}:
            raise InputError(
                Message("({identifier} is no application identifier that a plate is read for.", identifier=identifier)
            )
        _keep(fields, identifier, value.strip().removesuffix(GROUP_SEPARATOR))
    return _some(fields, text)


def _identifier(rest: str) -> str:
    for length in (2, 3):
        if rest[:length] in FIXED or rest[:length] in VARIABLE:
            return rest[:length]
    raise InputError(
        Message("{rest} begins with no application identifier that a plate is read for.", rest=f"{rest[:4]!r}")
    )


def _keep(fields: dict[str, str], identifier: str, value: str) -> None:
    exact, most = FIXED.get(identifier), VARIABLE.get(identifier)
    fits = len(value) == exact if exact else 0 < len(value) <= most
    if not fits or not value.isascii() or not value.isprintable() or (exact and not value.isdigit()):
        wanted = (
            Message("{count} digits", count=exact)
            if exact
            else Message("1 to {most} characters, ended by a separator", most=most)
        )
        raise InputError(
            Message(
                "({identifier}) has {value}; {wanted} are wanted. Scan the code again.",
                identifier=identifier,
                value=f"{value[:40]!r}",
                wanted=wanted,
            )
        )
    if fields.get(identifier, value) != value:
        raise InputError(
            Message("({identifier}) stands twice with two values. Scan the code again.", identifier=identifier)
        )
    fields[identifier] = value


def _some(fields: dict[str, str], text: str) -> dict[str, str]:
    if not fields:
        raise InputError(Message("{text} is no GS1 element string.", text=f"{text[:40]!r}"))
    return fields
