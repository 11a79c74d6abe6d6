"""What a word of the staff says of the lift's concepts, when it is recorded: a label then needs no catalogue."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from api.cases.events import CLOSED
from api.cases.learned.labels import HOW, TECHNICIAN
from classifier.errors import InputError
from classifier.messages import Message
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, CONTROL_BOX_CONCEPTS, SUBJECTS
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.fault_rows import SparePart
from guidance.catalogue.rows import UNSURE

MOST_PARTS = 12
"""That people label in one photo."""

LEAST_SIDE = 0.005
"""Of a box, as a share of the photo; less is a slip of the finger."""

NOTHING_TO_SAY = Message("This is nothing that can be said of a part. Choose from the lists.")
NO_BOX = Message("The sides of the box are numbers from 0 to 100, left before right, top first.")

EXCHANGED = "exchanged"
"""The proof by which a spare part tells which lift it was."""


def states_of(
    kind: str, said: Mapping[str, object], role: str, known: Mapping[str, object], catalogue: Catalogue
) -> dict[str, str]:
    """The value of each concept of this lift that somebody states by saying this; `known`: what their page showed.

    A technician who closes a case states what the page calls confirmed; the page says so. The part whose exchange ended
    the trouble states what it is made for, whoever closes, where that is one thing.
    """
    if kind == "observation" and said["id"] == WHICH_BOX and role == TECHNICIAN:
        return _of_generation(str(said["answer"]), catalogue)
    if kind != CLOSED:
        return {}
    states: dict[str, str] = {}
    if role == TECHNICIAN:
        box, head = known.get("control_box") or ("", ""), known.get("actuator") or ("", "")
        states |= _of_generation(str(box[1]), catalogue) if box[0] == "confirmed" else {}
        states |= {"lowering": str(head[1])} if head[0] == "confirmed" and head[1] in CONCEPTS["lowering"] else {}
    part = catalogue.parts_by_id.get(str(said.get("part", "")))
    return states | (_of_part(part, catalogue) if part and said.get("proof") == EXCHANGED else {})


def label_said(
    photo_id: str,
    place: int,
    kind: str,
    sides: Sequence[str],
    values: Mapping[str, str],
    hidden: Collection[str],
    how: str,
) -> dict[str, Any]:
    """What is recorded of one part of a photo. `sides`: left, top, right, bottom in percent of the upright photo.

    `kind` is empty for what is no part of a lift. Raises `InputError` for what cannot be said of a part.
    """
    concepts = CONCEPTS_OF.get(kind, {})
    known = kind in (*SUBJECTS, "") and how in HOW and 0 <= place < MOST_PARTS
    if not known or set(values) != set(concepts) or not set(hidden) <= set(concepts):
        raise InputError(NOTHING_TO_SAY)
    if any(value not in (*concepts[concept], UNSURE) for concept, value in values.items()):
        raise InputError(NOTHING_TO_SAY)
    try:
        left, top, right, bottom = (round(float(side.strip().replace(",", ".")) / 100, 5) for side in sides)
    except ValueError:
        raise InputError(NO_BOX) from None
    if not (0 <= left <= right - LEAST_SIDE <= 1 - LEAST_SIDE and 0 <= top <= bottom - LEAST_SIDE <= 1 - LEAST_SIDE):
        raise InputError(NO_BOX)
    return {"id": photo_id, "answer": kind, "place": place, "kind": kind, "box": [left, top, right, bottom],
            "values": dict(values), "hidden": sorted(hidden), "how": how}  # fmt: skip


def telling_parts(catalogue: Catalogue) -> list[SparePart]:
    """The parts that tell which lift they were exchanged in: those made for one box, or for one way of lowering."""
    return [part for part in catalogue.parts if _of_part(part, catalogue)]


def _of_part(part: SparePart, catalogue: Catalogue) -> dict[str, str]:
    states = _of_generation(part.generations[0], catalogue) if len(part.generations) == 1 else {}
    if len(part.mechanisms) == 1 and part.mechanisms[0] in CONCEPTS["lowering"]:
        states["lowering"] = part.mechanisms[0]
    return states


def _of_generation(generation: str, catalogue: Catalogue) -> dict[str, str]:
    row = catalogue.generations_by_id.get(generation)
    return {concept: getattr(row, concept) for concept in CONTROL_BOX_CONCEPTS} if row else {}
