"""What is known of the lift itself when troubleshooting starts: an identification's answer, or its evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.answer import ModelInfo, TrainedOn
from guidance.documents.case import Case, Seen
from guidance.identify.answer import answer
from guidance.identify.evidence import Observed, check_observations

NO_PHOTOS = ModelInfo(version="no photo was read", sha256="", trained_on=TrainedOn(synthetic=0, owned_photos=0))


@dataclass(frozen=True)
class Identified:
    """Probabilities of the generation (empty: nothing seen), possible generations and mechanisms, what is confirmed."""

    generation_probabilities: Mapping[str, float]
    generations: tuple[str, ...]
    mechanisms: tuple[str, ...]
    confirmed_generation: str | None
    confirmed_lowering: str | None


def identified(case: Case, catalogue: Catalogue) -> Identified:
    """Take over what an identification found; where it is missing, what the observations alone say."""
    box, head = case.control_box, case.actuator
    observed = [Observed(row.id, row.answer) for row in case.observations]
    check_observations(observed, catalogue)
    if observed and (box is None or head is None):
        from_observations = answer([], observed, catalogue, NO_PHOTOS, {}, case.role)
        box = box or Seen.model_validate(from_observations.control_box.model_dump(by_alias=True))
        head = head or Seen.model_validate(from_observations.actuator.model_dump(by_alias=True))
    every_generation = (*catalogue.generations_by_id, UNLISTED)
    generations, confirmed_generation = _component(box, every_generation)
    mechanisms, confirmed_lowering = _component(head, CONCEPTS["lowering"])
    return Identified(_probabilities(box), generations, mechanisms, confirmed_generation, confirmed_lowering)


def _probabilities(box: Seen | None) -> Mapping[str, float]:
    """Those that came; without any, the values of the set alike."""
    if box is None or box.decision == "not_seen":
        return {}
    return box.probabilities or {value: 1 / len(box.values) for value in box.values}


def _component(seen: Seen | None, every: tuple[str, ...]) -> tuple[tuple[str, ...], str | None]:
    if seen is None or seen.decision == "not_seen" or not seen.values:
        return tuple(every), None
    confirmed = seen.values[0] if seen.decision == "confirmed" and len(seen.values) == 1 else None
    return seen.values, None if confirmed == UNLISTED else confirmed
