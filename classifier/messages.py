"""Sentences that a person is told, as an id with arguments: so that another language can say them anew."""

from __future__ import annotations

from collections.abc import Mapping


class Message(str):
    """An English sentence that still knows what it was made of.

    `text` is its id: the English with named places, as translators see it. `values` fill the places, and may be
    messages themselves. As a string it is the English sentence. Raises `KeyError` for a place without a value.
    """

    text: str
    values: Mapping[str, object]

    def __new__(cls, text: str, /, **values: object) -> Message:
        made = super().__new__(cls, text.format(**values) if values else text)
        made.text, made.values = text, values
        return made
