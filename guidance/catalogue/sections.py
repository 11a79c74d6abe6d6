"""The sections of a catalogue as they stand in its files; what is computed from them is in `catalogue.py`."""

from functools import cached_property

from pydantic import Field

from classifier.taxonomy import CONCEPTS
from guidance.catalogue.fault_rows import FaultSections
from guidance.catalogue.rows import (
    ConceptWords,
    Corrections,
    Decisions,
    Generation,
    Mechanism,
    NextStep,
    Observation,
    PlacedSentence,
    Pool,
    View,
    WhichBox,
)


class Sections(FaultSections):
    """Every section of a catalogue, and its rows by their ids."""

    pool: Pool
    decision: Decisions
    next_step: NextStep
    generations: tuple[Generation, ...] = Field(min_length=1)
    mechanisms: tuple[Mechanism, ...] = Field(min_length=1)
    observations: tuple[Observation, ...]
    which_box: WhichBox
    corrections: Corrections
    views: tuple[View, ...]
    concepts: dict[str, ConceptWords]
    sentences: tuple[PlacedSentence, ...]

    @cached_property
    def generations_by_id(self) -> dict[str, Generation]:
        return {g.id: g for g in self.generations}

    @cached_property
    def mechanisms_by_id(self) -> dict[str, Mechanism]:
        return {m.id: m for m in self.mechanisms}

    @cached_property
    def trait_values(self) -> dict[str, tuple[str, ...]]:
        """Traits that no photo shows, each with its values: what some question is about and is no concept."""
        return {o.about: tuple(o.reliability) for o in self.observations if o.about and o.about not in CONCEPTS}
