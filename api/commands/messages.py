"""Every English message that the pages can show, so that a language that lacks one is noticed."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from jinja2 import Environment, nodes

from api.audit.words import SAID
from api.cases.basket import STANDING_WORDS
from api.cases.line import STATUSES
from api.cases.summary import NOT_SAID, OCCUPIED
from api.cases.view import TELLS_BOX
from api.cases.why import PLAIN_WHY
from api.cases.words import (
    ABOUT_WORDS,
    ACTION_WORDS,
    ANSWER_WORDS,
    EXPORTED,
    FORGOT,
    HOW_WORDS,
    KIND_WORDS,
    NOT_A_PART,
    NOT_PEOPLE,
    PLATE_NAMES,
    PROOF_WORDS,
    READ,
    ROLE_WORDS,
)
from api.guide.hints import HINT_WORDS, LOOK_FOR
from api.guide.wanted import GUIDED, OTHER_CORNER
from api.http.page_errors import OURS, WORDS
from api.pages.environment import TEMPLATES
from api.pages.staff.case_screen import READING_FIELDS
from api.pages.staff.monitor import COMPONENT_WORDS, VERDICT_WORDS
from api.pages.staff.queue import LONG, WHOSE
from api.pages.staff.workshop import NONE_OF_THE_LIST
from api.pages.wording import OVER, UNDER, plain
from api.surveys.wanted import STATE_WORDS, VIEW_NAMES, WANTED
from classifier.quality import ADVICE
from classifier.taxonomy import NOT_VISIBLE
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.rows import ROLES
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import STILL, WORKS, Case
from guidance.identify.held_back import WRONG_TOO_OFTEN
from guidance.parts.options import LOOK_ALIKE
from guidance.parts.parts import ASK_FIRST
from guidance.safety.lowering import LOWERING_OUTCOMES
from guidance.safety.sentences import ASK_HURT, ASK_SLING, HURT, ask_signs, may_do

HEADER = """\
# The pages in another language. Lines without a translation are shown in English.
# Safety sentences need a reader who knows the trade and speaks the language at home."""

SIGNALS = ("DANGER", "WARNING", "CAUTION")

TRIED = {WORKS: "It works again", STILL: "The trouble is still there"}
"""How a repair turned out, as guidance words it."""

DECISIONS = ("confirmed", "likely", "undecided", "unlisted", "not seen")
BATTERY_STATES = ("good", "low", "failed", "cannot say")
"""As guidance decides, and judges a battery."""

ROOT = Path(__file__).parents[2]

MADE_BY = ("classifier", "guidance", "api")
"""The packages whose code makes a `Message`; its first argument is what translators see."""


def messages(catalogue: Catalogue) -> list[str]:
    """All of them, each once: from the templates, from the code of the pages, and from a catalogue."""
    made = (text for package in MADE_BY for path in sorted((ROOT / package).rglob("*.py")) for text in _made(path))
    found = [*_of_templates(), *_of_code(), *_of_tables(), *made, *of_catalogue(catalogue)]
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
    """What somebody can be told from a catalogue, whatever their role."""
    yield from (row.name for row in (*catalogue.generations, *catalogue.mechanisms))
    for words in catalogue.concepts.values():
        yield from (words.name, *words.values.values())
    steps = (step for mechanism in catalogue.mechanisms for step in mechanism.steps)
    yield from (s.text for s in (*catalogue.sentences, *catalogue.cautions, *steps))
    for sign in catalogue.stop_signs:
        yield from (sign.name, sign.text, *(sentence.text for sentence in sign.occupied))
    for row in (*catalogue.questions, catalogue.observations_by_id[WHICH_BOX]):
        yield from (row.ask, *row.options.values())
    yield from (row.ask for row in catalogue.views)
    yield from (row.say for row in catalogue.symptoms)
    for context in catalogue.contexts:
        yield from (context.ask, *context.options.values())
    yield from (*_of_steps(catalogue), *_of_questions(catalogue), *_of_parts(catalogue))
    yield from _of_what_goes_with_it(catalogue)


def _of_steps(catalogue: Catalogue) -> Iterator[str]:
    for finding in catalogue.findings:
        yield from (finding.name, *finding.outcomes.values())
    for step in (*catalogue.checks, *catalogue.repairs):
        if any(may_do(step, role) for role in ROLES):
            yield from (step.text, *step.needs, *([step.risk] if step.risk else []), *step.how)


def _of_what_goes_with_it(catalogue: Catalogue) -> Iterator[str]:
    yield from (row.text for row in (*catalogue.options, *catalogue.aftercare))
    for socket in catalogue.sockets:
        yield from (socket.where, *([socket.takes] if socket.takes else []), socket.wrong)
    if catalogue.not_this_tool:
        yield LOOK_ALIKE
    for aid in catalogue.not_this_tool:
        yield from (aid.name, *(sentence.text for sentence in aid.say))
    for part in catalogue.parts:
        values = (value for value in part.specification.values() if re.search(r"[^\W\d_]{3}", value))
        yield from (*part.specification, *values)


