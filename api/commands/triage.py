"""`hoistlore triage`: troubleshooting as a conversation in the terminal, with back, skip, "don't know" and a record."""

import argparse
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

from api.cases.record import Event, Record, load_record, save_record
from api.commands.triage_screen import said_of_case, said_of_question
from api.settings import Settings
from classifier.errors import CaseError, InputError, ReadingError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.rows import ROLES
from guidance.diagnose.learning import count_cases, learned, load_cases
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.answer import CatalogueInfo
from guidance.documents.case import SKIPPED, UNSURE, OutcomeOut, Seen, StepOut, Troubleshooting
from guidance.electricity.verdict import PackReadings, judge_pack

BACK, SKIP, DONT_KNOW, READINGS, QUIT = "b", "s", "?", "r", "q"

OVER = ("out_of_use", "release")
"""States after which one thing is asked: whether the case is one to report."""

ASK_HURT = StepOut(
    kind="safety_question",
    id="could_hurt",
    text="Was anybody hurt, or nearly hurt?",
    source="common practice, no source",
    roles=ROLES,
    outcomes=tuple(
        OutcomeOut(id=answer, words=words, probability=1 / 2) for answer, words in (("no", "No"), ("yes", "Yes"))
    ),
    why="Such a case is reported, whatever was found.",
)


def run(arguments: argparse.Namespace) -> int:
    """Hold the conversation on standard input and output."""
    settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
    catalogue = load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE)
    if arguments.cases:
        catalogue = learned(catalogue, count_cases(load_cases(arguments.cases), catalogue))
    record = _opened(arguments, catalogue)
    columns = shutil.get_terminal_size((80, 24)).columns
    keep = (lambda kept: save_record(kept, arguments.record)) if arguments.record else (lambda _: None)
    converse(catalogue, record, _read, lambda text: print(text, flush=True), keep, columns)
    if arguments.record:
        print(f"kept in {arguments.record}", file=sys.stderr)
    return 0


def converse(
    catalogue: Catalogue,
    record: Record,
    read: Callable[[str], str | None],
    write: Callable[[str], None],
    keep: Callable[[Record], None],
    columns: int = 80,
) -> Record:
    """Ask until the lift works, is out of use or handed over, or somebody quits; `keep` gets each record.

    `read` gives None at the end of the input.
    """
    said: frozenset[str] = frozenset()
    while True:
        answer = troubleshoot(record.case(), catalogue)
        write(said_of_case(answer, said, columns))
        said = frozenset(sentence.id for sentence in answer.safety)
        if answer.state in OVER and any(event.kind == "could_hurt" for event in record.events):
            return record
        kind, question = _question(record, answer, catalogue)
        write(said_of_question(question, columns, back=bool(record.events), kind=kind))
        following = _listen(record, kind, question, read, write, catalogue)
        if following is None:
            return record
        handed_over = answer.state == "hand_over" and len(following.events) > len(record.events)
        record = following
        keep(record)
        if handed_over:
            return record


def _opened(arguments: argparse.Namespace, catalogue: Catalogue) -> Record:
    if arguments.record and arguments.record.exists():
        return load_record(arguments.record)
    box = head = None
    if arguments.identification:
        box, head = _identification(arguments.identification)
    info = CatalogueInfo(id=catalogue.pool.id, version=catalogue.pool.version)
    return Record(catalogue=info, role=arguments.role, control_box=box, actuator=head)


def _identification(path: Path) -> tuple[Seen, Seen]:
    try:
        document = json.loads(path.read_bytes())
        return Seen.model_validate(document["control_box"]), Seen.model_validate(document["actuator"])
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}. Name a file that `hoistlore identify --json` wrote.") from None
    except (ValueError, KeyError, TypeError):
        raise InputError(f"{path}: no answer of `hoistlore identify --json`. Write one, and name it here.") from None


def _read(prompt: str) -> str | None:
    try:
        return input(prompt)
    except (EOFError, KeyboardInterrupt):
        print()
        return None


