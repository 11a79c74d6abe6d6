"""The languages of the pages: English in the code and the catalogue, every other a gettext file in `locales`."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from babel import Locale, negotiate_locale
from babel.messages.pofile import read_po

from classifier.messages import Message

LOCALES = Path(__file__).parent / "locales"
SOURCE = "en"
"""The language that the messages are written in."""


@dataclass(frozen=True)
class Language:
    """One language: its tag, its own name, the direction it is written in, and its messages by the English ones."""

    tag: str
    name: str
    direction: str
    messages: Mapping[str, str]

    def say(self, message: str) -> str:
        """The message in this language; a sentence that it lacks stays English rather than being left out."""
        return self.messages.get(message) or message

    def fill(self, message: str, **values: object) -> str:
        """The message in this language with its places filled."""
        return self.say(message).format(**values)

    def said(self, sentence: str) -> str:
        """A sentence that was put together, in this language: by its id and its values when it is a `Message`."""
        if not isinstance(sentence, Message) or not sentence.values:
            return self.say(sentence)
        values = {n: self.said(v) if isinstance(v, Message) else v for n, v in sentence.values.items()}
        return self.say(sentence.text).format(**values)


@cache
def load_languages(directory: Path = LOCALES) -> Mapping[str, Language]:
    """Every language there is, by its tag: English, and one for each `.po` file; read once."""
    found = {SOURCE: _language(SOURCE, {})}
    for path in sorted(directory.glob("*.po")):
        with path.open("rb") as file:
            catalogue = read_po(file, locale=path.stem, abort_invalid=True)
        found[path.stem] = _language(path.stem, {m.id: m.string for m in catalogue if m.id and not m.fuzzy})
    return found


def chosen(accept_language: str, languages: Mapping[str, Language]) -> str:
    """The language that a browser's Accept-Language header asks for; English when there is none of those."""
    weighed = []
    for part in accept_language[:400].split(","):
        tag, _, weight = part.strip().partition(";q=")
        if re.fullmatch(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*", tag):
            weighed.append((-float(weight) if re.fullmatch(r"[01](\.\d{1,3})?", weight) else -1.0, tag))
    wanted = [tag for _, tag in sorted(weighed, key=lambda pair: pair[0])]
    return negotiate_locale(wanted, list(languages), sep="-") or SOURCE


def _language(tag: str, messages: Mapping[str, str]) -> Language:
    locale = Locale.parse(tag, sep="-")
    name = locale.get_display_name(tag.replace("-", "_")) or tag
    return Language(tag, name[:1].upper() + name[1:], locale.text_direction, messages)
