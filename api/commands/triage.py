"""`hoistlore triage`: troubleshooting as a conversation in the terminal, with back, skip, "don't know" and a record."""

import argparse
import os
import shutil
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from api.cases.record import Event, Record, load_record, save_record
from api.commands.triage_screen import NARROWEST, said_of_case, said_of_question, told_ids
from api.commands.urgent_words import DANGER, HINT, said_of_the_person, signs_named
from api.settings import Settings
from classifier.errors import CaseError, InputError, ReadingError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.rows import ROLES
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.answer import CatalogueInfo
from guidance.documents.case import SKIPPED, UNSURE, OutcomeOut, Seen, StepOut, Troubleshooting
from guidance.documents.strict_json import loads
from guidance.electricity.readings import PackReadings
from guidance.electricity.verdict import judge_pack
from guidance.learning.closed_cases import check_cases, load_cases
from guidance.learning.learning import learned
from guidance.safety.sentences import ASK_HURT, ask_signs

BACK, SKIP, DONT_KNOW, READINGS, QUIT = "b", "s", "?", "r", "q"

OVER = ("out_of_use", "release")
"""States after which one thing is asked: whether the case is one to report."""


def run(arguments: argparse.Namespace) -> int:
    """Hold the conversation on standard input and output."""
    settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
    catalogue = load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE)
    if arguments.cases:
        cases = load_cases(arguments.cases)
        check_cases(cases, catalogue)
        catalogue = learned(catalogue, cases)
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
        said = told_ids(answer)
        if answer.not_this_tool is not None:
            return record
        if answer.state in OVER and any(event.kind == "could_hurt" for event in record.events):
            return record
        kind, question = _question(record, answer, catalogue)
        write(said_of_question(question, columns, back=bool(record.events), kind=kind))
        following = _listen(record, kind, question, read, write, catalogue, answer)
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
        document = loads(path.read_bytes())
        return Seen.model_validate(document["control_box"]), Seen.model_validate(document["actuator"])
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}. Name a file that `hoistlore identify --json` wrote.") from None
    except (ValueError, KeyError, TypeError) as error:
        why = f" ({error})" if type(error) is ValueError else ""
        raise InputError(
            f"{path}: no answer of `hoistlore identify --json`{why}. Write one, and name it here."
        ) from None


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
    look = next((ask for ask in answer.find_out if ask.kind == "question"), None)
    if look is not None and any(event.kind == "person_in_sling" for event in record.events):
        return "observation", _question_of(look.id, look.ask, look.answers, look.why)
    asked = {event.id for event in record.events if event.kind == "observation"}
    if answer.state in ("next_step", "hand_over") and record.control_box is None and WHICH_BOX not in asked:
        return "observation", _which_box(catalogue)
    first = answer.ask_first if answer.state in ("next_step", "hand_over") else None
    if first is not None and first.id not in asked:
        return "observation", _question_of(first.id, first.ask, first.answers, first.why)
    kinds = {"safety_question": step.id, "context": "context"}
    return kinds.get(step.kind, "step"), step


def _which_box(catalogue: Catalogue) -> StepOut:
    row = catalogue.observations_by_id[WHICH_BOX]
    why = "What fails, what can be checked and which part fits depend on it."
    return _question_of(WHICH_BOX, row.ask, row.options, why)


def _question_of(id_: str, ask: str, answers: Mapping[str, str], why: str) -> StepOut:
    share = 1 / len(answers)
    outcomes = tuple(OutcomeOut(id=key, words=words, probability=share) for key, words in answers.items())
    source = "common practice, no source"
    return StepOut(kind="question", id=id_, text=ask, source=source, roles=ROLES, outcomes=outcomes, why=why)


def _listen(
    record: Record,
    kind: str,
    question: StepOut,
    read: Callable,
    write: Callable,
    catalogue: Catalogue,
    answer: Troubleshooting,
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
            urgent = said_of_the_person(word, record, answer)
            signs = _signs(word, read, write, catalogue)
            if urgent is not None:
                return urgent
            if signs:
                return record.after(Event(kind="danger_signs", id="danger_signs", answer=",".join(signs)))
            write(f"“{came.strip()}” is none of the answers. Type a number from 1 to {len(choices)}. Also: {HINT}.")


def _signs(word: str, read: Callable, write: Callable, catalogue: Catalogue) -> tuple[str, ...]:
    """The danger signs that are reported by the word for it, or in somebody's own words; each is read back."""
    signs = catalogue.stop_signs_by_id
    if word == DANGER:
        asked = ask_signs(catalogue)
        write(said_of_question(asked, NARROWEST, back=False, kind="danger_signs"))
        came = (read("> ") or "").strip().lower()
        chosen = _chosen(came, [outcome.id for outcome in asked.outcomes], "danger_signs")
        found = tuple(chosen.split(",")) if chosen else signs_named(came, catalogue)
    else:
        found = signs_named(word, catalogue)
    found = tuple(sign for sign in found if sign in signs)
    if found:
        write(f"Taken as a danger: {'; '.join(signs[sign].name for sign in found)}. b takes it back.")
    return found


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
        "loaded_v": "Voltage of the pack under load: the arm raises, or lamps or a resistor (V)",
        "load_current_a": "Current meanwhile (A)",
        "loaded_blocks_v": "Voltage of each block meanwhile, two numbers (V)",
        "temperature_c": "Temperature of the pack (°C)",
    }
    given: dict[str, list[str]] = {}
    for name, ask in asks.items():
        came = read(f"  {ask}: ")
        if came and came.strip():
            given[name] = came.replace(",", ".").split()
    try:
        numbers = {name: tuple(map(float, words)) for name, words in given.items()}
        several = ("blocks_v", "loaded_blocks_v")
        readings = PackReadings(**{name: n if name in several else n[0] for name, n in numbers.items()})
        judge_pack(readings)
        return readings
    except ValueError:
        write("Readings are numbers, such as 12.65. Nothing was taken over.")
    except (CaseError, ReadingError) as error:
        write(f"{error}. Nothing was taken over.")
    return None
