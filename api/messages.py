"""Every English message that a caregiver can be shown, so that a language that lacks one is noticed."""

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from jinja2 import Environment
from jinja2.ext import extract_from_ast

from api.caregiver_told import KIND_WORDS
from api.page_errors import OURS, WORDS
from api.pages import HERE, TEMPLATES
from api.triage import ASK_HURT
from classifier.quality import ADVICE
from guidance.case_model import STILL, WORKS, Case
from guidance.catalogue import Catalogue
from guidance.derived_questions import WHICH_BOX
from guidance.safety import ASK_SLING, ask_signs, may_do
from guidance.troubleshoot import troubleshoot

ROLE = "caregiver"

HEADER = """\
# The caregiver's pages in another language. Lines without a translation are shown in English.
# Safety sentences need a reader who knows the trade and speaks the language at home."""

SIGNALS = ("DANGER", "WARNING", "CAUTION")

TRIED = {WORKS: "It works again", STILL: "The trouble is still there"}
"""How a repair turned out, as guidance words it."""


def messages(catalogue: Catalogue) -> list[str]:
    """All of them, each once: from the templates, from the code of the pages, and from a catalogue."""
    found = [*_of_templates(), *_of_code(), *_of_tables(), *of_catalogue(catalogue)]
    return list(dict.fromkeys(found))


def update_language(path: Path, catalogue: Catalogue) -> tuple[int, int]:
    """Add what a language's file lacks, empty, and drop what is no longer said; how many it has and how many are empty.

    A file that is not there yet is made: that is how a language is added.
    """
    fresh = Catalog(locale=path.stem.replace("-", "_"), project="Hoistlore", fuzzy=False, header_comment=HEADER)
    old: dict[str, str] = {}
    if path.exists():
        with path.open("rb") as file:
            before = read_po(file, locale=path.stem.replace("-", "_"))
        old = {m.id: m.string for m in before if m.id}
        fresh.creation_date, fresh.header_comment = before.creation_date, before.header_comment
    fresh.last_translator = fresh.language_team = fresh.msgid_bugs_address = ""
    for message in messages(catalogue):
        fresh.add(message, old.get(message, ""))
    with path.open("wb") as file:
        write_po(file, fresh, width=116)
    return len(fresh), sum(not m.string for m in fresh if m.id)


def of_catalogue(catalogue: Catalogue) -> Iterator[str]:
    """What a caregiver can be told from a catalogue; steps and sentences for others are left out."""
    yield from (row.name for row in (*catalogue.generations, *catalogue.mechanisms))
    for words in catalogue.concepts.values():
        yield from (words.name, *words.values.values())
    steps = (step for mechanism in catalogue.mechanisms for step in mechanism.steps)
    yield from (s.text for s in (*catalogue.sentences, *catalogue.cautions, *steps) if ROLE in s.roles)
    for sign in catalogue.stop_signs:
        yield from (sign.name, sign.text)
    for row in (*catalogue.questions, catalogue.observations_by_id[WHICH_BOX]):
        if ROLE in row.effort_min:
            yield from (row.ask, *row.options.values())
    yield from (row.ask for row in catalogue.views if ROLE in row.effort_min)
    yield from (row.say for row in catalogue.symptoms)
    for context in catalogue.contexts:
        if ROLE in context.minutes:
            yield from (context.ask, *context.options.values())
    yield from (*_of_steps(catalogue), *_of_questions(catalogue))


def _of_steps(catalogue: Catalogue) -> Iterator[str]:
    for check in catalogue.checks:
        if may_do(check, ROLE):
            yield from (check.text, *check.needs, *catalogue.findings_by_id[check.finding].outcomes.values())
            yield from [check.risk] if check.risk else []
    for repair in catalogue.repairs:
        if may_do(repair, ROLE):
            yield from (repair.text, *repair.needs)
            yield from [repair.risk] if repair.risk else []


def _of_tables() -> Iterator[str]:
    yield from (*SIGNALS, *TRIED.values(), *KIND_WORDS.values(), *ADVICE.values())
    yield from (text for pair in (*WORDS.values(), OURS) for text in pair)
    yield from (ASK_HURT.text, *(outcome.words for outcome in ASK_HURT.outcomes))


def _of_templates() -> Iterator[str]:
    """The arguments of `_("…")` and `fill("…")` in the templates."""
    environment = Environment()
    for path in sorted(TEMPLATES.glob("*.html")):
        for _line, _function, said in extract_from_ast(environment.parse(path.read_text("utf-8")), ("_", "fill")):
            yield from _texts(said)


def _of_code() -> Iterator[str]:
    """The arguments of `.say("…")` and `.fill("…")` in the code of the pages."""
    for path in sorted(HERE.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            called = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr
            if called in ("say", "fill") and node.args:
                yield from (n.value for n in ast.walk(node.args[0]) if isinstance(n, ast.Constant) and n.value)


def _texts(said: object) -> Iterable[str]:
    return [s for s in (said if isinstance(said, tuple) else (said,)) if isinstance(s, str)]


def _of_questions(catalogue: Catalogue) -> Iterator[str]:
    trouble = troubleshoot(Case(role=ROLE, person_in_sling="no", danger_signs=()), catalogue).next
    yield from (ASK_SLING.text, trouble.text)
    signs = ask_signs(catalogue)
    yield from (signs.text, signs.why, *(outcome.words for outcome in signs.outcomes))
