"""JSON as it is meant (RFC 8259): a key stands once in its object, NaN and Infinity are no numbers, text is Unicode."""

import json
import re
from typing import Any

_HALF_PAIR = re.compile("[\ud800-\udfff]")
"""A surrogate that stands alone (RFC 8259, 8.2): no UTF-8 holds it."""


def loads(text: str | bytes) -> Any:
    """Read JSON. Raises `ValueError`: of bad syntax, or naming the key that came twice or what is no number or text."""
    read = json.loads(text, object_pairs_hook=_once, parse_constant=_no_number, parse_float=_finite)
    if half := _HALF_PAIR.search(json.dumps(read, ensure_ascii=False)):
        raise ValueError(f"\\u{ord(half[0]):04x} is half of a character; send text that can be written as UTF-8")
    return read


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} comes twice in one object; send it once")
        found[key] = value
    return found


def _no_number(name: str) -> Any:
    raise ValueError(f"{name} is no number in JSON; leave the field out when nothing was measured")


def _finite(digits: str) -> float:
    number = float(digits)
    if number in (float("inf"), float("-inf")):
        raise ValueError(f"{digits} is larger than any number that is reckoned with; send the number that was meant")
    return number
