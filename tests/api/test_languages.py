"""Every language says everything that a caregiver can be told, with the same places to fill."""

import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from api.commands.messages import messages, update_language
from api.pages.languages import LOCALES, chosen, load_languages
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load

FILES = sorted(LOCALES.glob("*.po"))


def test_spanish_is_there() -> None:
    assert "es" in load_languages()


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_language_lacks_nothing_and_has_nothing_too_much(path: Path) -> None:
    said = load_languages()[path.stem].messages
    wanted = set(messages(load(DEMO_CATALOGUE)))
    assert {m for m in wanted if not said.get(m)} == set()
    assert set(said) - wanted == set()


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_translation_fills_the_same_places(path: Path) -> None:
    for message, translation in load_languages()[path.stem].messages.items():
        assert set(re.findall(r"\{\w*\}", message)) == set(re.findall(r"\{\w*\}", translation)), message


def test_a_caregiver_s_sentences_stay_short_in_spanish() -> None:
    """Plain language, from memory: at most 25 words a sentence. A question that lists its answers may be longer."""
    for translation in load_languages()["es"].messages.values():
        for sentence in re.split(r"(?<=[.?!])\s", translation):
            assert len(sentence.split()) <= 30, sentence


def test_a_third_language_is_a_file(tmp_path: Path) -> None:
    path = tmp_path / "ar.po"
    count, empty = update_language(path, load(DEMO_CATALOGUE))
    assert count == empty > 200
    with path.open("rb") as file:
        catalogue = read_po(file, locale="ar")
    catalogue["Yes"].string = "نعم"
    from babel.messages.pofile import write_po

    with path.open("wb") as file:
        write_po(file, catalogue)
    assert update_language(path, load(DEMO_CATALOGUE)) == (count, count - 1)
    arabic = load_languages(tmp_path)["ar"]
    assert (arabic.say("Yes"), arabic.say("No"), arabic.direction) == ("نعم", "No", "rtl")
    assert chosen("ar-EG,en;q=0.5", load_languages(tmp_path)) == "ar"
