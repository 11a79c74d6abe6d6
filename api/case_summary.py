"""A case in a few words: one line of the queue, and a text to paste into another program."""

from dataclasses import dataclass

from api.basket import Basket, basket_of
from api.case_view import CLOSED, HANDED_OVER, PLATE, CaseView, in_force
from api.cases import CaseRow
from api.wording import percent, plain
from guidance.catalogue import Catalogue

OCCUPIED = {"yes": "Somebody is up", "no": "Nobody is up", "unsure": "Not known whether somebody is up"}
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
    status = "closed" if CLOSED in said else "with a technician" if HANDED_OVER in said else "open"
    urgency = 2 if status == "closed" else 0 if occupied != "no" else 1
    return QueueRow(
        id=row.id,
        code=spoken_code(row.code),
        occupied=occupied,
        occupied_words=OCCUPIED.get(occupied, OCCUPIED["unsure"]),
        trouble=trouble.say if trouble else "not said yet",
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
    """What `guidance/learning.py` counts of a case that was closed with a confirmed fault; None for any other."""
    closed = [event for event in in_force(row.events) if event.kind == CLOSED]
    return {"setting": str(closed[-1].said["id"]), "fault": str(closed[-1].said["answer"])} if closed else None


def plate_of(view: CaseView) -> dict[str, str]:
    """What the last photographed rating plate said, in words."""
    plates = [event.said for event in view.live if event.kind == PLATE]
    names = {"gtin": "article number", "serial": "serial number", "batch": "batch", "produced": "produced on"}
    return {words: str(plates[-1][key]) for key, words in names.items() if plates and plates[-1].get(key)}


def summary_text(view: CaseView, catalogue: Catalogue) -> str:
    """The case as plain text: what it is, what was found, what is probable, what was decided."""
    state = queue_row(view.row, catalogue, view.row.changed_ms)
    lines = [f"Case {state.code}: {state.occupied_words}. {state.status.capitalize()}.", f"Trouble: {state.trouble}"]
    found = view.identification
    if found:
        for name, part in (("Control box", found.control_box), ("Lowering", found.actuator)):
            best = part.favourite
            sure = f" ({best}, {percent(part.probabilities[best])})" if best in part.probabilities else ""
            lines.append(f"{name}: {part.decision.replace('_', ' ')}{sure}")
    for event in view.live:
        if event.kind in ("context", "step", "observation"):
            lines.append(f"- {plain(str(event.said['id']))}: {plain(str(event.said['answer']))} ({event.role})")
    lines += [f"Plate, {name}: {value}" for name, value in plate_of(view).items()]
    lines += [f"Probable: {c.name} {percent(c.probability)}" for c in view.help.components[:3]]
    lines += _order(basket_of(view, catalogue))
    closed = [event for event in view.live if event.kind == CLOSED]
    if closed:
        lines.append(f"Confirmed fault: {catalogue.faults_by_id[str(closed[-1].said['answer'])].name}")
    if view.help.complaint.flagged:
        lines.append("REPORT: " + "; ".join(view.help.complaint.because))
    lines.append(f"Catalogue {view.help.catalogue.id} {view.help.catalogue.version}.")
    return "\n".join(lines)


def _order(basket: Basket) -> list[str]:
    """The basket with what speaks against ordering it yet; nothing when it is empty."""
    lines = []
    for row in basket.lines:
        doubt = "" if row.standing == "fits" else f" ({plain(row.standing).upper()})"
        lines.append(f"To order: {row.quantity} × {row.number} {row.name}{doubt}")
    lines += [f"Confirm before ordering: {row.text}" for row in basket.confirm if not row.checked_by]
    return lines + ([f"DO NOT MIX: {', '.join(basket.mixed)}"] if basket.mixed else [])
