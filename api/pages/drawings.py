"""Which answers have a drawing beside them: what each answer would look like, in the words of the taxonomy."""

from collections.abc import Mapping
from dataclasses import dataclass

from api.cases.view import Question
from api.pages.languages import Language
from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX


@dataclass(frozen=True)
class Drawing:
    """What a drawing shows, by concept; `words` say it where the answer beside it does not, else they are empty.

    `moved`: with the hand's movement, as a label beside the mechanism shows it.
    """

    values: Mapping[str, str]
    words: str
    moved: bool = False


def drawings_of(question: Question | None, catalogue: Catalogue, language: Language) -> dict[str, Drawing]:
    """A drawing for each answer to this question that has a shape; none for a question about anything else."""
    if question is None or question.kind != "observation":
        return {}
    if question.id == WHICH_BOX:
        rows = {row.id: {c: getattr(row, c) for c in CONTROL_BOX_CONCEPTS} for row in catalogue.generations}
        return {id_: Drawing(values, _words(values, catalogue, language)) for id_, values in rows.items()}
    row = catalogue.observations_by_id[question.id]
    shapes, moved = CONCEPTS.get(row.about, ()), row.look is not None
    return {answer: Drawing({row.about: answer}, "", moved) for answer in question.answers if answer in shapes}


def _words(values: Mapping[str, str], catalogue: Catalogue, language: Language) -> str:
    """Each concept with its value, as the catalogue names them."""
    concepts = catalogue.concepts
    said = (f"{language.say(concepts[c].name)}: {language.say(concepts[c].values[v])}" for c, v in values.items())
    return ", ".join(said)