def _question(record: Record, answer: Troubleshooting, catalogue: Catalogue) -> tuple[str, StepOut]:
    """What is asked now: the step that the answer proposes, which box it is before that, and last whether it hurt."""
    step = answer.next
    if answer.state in OVER:
        return "could_hurt", ASK_HURT
    asked = {event.id for event in record.events if event.kind == "observation"}
    if answer.state in ("next_step", "hand_over") and record.control_box is None and WHICH_BOX not in asked:
        return "observation", _which_box(catalogue)
    kinds = {"safety_question": step.id, "context": "context"}
    return kinds.get(step.kind, "step"), step


def _which_box(catalogue: Catalogue) -> StepOut:
    row = catalogue.observations_by_id[WHICH_BOX]
    share = 1 / len(row.options)
    outcomes = tuple(OutcomeOut(id=key, words=words, probability=share) for key, words in row.options.items())
    return StepOut(
        kind="question",
        id=WHICH_BOX,
        text=row.ask,
        source="common practice, no source",
        roles=ROLES,
        outcomes=outcomes,
        why="What fails, what can be checked and which part fits depend on it.",
    )


def _listen(
    record: Record, kind: str, question: StepOut, read: Callable, write: Callable, catalogue: Catalogue
) -> Record | None:
    """Read until something came that can be used; None when the conversation is left."""
    choices = [outcome.id for outcome in question.outcomes]
    while True:
        came = read("> ")
        if came is None or came.strip().lower() == QUIT:
            return None
        word = came.strip().lower()
        if word == BACK:
            if record.events:
                return record.before_last()
            write("This is the first question.")
        elif word == READINGS:
            readings = _readings(read, write)
            if readings is not None:
                return record.after(Event(kind="readings", readings=readings))
        else:
            answered = _chosen(word, choices, kind)
            if answered is not None:
                return record.after(Event(kind=kind, id=question.id, answer=answered))
            write(f"“{came.strip()}” is none of the answers. Type a number from 1 to {len(choices)}.")


def _chosen(word: str, choices: list[str], kind: str) -> str | None:
    """The answer that was meant: a number, an id, several of them for danger signs, "don't know" or skip."""
    words = [part.strip() for part in word.split(",")] if kind == "danger_signs" else [word]
    picked = [choices[int(w) - 1] if w.isdecimal() and 0 < int(w) <= len(choices) else w for w in words]
    if all(p in choices for p in picked):
        signs = [p for p in picked if p != choices[0]] if kind == "danger_signs" and len(picked) > 1 else picked
        return ",".join(signs)
    if word == DONT_KNOW and kind in ("person_in_sling", "context", "step", "observation", "could_hurt"):
        return UNSURE
    if word == SKIP and kind in ("context", "step", "observation"):
        return SKIPPED if kind == "step" else UNSURE
    return None


def _readings(read: Callable, write: Callable) -> PackReadings | None:
    """Ask for each meter reading; an empty line leaves it out."""
    asks = {
        "blocks_v": "Voltage of each block at rest, two numbers (V)",
        "pack_v": "Voltage of the whole pack at rest (V)",
        "rest_hours": "Hours of rest before that (h)",
        "meter_error_percent": "Error of the meter (%)",
        "loaded_v": "Voltage while the arm raises (V)",
        "load_current_a": "Current while the arm raises (A)",
    }
    given: dict[str, list[str]] = {}
    for name, ask in asks.items():
        came = read(f"  {ask}: ")
        if came and came.strip():
            given[name] = came.replace(",", ".").split()
    try:
        numbers = {name: tuple(map(float, words)) for name, words in given.items()}
        readings = PackReadings(**{name: n if name == "blocks_v" else n[0] for name, n in numbers.items()})
        judge_pack(readings)
        return readings
    except ValueError:
        write("Readings are numbers, such as 12.65. Nothing was taken over.")
    except (CaseError, ReadingError) as error:
        write(f"{error}. Nothing was taken over.")
    return None
