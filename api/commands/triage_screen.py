"""What a triage conversation shows: safety first, what is probable, then one question with its answers."""

import textwrap

from api.commands.urgent_words import HINT
from api.pages.wording import percent
from guidance.documents.answer import Advice, PartsOut
from guidance.documents.case import StepOut, Troubleshooting, VerdictOut

NARROWEST, WIDEST = 40, 100

SHOWN = 4
"""Components of which a probability is shown."""

BAR_COLUMNS = 20

WORTH_SAYING = 0.05
"""From this probability on it is said that nothing on the list may be wrong."""

SHAPES = {
    "none": ("            ____", "        ===|    |)", "           |____|"),
    "squeeze_tabs": ("            ____  #", "        ===|    |===", "           |____| #"),
    "twist_knob": ("            ____ ____", "        ===|    |||||", "           |____|||||"),
    "pull_twist_knob": ("            ____    ____", "        ===|    |==|||||", "           |____|  |||||"),
}
"""What the motor end looks like with each mechanism, from the side."""

HEADINGS = {
    "bring_down": "FIRST: BRING THE PERSON DOWN",
    "out_of_use": "OUT OF USE",
    "ask": "BEFORE ANY CHECK",
    "next_step": "KEEP IN MIND",
    "hand_over": "HAND OVER",
    "release": "BEFORE ANYBODY IS LIFTED",
}


def said_of_case(answer: Troubleshooting, said: frozenset[str], columns: int) -> str:
    """Everything but the question. Of sentences that were just `said` only the first is repeated.

    While somebody is up all of them are said each time.
    """
    width = max(NARROWEST, min(columns, WIDEST))
    fresh = tuple(sentence for sentence in answer.safety if sentence.id not in said or answer.state == "bring_down")
    lines = ["", HEADINGS[answer.state], *_sentences(fresh or answer.safety[:1], width)]
    if answer.lowering:
        known = answer.lowering.basis == "confirmed"
        lines += ["", "HOW TO COME DOWN" if known else "HOW TO COME DOWN, not knowing the mechanism"]
        lines += _sentences(answer.lowering.steps, width)
    if answer.complaint.flagged:
        lines += ["", "REPORT THIS CASE", *_wrapped("; ".join(answer.complaint.because), "  ", width)]
        lines += _sentences(answer.complaint.say, width)
    for contradiction in answer.contradictions:
        lines += ["", *_wrapped(contradiction, "! ", width)]
    lines += _verdict(answer.electricity, width) if answer.electricity else []
    lines += _probable(answer) if answer.components and answer.state != "release" else []
    if answer.state == "hand_over" or (answer.next is not None and answer.next.kind == "replace"):
        lines += _parts(answer.parts, width)
    lines += _goes_with(answer, said, width)
    return "\n".join(lines)


def said_of_question(step: StepOut, columns: int, back: bool, kind: str) -> str:
    """One step or question with its numbered answers and what else may be typed."""
    width = max(NARROWEST, min(columns, WIDEST))
    lines = ["", *_wrapped(step.text, "=> ", width)]
    for number, move in enumerate(step.how, 1):
        lines += _wrapped(move, f"   {number}. ", width)
    if step.needs:
        lines += _wrapped(f"You need: {'; '.join(step.needs)}.", "   ", width)
    if step.risk:
        lines += _wrapped(f"CAUTION: {step.risk}", "   ", width)
    lines += _wrapped(step.why, "   ", width) if step.why else []
    for number, outcome in enumerate(step.outcomes, 1):
        lines += [f"   {number:>2}  {outcome.words}", *(SHAPES[outcome.id] if _is_shape(step) else ())]
    others = ["several: 2,5"] if kind == "danger_signs" else []
    others += ["? don't know"] if kind in ("context", "step", "observation") else []
    others += ["s skip"] if kind in ("context", "step", "observation") else []
    others += ["r meter readings"] if step.kind == "measurement" else []
    others += ["b back"] if back else []
    return "\n".join([*lines, *_wrapped("; ".join([*others, "q quit", HINT]), "   ", width)])


def _is_shape(step: StepOut) -> bool:
    """Whether each answer is a shape of the motor end, which is drawn under it."""
    return all(outcome.id in SHAPES for outcome in step.outcomes)


def _sentences(sentences: tuple[Advice, ...], width: int) -> list[str]:
    lines = []
    for sentence in sentences:
        signal = f"{sentence.signal.upper()}: " if sentence.signal else ""
        lines += _wrapped(signal + sentence.text, "  - ", width)
    return lines


def _probable(answer: Troubleshooting) -> list[str]:
    lines = ["", "PROBABLY AT FAULT"]
    for row in answer.components[:SHOWN]:
        bar = "#" * max(1, round(BAR_COLUMNS * row.probability))
        moved = f"  (was {percent(row.before)})" if abs(row.before - row.probability) >= 0.01 else ""
        lines.append(f"  {row.name:<36} {percent(row.probability):>9}  {bar:<{BAR_COLUMNS}}{moved}".rstrip())
    if answer.nothing_wrong is not None and answer.nothing_wrong >= WORTH_SAYING:
        lines.append(f"  {'no fault that this list holds':<36} {percent(answer.nothing_wrong):>9}")
    return lines


def _verdict(verdict: VerdictOut, width: int) -> list[str]:
    words = {"good": "good", "low": "low", "failed": "failed", "cannot_say": "cannot be judged yet"}
    lines = ["", f"BATTERY BY THE METER: {words[verdict.state]}"]
    for number, block in enumerate(verdict.blocks, 1):
        lines += _wrapped(f"block {number}: {words[block.state]}", "  - ", width)
    for reason in verdict.because:
        lines += _wrapped(reason, "  - ", width)
    if verdict.lifts_left:
        least, most = verdict.lifts_left
        lines += _wrapped(f"between {least:.0f} and {most:.0f} lifts left on this charge", "  - ", width)
    for want in verdict.wants:
        lines += _wrapped(f"missing: {want}", "  - ", width)
    return lines


def _parts(parts: tuple[PartsOut, ...], width: int) -> list[str]:
    lines = ["", "PARTS"] if parts else []
    for row in parts:
        named = f"{row.part.number} {row.part.name}" if row.part else " ".join(row.ask)
        lines += _wrapped(f"{row.name}: {named}", "  - ", width)
        for sentence in row.confirm_before_order:
            lines += _wrapped(f"confirm first: {sentence.text}", "      ", width)
    return lines


def _goes_with(answer: Troubleshooting, said: frozenset[str], width: int) -> list[str]:
    """Which plug goes where, what can be had and care: each once, when it is first known."""
    sockets = [
        f"{s.where}: {s.takes or 'stays empty'}. If wrong: {s.wrong}" for s in answer.sockets if s.id not in said
    ]
    options = [option.text for option in answer.options if option.id not in said]
    care = [sentence.text for sentence in answer.aftercare]
    lines = []
    headed = (("WHAT PLUGS IN WHERE", sockets), ("WHAT CAN BE HAD FOR IT", options), ("FROM NOW ON", care))
    for heading, texts in headed:
        lines += ["", heading, *(line for text in texts for line in _wrapped(text, "  - ", width))] if texts else []
    return lines


def told_ids(answer: Troubleshooting) -> frozenset[str]:
    """What this screen said, so that the next one need not say it again."""
    return frozenset(row.id for rows in (answer.safety, answer.sockets, answer.options) for row in rows)


def _wrapped(words: str, first: str, width: int) -> list[str]:
    return textwrap.wrap(words, width, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False)
