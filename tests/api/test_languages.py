"""Every language says everything that a caregiver can be told, with the same places to fill."""

import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from api.commands.messages import messages, update_language
from api.pages.english import Words, with_parts
from api.pages.languages import LOCALES, Language, chosen, load_languages
from classifier.errors import SettingsError
from classifier.messages import Message
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load

pytestmark = pytest.mark.walk

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
    arabic = load_languages(str(tmp_path))["ar"]
    assert (arabic.say("Yes"), arabic.say("No"), arabic.direction) == ("نعم", "No", "rtl")
    assert chosen("ar-EG,en;q=0.5", load_languages(str(tmp_path))) == "ar"


def test_what_fills_a_sentence_is_set_apart_from_right_to_left_alone() -> None:
    """FIRST STRONG ISOLATE … POP DIRECTIONAL ISOLATE: Unicode Standard Annex 9, section 2.4 (from memory)."""
    leftwards = Language("ar", "ar", "rtl", {"Case {code}": "{code} ق"})
    assert leftwards.fill("Case {code}", code="+49 30") == "\u2068+49 30\u2069 ق"
    assert leftwards.said(Message("Case {code}", code=7)) == "\u20687\u2069 ق"
    assert leftwards.unfilled("Case {code}") == "\u2068{code}\u2069 ق"
    assert (leftwards.apart("7"), leftwards.arrow) == ("\u20687\u2069", "←")
    spanish = load_languages()["es"]
    assert (spanish.apart("7"), spanish.fill("Case {code}", code=7), spanish.arrow) == ("7", "Caso 7", "→")


def test_an_operator_s_file_goes_before_our_words_and_leaves_the_others(tmp_path: Path) -> None:
    (tmp_path / "es.po").write_text('msgid "Yes"\nmsgstr "Sí, claro"\n', "utf-8")
    found = load_languages(str(tmp_path))["es"]
    assert (found.say("Yes"), found.say("No")) == ("Sí, claro", load_languages()["es"].say("No"))


@pytest.mark.parametrize(
    ("name", "text", "wrong"),
    [
        ("ar.po", 'msgid "Case {code}"\nmsgstr "ق {kode}"\n', "does not fill the places"),
        ("xx.po", "", "unknown locale"),
        ("pt_BR.po", "", "pt-BR.po"),
        ("ar.po", "no messages at all\n", "ar.po"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_by_its_name(tmp_path: Path, name: str, text: str, wrong: str) -> None:
    (tmp_path / name).write_text(text, "utf-8")
    with pytest.raises(SettingsError, match=wrong):
        load_languages(str(tmp_path))


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="HOISTLORE_LANGUAGES"):
        load_languages(str(tmp_path / "none"))


def test_what_a_language_lacks_is_an_element_of_its_own_where_one_can_stand() -> None:
    words = Words(Language("ar", "ar", "rtl", {"Yes": "نعم"}))
    page = f'<title>{words.say("No")}</title><p title="{words.say("No")}">{words.say("Yes")}, {words.say("No")}</p>'
    assert with_parts(page) == '<title>No</title><p title="No">نعم, <span lang="en" dir="ltr">No</span></p>'
