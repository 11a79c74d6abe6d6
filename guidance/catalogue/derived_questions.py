"""Questions that follow from other rows of a catalogue, so that a new generation needs no new question."""

from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.rows import Observation
from guidance.catalogue.sections import Sections

WHICH_BOX = "which_box"


def which_box(catalogue: Sections) -> Observation:
    """Make the question which listed generation the box is most like; "unlisted" stands for none of them."""
    row = catalogue.which_box
    options = {g.id: g.name for g in catalogue.generations} | {UNLISTED: row.none_of_these}
    return Observation(
        id=WHICH_BOX,
        ask=row.ask,
        about="generation",
        options=options,
        reliability={
            truth: _spread(truth, tuple(options), row.none_reliability if truth == UNLISTED else row.reliability)
            for truth in options
        },
        effort_min=row.effort_min,
    )


def correction(concept: str, catalogue: Sections) -> Observation:
    """Make the observation by which a person corrects one concept; its id is the concept's."""
    values, words = CONCEPTS[concept], catalogue.concepts[concept]
    return Observation(
        id=concept,
        ask=f"What is right for {words.name}?",
        about=concept,
        options={v: words.values[v] for v in values},
        reliability={truth: _spread(truth, values, catalogue.corrections.reliability) for truth in values},
        correction=True,
    )


def _spread(truth: str, answers: tuple[str, ...], right: float) -> dict[str, float]:
    """Give the true answer the probability `right`, and share the rest evenly among the others."""
    return {a: right if a == truth else (1.0 - right) / (len(answers) - 1) for a in answers}
