"""The field's words: a dialect that had grown here has gone, and does not come back."""

import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[1]
DIALECT = {
    "overfitting": r"\b(?:learn(?:ed|t|ing)?|known) by heart\b",
    "interpolation with the initial checkpoint": r"\bways? back to (?:the|where)\b|\bWAYS_BACK\b|\bof the way back\b",
    "checkpoint averaging": r"\bblend(?:s|ing)?\b|\bblend_",
    "threshold": r"\bBARS?\b|(?:ordering|feature|finder)[_ ]bars?\b|\bthe bar (?:is|of)\b|\bwith_bar\b|>= bar\b",
    "test-time augmentation, or a view": r"\bLOOKS\b|\.looks\b|\[\"looks\"\]|\bits looks\b|\blooks twice\b",
    "in distribution, out of distribution": r"\b(?:not )?one of ours\b|not_one_of_ours|\bOurs\b|\bfit_ours\b|\.ours\b",
    "label shift, or priors": r"\bthe mix counts\b|\b_?wanted_mix\b",
    "pairwise calibration": r"\blean(?:s|ing)? to(?:wards)?\b|\btold_apart\b|\bfit_apart\b",
    "augmented": r"\b[Ww]eathered\b|\bWEATHER\b|\bWeather\(",
    "un-fused batch norm": r"\b[Uu]nfold(?:s|ed|ing)?\b",
    "process group": r"\b[Tt]eam(?:s|'s)?\b",
}
"""What to say instead, and the words that it replaces."""

QUOTES_THE_DIALECT = {"tests/test_words.py", "CHANGELOG.md"}
"""This file, and what a user has to rename."""


def pages() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    wanted = (".py", ".md", ".toml", ".jinja", ".jsonl")
    return [ROOT / name for name in listed.split("\0") if name.endswith(wanted) or name == "Makefile"]


def found_in(text: str) -> list[str]:
    """Words of the dialect in a text, each with what to say instead."""
    return [f"{match[0]!r}: say {say!r}" for say, words in DIALECT.items() for match in re.finditer(words, text)]


def test_code_settings_and_pages_speak_the_field_s_words() -> None:
    told = {}
    for page in pages():
        name = str(page.relative_to(ROOT))
        if name not in QUOTES_THE_DIALECT and not name.startswith(
            ("guidance/", "api/", "tests/guidance/", "tests/api/")
        ):
            told[name] = found_in(page.read_text("utf-8"))
    assert {name: words for name, words in told.items() if words} == {}


def test_the_words_of_the_networks_stay_out_of_guidance_and_api() -> None:
    """There people lean and work in teams; what calls a threshold, a view or a distribution by an old name is found."""
    everyday = {"process group", "pairwise calibration", "un-fused batch norm"}
    told = {}
    for page in pages():
        name = str(page.relative_to(ROOT))
        if name.startswith(("guidance/", "api/")) and page.suffix == ".py":
            words = found_in(page.read_text("utf-8"))
            told[name] = [word for word in words if not any(word.endswith(f"{say!r}") for say in everyday)]
    assert {name: words for name, words in told.items() if words} == {}


def test_a_word_of_the_dialect_would_be_found() -> None:
    for sentence in ("it learned by heart", "some of the way back", "blends", "the ordering bar", "is it one of ours"):
        assert found_in(sentence)
    assert found_in("the bar chart of a learned network, looked at by heartened teachers") == []