def _of_parts(catalogue: Catalogue) -> Iterator[str]:
    yield from (fault.name for fault in catalogue.faults)
    for component in catalogue.components:
        yield from (component.name, *(row.text for row in component.confirm))
        yield from [component.photo] if component.photo else []
    for part in catalogue.parts:
        yield from (part.name, *([part.note] if part.note else []))


def _of_tables() -> Iterator[str]:
    yield from (*SIGNALS, *TRIED.values(), *KIND_WORDS.values(), *ADVICE.values())
    yield from (text for pair in (*WORDS.values(), OURS) for text in pair)
    yield from (ASK_HURT.text, ASK_HURT.why, *(outcome.words for outcome in ASK_HURT.outcomes), HURT)
    yield from (*STATUSES, NOT_SAID, *OCCUPIED.values(), *PLATE_NAMES.values(), *READING_FIELDS.values())
    yield from (*ACTION_WORDS.values(), FORGOT, EXPORTED, *ROLE_WORDS.values(), *ANSWER_WORDS.values(), *READ.values())
    yield from (*PROOF_WORDS.values(), *HOW_WORDS.values(), *COMPONENT_WORDS.values(), *VERDICT_WORDS.values())
    yield from (WRONG_TOO_OFTEN, *WHOSE.values(), *LONG.values(), TELLS_BOX, NOT_A_PART)
    yield from (*ABOUT_WORDS.values(), *PLAIN_WHY.values())
    yield from (*STANDING_WORDS.values(), NONE_OF_THE_LIST, *DECISIONS, *BATTERY_STATES, *ASK_FIRST.values())
    yield from (*LOWERING_OUTCOMES.values(), *VIEW_NAMES.values(), *STATE_WORDS.values())
    yield from (view.framing for view in (*WANTED, *GUIDED.values()))
    yield from (*HINT_WORDS.values(), *LOOK_FOR.values(), OTHER_CORNER)
    yield from SAID
    yield from (OVER, UNDER, *NOT_PEOPLE, plain(NOT_VISIBLE))


def _of_templates() -> Iterator[str]:
    """The texts in the first argument of `_(…)`, `fill(…)` and `unfilled(…)` in the templates."""
    environment = Environment()
    for path in sorted(TEMPLATES.rglob("*.html")):
        for call in environment.parse(path.read_text("utf-8")).find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name in ("_", "fill", "unfilled") and call.args:
                texts = [call.args[0], *call.args[0].find_all(nodes.Const)]
                yield from (t.value for t in texts if isinstance(t, nodes.Const) and _is_said(t.value))


def _of_code() -> Iterator[str]:
    """The texts in the first argument of `say(…)` and `fill(…)` in the code of the pages.

    A name there stands for every text that the same file gives it.
    """
    for path in sorted((ROOT / "api").rglob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        named: dict[str, list[str]] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                named.setdefault(node.targets[0].id, []).extend(_constants(node.value))
        for node in ast.walk(tree):
            function = node.func if isinstance(node, ast.Call) and node.args else None
            called = getattr(function, "attr", None) or getattr(function, "id", None)
            if called in ("say", "fill"):
                names = [n.id for n in ast.walk(node.args[0]) if isinstance(n, ast.Name)]
                yield from _constants(node.args[0])
                yield from (text for name in names for text in named.get(name, ()) if " " in text)


def _constants(node: ast.AST) -> list[str]:
    """The texts of an expression, those of a table's values and not of its keys."""
    if isinstance(node, ast.Dict):
        return [text for value in node.values for text in _constants(value)]
    if isinstance(node, ast.Constant):
        return [node.value] if _is_said(node.value) else []
    if isinstance(node, ast.Subscript):  # a key is not said
        return _constants(node.value)
    return [text for child in ast.iter_child_nodes(node) for text in _constants(child)]


def _made(path: Path) -> Iterator[str]:
    """The id of every `Message` that a file makes."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", None) == "Message" and node.args:
            yield from _constants(node.args[0])


def _is_said(text: object) -> bool:
    return isinstance(text, str) and any(letter.isalpha() for letter in text)


def _of_questions(catalogue: Catalogue) -> Iterator[str]:
    for role in ROLES:
        trouble = troubleshoot(Case(role=role, person_in_sling="no", danger_signs=()), catalogue).next
        yield from (trouble.text, trouble.why)
    signs = ask_signs(catalogue)
    for asked in (ASK_SLING, signs):
        yield from (asked.text, asked.why, *(outcome.words for outcome in asked.outcomes))
