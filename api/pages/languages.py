"""The languages of the pages: English in the code and the catalogue, every other a gettext file.

Those that come with this lie in `locales`, an operator's own in a folder that a setting names.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from babel import Locale, UnknownLocaleError, negotiate_locale
from babel.messages.pofile import PoFileError, read_po

from api.settings import PREFIX
from classifier.errors import SettingsError
from classifier.messages import Message

LOCALES = Path(__file__).parent / "locales"
SOURCE = "en"
"""The language that the messages are written in."""

PLACE = re.compile(r"\{\w*\}")
ISOLATE, END = "\u2068", "\u2069"
"""First-strong isolate and its end (Unicode Annex 9): what stands between them keeps an order of its own."""


@dataclass(frozen=True)
class Language:
    """One language: its tag, its own name, the direction it is written in, and its messages by the English ones."""

    tag: str
    name: str
    direction: str
    messages: Mapping[str, str]

    @property
    def arrow(self) -> str:
        """From what stands before it to what stands after it."""
        return "→" if self.direction == "ltr" else "←"

    def say(self, message: str) -> str:
        """The message in this language; a sentence that it lacks stays English rather than being left out."""
        return self.messages.get(message) or message

    def fill(self, message: str, **values: object) -> str:
        """The message in this language with its places filled."""
        return self.say(message).format(**self._placed(values))

    def unfilled(self, message: str) -> str:
        """The message in this language with its places left open, for a script that fills them."""
        return self.fill(message, **{place[1:-1]: place for place in PLACE.findall(message)})

    def apart(self, value: object) -> str:
        """A name, number or code beside words: from right to left it is set apart, so that it keeps its own order."""
        return str(value) if self.direction == "ltr" else f"{ISOLATE}{value}{END}"

    def said(self, sentence: str) -> str:
        """A sentence that was put together, in this language: by its id and its values when it is a `Message`."""
        if not isinstance(sentence, Message) or not sentence.values:
            return self.say(sentence)
        values = {n: self.said(v) if isinstance(v, Message) else v for n, v in sentence.values.items()}
        return self.say(sentence.text).format(**self._placed(values))

    def _placed(self, values: Mapping[str, object]) -> Mapping[str, object]:
        """Values as they stand in a sentence."""
        return {name: self.apart(value) for name, value in values.items()}


@cache
def load_languages(further: str = "") -> Mapping[str, Language]:
    """Every language there is, by its tag: English, one for each of our files, and those of a folder; read once.

    What a file in the folder says of a language that there is already goes before our words. Raises `SettingsError` for
    a folder that is not there, and for a file that is no language or fills other places than the English does.
    """
    found = {SOURCE: _language(SOURCE, {})}
    if further and not Path(further).is_dir():
        raise SettingsError(f"{PREFIX}LANGUAGES is {further!r}; a folder with files such as ar.po is wanted.")
    for folder in (LOCALES, *([Path(further)] if further else [])):
        for path in sorted(folder.glob("*.po")):
            before = found[path.stem].messages if path.stem in found else {}
            try:
                found[path.stem] = _language(path.stem, {**before, **_messages(path)})
            except (ValueError, UnknownLocaleError, PoFileError) as error:
                raise SettingsError(
                    f"{path}: {error}. A file named after its language, such as pt-BR.po, as "
                    "`hoistlore messages` writes it, is wanted."
                ) from error
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


def _messages(path: Path) -> dict[str, str]:
    """What a file says, by the English. Raises `ValueError` for a sentence that fills other places."""
    with path.open("rb") as file:
        catalogue = read_po(file, locale=path.stem.replace("-", "_"), abort_invalid=True)
    said = {str(m.id): str(m.string) for m in catalogue if m.id and m.string and not m.fuzzy}
    for message, translation in said.items():
        if set(PLACE.findall(message)) != set(PLACE.findall(translation)):
            raise ValueError(f"{translation!r} does not fill the places of {message!r}")
    return said


def _language(tag: str, messages: Mapping[str, str]) -> Language:
    locale = Locale.parse(tag, sep="-")
    name = locale.get_display_name(tag.replace("-", "_")) or tag
    return Language(tag, name[:1].upper() + name[1:], locale.text_direction, messages)
