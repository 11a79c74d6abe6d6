"""A case in a few words: one line of the queue, and a text to paste into another program."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from api.cases.basket import STANDING_WORDS, Basket, basket_of
from api.cases.events import CLOSED, HANDED_OVER, NOTE, PLATE, in_force
from api.cases.line import about_of, assignee_of, line_of
from api.cases.store import CaseRow, spoken_code
from api.cases.view import CaseView
from api.cases.words import ABOUT_WORDS, PLATE_NAMES, action_words, said_words, to_the_minute, who_words
from api.pages.languages import Language
from api.pages.wording import percent, plain
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import PROOFS
from guidance.learning.closed_cases import ClosedCase

OCCUPIED = {"yes": "Somebody is up", "no": "Nobody is up", "unsure": "Not known whether somebody is up"}
NOT_SAID = "not said yet"
TOLD_IN_SUMMARY = ("context", "step", "observation", NOTE, HANDED_OVER)
MINUTE_MS = 60_000


@dataclass(frozen=True)
class QueueRow:
    """One line of the queue in words. Ages are whole minutes; `up_minutes` is None while nobody is up."""

    id: str
    code: str
    occupied: str
    occupied_words: str
    trouble: str
    status: str
    minutes_ago: int
    age_minutes: int
    photos: int
    up_minutes: int | None
    taken_up: bool
    assignee: str
    site: str
    asset: str


def queue_row(row: CaseRow, catalogue: Catalogue, now_ms: int) -> QueueRow:
    """What the queue shows of a case, from its events."""
    columns = {name: getattr(row, name) for name in ("id", "code", "opened_ms", "changed_ms", "up_since_ms")}
    return told_row({**columns, **asdict(line_of(row.events, row.up_since_ms))}, catalogue, now_ms)


def told_row(line: Mapping[str, Any], catalogue: Catalogue, now_ms: int) -> QueueRow:
    """What the queue shows of a case whose line is kept (`api/cases/line.py`)."""
    up = line["up_since_ms"]
    trouble = catalogue.symptoms_by_id.get(line["symptom"])
    return QueueRow(
        id=line["id"],
        code=spoken_code(line["code"]),
        occupied=line["occupied"],
        occupied_words=OCCUPIED[line["occupied"]],
        trouble=trouble.say if trouble else NOT_SAID,
        status=line["status"],
        minutes_ago=_minutes(line["changed_ms"], now_ms),
        age_minutes=_minutes(line["opened_ms"], now_ms),
        photos=line["photo_count"],
        up_minutes=None if up is None else _minutes(up, now_ms),
        taken_up=line["taken_up"],
        assignee=line["assignee"],
        site=line["site"],
        asset=line["asset"],
    )


def _minutes(since_ms: int, now_ms: int) -> int:
    return max(0, (now_ms - since_ms) // MINUTE_MS)


def age_words(minutes: int, language: Language) -> str:
    """An age as it is said: minutes, hours or days."""
    if minutes < 120:
        return language.fill("{minutes} min", minutes=minutes)
    if minutes < 2 * 24 * 60:
        return language.fill("{hours} h", hours=minutes // 60)
    return language.fill("{days} days", days=minutes // (24 * 60))


def settings_of(catalogue: Catalogue) -> dict[str, str]:
    """The settings in which faults are counted, with their words."""
    return dict(catalogue.contexts_by_id[catalogue.fault_settings.setting].options)


def closed_case(row: CaseRow) -> ClosedCase | None:
    """What learning counts of a case that was closed with a confirmed fault; None for any other.

    The generation is the one that the case was taken to be of when it was closed.
    """
    said = {event.kind: event for event in in_force(row.events)}
    if CLOSED not in said:
        return None
    closing, symptom = said[CLOSED], said.get("symptom")
    verdict, favourite = closing.known.get("control_box") or ("not_seen", None)
    proof = closing.said.get("proof")
    return ClosedCase(
        setting=str(closing.said["id"]),
        fault=str(closing.said["answer"]),
        generation=str(favourite) if verdict in ("confirmed", "likely", "unlisted") else "",
        symptom=str(symptom.said["answer"]) if symptom else "",
        proof=proof if proof in PROOFS else "mended",
        case=row.id,
    )


def plate_of(view: CaseView) -> dict[str, str]:
    """What the last photographed rating plate said, in words."""
    plates = [event.said for event in view.live if event.kind == PLATE]
    return {words: str(plates[-1][key]) for key, words in PLATE_NAMES.items() if plates and plates[-1].get(key)}


def summary_text(view: CaseView, catalogue: Catalogue, language: Language) -> str:
    """The case as plain text: what it is, what was found, what is probable, what was decided."""
    say, fill = language.say, language.fill
    state = queue_row(view.row, catalogue, view.row.changed_ms)
    lines = [
        f"{fill('Case {code}', code=state.code)}: {say(state.occupied_words)}. {say(state.status).capitalize()}.",
        f"{say('Trouble')}: {say(state.trouble)}",
        *_who_calls(view, language),
        *_identified(view, catalogue, language),
    ]
    for event in view.live:
        if event.kind in TOLD_IN_SUMMARY and (words := said_words(event, catalogue, language)):
            label = f"{action_words(event.kind, language)}: " if event.kind in (NOTE, HANDED_OVER) else ""
            who = who_words(event.role, event.actor, language)
            lines.append(f"- {language.apart(to_the_minute(event.at_ms))} {label}{words} ({who})")
    lines += [
        f"{fill('Plate, {name}', name=say(name))}: {language.apart(value)}" for name, value in plate_of(view).items()
    ]
    lines += [f"{say('Probable')}: {say(c.name)} {say(percent(c.probability))}" for c in view.help.components[:3]]
    lines += _order(basket_of(view, catalogue), language)
    closed = [event for event in view.live if event.kind == CLOSED]
    if closed:
        fault = catalogue.faults_by_id.get(str(closed[-1].said["answer"]))
        lines.append(f"{say('Confirmed fault')}: {say(fault.name) if fault else closed[-1].said['answer']}")
    if view.help.complaint.flagged:
        lines.append(f"{say('REPORT')}: " + "; ".join(map(language.said, view.help.complaint.because)))
    lines.append(fill("Catalogue {name}.", name=f"{view.help.catalogue.id} {view.help.catalogue.version}"))
    return "\n".join(lines)


def _who_calls(view: CaseView, language: Language) -> list[str]:
    """What was written down of the caller and the lift, and whose case it is; one line each."""
    about, owner = about_of(view.live), assignee_of(view.live)
    lines = [
        f"{language.say(words)}: {language.apart(about[name])}" for name, words in ABOUT_WORDS.items() if about[name]
    ]
    return lines + ([f"{language.say('Whose case')}: {owner}"] if owner else [])


def _identified(view: CaseView, catalogue: Catalogue, language: Language) -> list[str]:
    """What is known of the box and of the lowering, one line each."""
    found, lines = view.identification, []
    if found is None:
        return lines
    names = {row.id: row.name for row in (*catalogue.generations, *catalogue.mechanisms)}
    for words, part in (("Control box", found.control_box), ("Lowering by hand", found.actuator)):
        best = part.favourite
        sure = ""
        if best in part.probabilities:
            sure = f" ({language.say(names.get(best, best))}, {language.say(percent(part.probabilities[best]))})"
        lines.append(f"{language.say(words)}: {language.say(plain(part.decision))}{sure}")
    lines += [f"! {language.say(reason)}" for reason in view.held_back]
    return lines


def _order(basket: Basket, language: Language) -> list[str]:
    """The basket with what speaks against ordering it yet; nothing when it is empty."""
    say, lines = language.say, []
    for row in basket.lines:
        doubt = "" if row.standing == "fits" else f" ({say(STANDING_WORDS[row.standing]).upper()})"
        lines.append(f"{say('To order')}: {row.quantity} × {language.apart(row.number)} {say(row.name)}{doubt}")
    lines += [f"{say('Confirm before ordering')}: {say(row.text)}" for row in basket.confirm if not row.checked_by]
    return lines + ([f"{say('DO NOT MIX')}: {', '.join(map(say, basket.mixed))}"] if basket.mixed else [])
