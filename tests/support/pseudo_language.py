"""A language file that is no translation: each English letter becomes an Arabic one, so that pages run leftwards."""

import re
from pathlib import Path

from babel.messages.pofile import read_po, write_po

from api.commands.messages import update_language
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load

TAG = "ar"
LATIN = "abcdefghijklmnopqrstuvwxyz"
ARABIC = "ابجدهوزحطيكلمنسعفصقرشتثخذض"
LETTERS = str.maketrans(LATIN + LATIN.upper(), ARABIC * 2)
PLACE = re.compile(r"(\{\w*\})")


def mirrored(message: str) -> str:
    """The message letter by letter in Arabic script, which says nothing; its places are kept."""
    return "".join(p if PLACE.fullmatch(p) else p.translate(LETTERS) for p in PLACE.split(message))


def write_pseudo_language(folder: Path, but: frozenset[str] = frozenset()) -> Path:
    """A file of that language in a folder, as an operator adds one; `but`: messages that it lacks. Returns the file."""
    path = folder / f"{TAG}.po"
    update_language(path, load(DEMO_CATALOGUE))
    with path.open("rb") as file:
        catalogue = read_po(file, locale=TAG)
    for message in catalogue:
        if message.id and message.id not in but:
            message.string = mirrored(message.id)
    with path.open("wb") as file:
        write_po(file, catalogue)
    return path
