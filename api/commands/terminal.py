"""The answer for a person at a terminal: what it is, how sure, what to do first, what to ask next, and why."""

import textwrap
from collections.abc import Callable, Iterator

from api.pages.wording import percent, plain
from classifier.quality import ADVICE, HARMLESS
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.answer import Advice, Answer, Because, Component, PhotoOut

NARROWEST, WIDEST = 40, 100
LABEL = 14
"""Columns of the words at the left."""


def told(answer: Answer, catalogue: Catalogue, columns: int) -> str:
    """The whole answer as plain text, no line longer than `columns` (40 to 100)."""
    page = _Page(max(NARROWEST, min(columns, WIDEST)))
    _component(page, "CONTROL BOX", answer.control_box, lambda g: _box_name(g, catalogue), catalogue)
    _component(page, "LOWERING", answer.actuator, lambda m: catalogue.mechanisms_by_id[m].name, catalogue)
    _sentences(page, "FIRST", answer.guidance.safety, numbered=False)
    _lowering(page, answer, catalogue)
    _other_aid(page, answer)
    _next(page, answer)
    _sentences(page, "CHECKS", answer.guidance.checks, numbered=True)
    _parts(page, answer)
    _goes_with(page, answer)
    _photos(page, answer)
    return "\n".join(page.lines)


class _Page:
    """Lines of wrapped text."""

    def __init__(self, columns: int) -> None:
        self.columns = columns
        self.lines: list[str] = []

    def heading(self, words: str) -> None:
        self.lines.append("")
        self.text(words, "")

    def text(self, words: str, first: str, rest: str = "") -> None:
        indent = rest or " " * len(first)
        self.lines += textwrap.wrap(
            words, self.columns, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
        ) or [first.rstrip()]


def _component(page: _Page, label: str, component: Component, name: Callable[[str], str], catalogue: Catalogue) -> None:
    pad = " " * LABEL
    page.text(_verdict(component, name), f"{label:<{LABEL}}")
    if component.decision == "undecided":
        for value in sorted(component.values, key=lambda v: -component.probabilities[v]):
            page.text(name(value), f"{pad}{percent(component.probabilities[value]):>9}  ")
    if component.because:
        page.text("seen: " + "; ".join(_reason(b, catalogue) for b in component.because), pad)
    for contradiction in component.contradictions:
        page.text(f"does not fit together: {contradiction.text}", pad)


def _verdict(component: Component, name: Callable[[str], str]) -> str:
    if component.decision == "not_seen":
        return "not seen yet"
    if component.decision == "undecided":
        return "NOT SETTLED, it can be"
    sure = percent(component.probabilities[component.favourite])
    if component.decision == "likely":
        return f"probably {name(component.favourite)}, {sure}: NOT CONFIRMED"
    if component.decision == "unlisted":
        return f"{name(component.favourite)}, {sure}"
    return f"{name(component.favourite)}, {sure}: CONFIRMED"


def _box_name(generation: str, catalogue: Catalogue) -> str:
    row = catalogue.generations_by_id.get(generation)
    return f"{row.name} ({row.id})" if row else "none that this catalogue lists"


def _reason(because: Because, catalogue: Catalogue) -> str:
    words = catalogue.concepts.get(because.concept)
    if words is None:
        return f"{plain(because.concept)}: {plain(because.value)} ({because.source})"
    return f"{words.name} {words.values.get(because.value, because.value)} ({because.source})"


def _sentences(page: _Page, heading: str, sentences: tuple[Advice, ...], numbered: bool) -> None:
    if sentences:
        page.heading(heading)
    for number, sentence in enumerate(sentences, 1):
        page.text(_said(sentence), f"{number:>3}. " if numbered else "  - ")


def _said(sentence: Advice) -> str:
    return f"{sentence.signal.upper()}: {sentence.text}" if sentence.signal else sentence.text


def _lowering(page: _Page, answer: Answer, catalogue: Catalogue) -> None:
    advice = answer.guidance.lowering
    if advice.basis == "confirmed":
        heading = f"TO BRING SOMEBODY DOWN BY HAND ({catalogue.mechanisms_by_id[advice.mechanisms[0]].name})"
    else:
        heading = "TO BRING SOMEBODY DOWN (the lowering mechanism is not confirmed)"
    _sentences(page, heading, advice.steps, numbered=True)


def _next(page: _Page, answer: Answer) -> None:
    if answer.next is None:
        return
    page.heading("NEXT, to be surer")
    page.text(answer.next.ask, "  ")
    page.text(answer.next.why, "  ")
    for identifier, words in answer.next.answers.items():
        page.text(words, f"    --observe {answer.next.id}={identifier}  ", " " * 8)


def _parts(page: _Page, answer: Answer) -> None:
    if answer.guidance.parts:
        page.heading("PARTS")
    for part in answer.guidance.parts:
        page.text(f"{part.name}: {part.part.number} {part.part.name}", "  - ")


def _other_aid(page: _Page, answer: Answer) -> None:
    """That this tool is not for it, or the question whether it is for it."""
    aid, asked = answer.guidance.not_this_tool, answer.guidance.ask_first
    if aid is not None:
        _sentences(page, f"NOT FOR THIS TOOL: {aid.name}", aid.say, numbered=False)
    if asked is not None:
        page.heading("SAY FIRST")
        page.text(asked.ask, "  ")
        page.text(asked.why, "  ")
        for identifier, words in asked.answers.items():
            page.text(words, f"    --observe {asked.id}={identifier}  ", " " * 8)


def _goes_with(page: _Page, answer: Answer) -> None:
    """What can be had for it, and which plug goes where."""
    options, sockets = answer.guidance.options, answer.guidance.sockets
    if options:
        page.heading("WHAT CAN BE HAD FOR IT")
    for option in options:
        numbers = ", ".join(part.number for part in option.parts)
        page.text(f"{option.text} ({numbers})" if numbers else option.text, "  - ")
    if sockets:
        page.heading("WHAT PLUGS IN WHERE")
    for socket in sockets:
        page.text(f"{socket.where}: {socket.takes or 'stays empty'}. If wrong: {socket.wrong}", "  - ")


def _photos(page: _Page, answer: Answer) -> None:
    if answer.photos:
        page.heading("PHOTOS")
    for number, photo in enumerate(answer.photos, 1):
        found = ", ".join(_found(photo)) or ("no part of a lift found" if photo.quality.usable else "not used")
        page.text(f"{photo.name} ({photo.width} × {photo.height}): {found}", f"{number:>3}. ")
        for problem in photo.quality.problems:
            page.text(("Note: " if problem in HARMLESS else "") + ADVICE[problem], "     ")
    model, lift_pool = answer.model, answer.catalogue
    page.lines.append("")
    page.text(
        f"Model {model.version}: learned from {model.trained_on.synthetic} renders and {model.trained_on.owned_photos} "
        f"real photos. Catalogue {lift_pool.id} {lift_pool.version}.",
        "",
    )


def _found(photo: PhotoOut) -> Iterator[str]:
    for subject in photo.subjects:
        yield f"{plain(subject.kind)} {percent(subject.probability)}"
