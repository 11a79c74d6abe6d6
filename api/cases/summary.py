"""A case in a few words: one line of the queue, and a text to paste into another program."""

from dataclasses import dataclass

from api.cases.basket import STANDING_WORDS, Basket, basket_of
from api.cases.store import CaseRow
from api.cases.view import CLOSED, HANDED_OVER, PLATE, CaseView, in_force
from api.cases.words import PLATE_NAMES, said_words
from api.pages.languages import Language
from api.pages.wording import percent, plain
from guidance.catalogue.catalogue import Catalogue

OCCUPIED = {"yes": "Somebody is up", "no": "Nobody is up", "unsure": "Not known whether somebody is up"}
STATUSES = CLOSED_NOW, WITH_TECHNICIAN, OPEN = "closed", "with a technician", "open"
NOT_SAID = "not said yet"
MINUTE_MS = 60_000


@dataclass(frozen=True)
class QueueRow:
    """One line of the queue; `rank` sorts: somebody up or unknown first, closed last, then the newest change."""

    id: str
    code: str
    occupied: str
    occupied_words: str
    trouble: str
    status: str
    minutes_ago: int
    photos: int
    rank: tuple[int, int]


def queue_row(row: CaseRow, catalogue: Catalogue, now_ms: int) -> QueueRow:
    """What the queue shows of a case; from its events alone, so that fifty cases take no time."""
    said = {event.kind: event for event in in_force(row.events)}
    occupied = str(said["person_in_sling"].said["answer"]) if "person_in_sling" in said else "unsure"
    symptom = said.get("symptom")
    trouble = catalogue.symptoms_by_id.get(str(symptom.said["answer"])) if symptom else None
    status = CLOSED_NOW if CLOSED in said else WITH_TECHNICIAN if HANDED_OVER in said else OPEN
    urgency = 2 if status == CLOSED_NOW else 0 if occupied != "no" else 1
    return QueueRow(
        id=row.id,
        code=spoken_code(row.code),
        occupied=occupied,
        occupied_words=OCCUPIED.get(occupied, OCCUPIED["unsure"]),
        trouble=trouble.say if trouble else NOT_SAID,
        status=status,
        minutes_ago=max(0, (now_ms - row.changed_ms) // MINUTE_MS),
        photos=sum(event.kind == "photo" for event in in_force(row.events)),
        rank=(urgency, -row.changed_ms),
    )


def spoken_code(code: str) -> str:
    """A case's code as it is read out: in two halves."""
    return f"{code[:3]} {code[3:]}"


def settings_of(catalogue: Catalogue) -> dict[str, str]:
    """The settings in which faults are counted, with their words."""
    return dict(catalogue.contexts_by_id[catalogue.fault_settings.setting].options)


def closed_case(row: CaseRow) -> dict[str, str] | None:
    """What learning counts of a case that was closed with a confirmed fault; None for any other."""
    closed = [event for event in in_force(row.events) if event.kind == CLOSED]
    return {"setting": str(closed[-1].said["id"]), "fault": str(closed[-1].said["answer"])} if closed else None


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
        *_identified(view, catalogue, language),
    ]
    for event in view.live:
        if event.kind in ("context", "step", "observation"):
            lines.append(f"- {said_words(event, catalogue, language)} ({say(event.role)})")
    lines += [f"{fill('Plate, {name}', name=say(name))}: {value}" for name, value in plate_of(view).items()]
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
    return lines


def _order(basket: Basket, language: Language) -> list[str]:
    """The basket with what speaks against ordering it yet; nothing when it is empty."""
    say, lines = language.say, []
    for row in basket.lines:
        doubt = "" if row.standing == "fits" else f" ({say(STANDING_WORDS[row.standing]).upper()})"
        lines.append(f"{say('To order')}: {row.quantity} × {row.number} {say(row.name)}{doubt}")
    lines += [f"{say('Confirm before ordering')}: {say(row.text)}" for row in basket.confirm if not row.checked_by]
    return lines + ([f"{say('DO NOT MIX')}: {', '.join(map(say, basket.mixed))}"] if basket.mixed else [])
