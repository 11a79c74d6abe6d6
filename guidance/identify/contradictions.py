"""Sources that cannot all be right about one feature: found, and named so that a person can settle it."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from classifier.taxonomy import CONTROL_BOX_CONCEPTS
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import Generation
from guidance.documents.answer import Because, Contradiction
from guidance.identify.sources import Source

SAYS = 0.8
"""A source says a value when that value carries this share of its likelihood."""


@dataclass(frozen=True)
class Conflict:
    """Sources of which some two cannot both be right, in the order in which they came, and what they are about."""

    feature: str
    sources: tuple[Source, ...]

    def against(self, source: Source) -> tuple[Source, ...]:
        """Give the sources that are wrong if this one is right."""
        return tuple(
            s
            for s in self.sources
            if (s.feature != source.feature and "generation" in (s.feature, source.feature))
            or (s.feature == source.feature and s is not source and s.contradicts(source))
        )


def conflicts_in(sources: Sequence[Source], catalogue: Catalogue) -> tuple[Conflict, ...]:
    """Find the features on which sources hold nothing in common, and features against the box that somebody named."""
    found = []
    for feature in dict.fromkeys(s.feature for s in sources):
        about = [s for s in sources if s.feature == feature]
        opposed = {s for pair in combinations(about, 2) if pair[0].contradicts(pair[1]) for s in pair}
        if opposed:
            found.append(Conflict(feature, tuple(s for s in about if s in opposed)))
    for named_box in (s for s in sources if s.feature == "generation" and len(s.holds) == 1):
        row = catalogue.generations_by_id.get(next(iter(named_box.holds)))
        opposed = {s for s in sources if s.feature in CONTROL_BOX_CONCEPTS and row and _differs(s, row)}
        if opposed:
            found.append(Conflict("generation", (*(s for s in sources if s in opposed), named_box)))
    return tuple(found)


def named(conflict: Conflict, catalogue: Catalogue) -> Contradiction:
    """Say in words who says what, for example "photo 2 shows the stop on the front, you answered 'On top'"."""
    text = ", ".join(_words(s, catalogue) for s in conflict.sources)
    return Contradiction(concept=conflict.feature, text=text, sources=reasons(conflict.sources))


def reasons(sources: Sequence[Source]) -> tuple[Because, ...]:
    """List what each source shows: the value that it says, or the answer as it was given; nothing when it is vague."""
    said = []
    for source in sources:
        value, share = max(source.belief.items(), key=lambda item: item[1])
        if share >= SAYS:
            said.append(Because(concept=source.feature, value=value, source=source.origin))
        elif source.observed is not None:
            said.append(Because(concept=source.observed.id, value=source.observed.answer, source=source.origin))
    return tuple(said)


def _differs(source: Source, row: Generation) -> bool:
    return getattr(row, source.feature) not in source.holds


def _words(source: Source, catalogue: Catalogue) -> str:
    if source.observed is not None:
        words = catalogue.observations_by_id[source.observed.id].options[source.observed.answer]
        return f"you corrected it to '{words}'" if source.correction else f"you answered '{words}'"
    concept = catalogue.concepts[source.feature]
    values = " or ".join(concept.values[v] for v in concept.values if v in source.holds)
    return f"{source.origin} shows {concept.name} {values}"
