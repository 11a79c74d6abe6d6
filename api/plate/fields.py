"""What stands on a rating plate, from the lines read in its photo: candidates for a person, with what is doubtful."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher
from itertools import product

from classifier.messages import Message
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import PlateForm

SURE = 0.98
"""A letter of which a look was less sure, or of which two looks differ, is doubtful. Chosen on calibration plates."""

MOST_DOUBTFUL = 0.4
"""A number of which a larger share is doubtful was not read; nor was one in which two looks saw different letters."""

SHORTEST_SERIAL, MOST_SWAPS = 4, 4

MISTAKEN = {"O": "0", "0": "O", "I": "1", "1": "I", "l": "1", "S": "5", "5": "S", "B": "8", "8": "B", "Z": "2",
            "2": "Z", "G": "6", "6": "G", "D": "0", "Q": "0"}  # fmt: skip
"""Letters and digits that are read for each other."""

NEVER_SURE = "0OQ1Il"
"""What print alone does not tell apart, whatever a look is sure of: doubtful unless the catalogue's form says which."""

SERIAL_LABEL = re.compile(
    r"^\W*(?:[S5]\s?[/.|]?\s?N\b|[S5]er(?:ial|ie)?\b\.?(?:\s*(?:number|no\b|nr\b|n[°º]))?\.?"
    r"|N.{0,2}\s*(?:de\s*)?s[eé]rie\b)\s*[.:#;]*\s*",
    re.IGNORECASE,
)
MODEL_LABEL = re.compile(r"^\W*(?:type|typ|model(?:o|l)?|mod|ref)\b\s*[.:;]*\s*", re.IGNORECASE)
YEAR_FIRST = re.compile(r"\b((?:19|20)\d\d)[-./](0[1-9]|1[0-2])(?:[-./](0[1-9]|[12]\d|3[01]))?\b")
MONTH_FIRST = re.compile(r"\b(0[1-9]|1[0-2])[-./]((?:19|20)\d\d)\b")
VOLTS = re.compile(r"(?<![\d.,-])(\d{1,3}(?:[.,]\d)?)\s?V(?:\s?DC|\b|d)", re.IGNORECASE)


@dataclass(frozen=True)
class Letter:
    """One letter, and how sure the least sure look was of it; 0 where looks differ."""

    character: str
    sure: float


@dataclass(frozen=True)
class TextLine:
    """One line of text in a picture. `box`: left, top, right, bottom in pixels of the picture that was read."""

    letters: tuple[Letter, ...]
    box: tuple[float, float, float, float]

    @property
    def text(self) -> str:
        """The line as it was read."""
        return "".join(letter.character for letter in self.letters)


@dataclass(frozen=True)
class Candidate:
    """What may stand there. `doubtful`: places in the value; `why`: what speaks against it, or empty.

    `box`: of its line, as in `TextLine`.
    """

    value: str
    doubtful: tuple[int, ...]
    why: str
    box: tuple[float, float, float, float]

    @property
    def to_check(self) -> bool:
        """Whether it is shown as one to be checked letter by letter."""
        return bool(self.doubtful or self.why)


@dataclass(frozen=True)
class PlateText:
    """What was read of each field; None where nothing was, or too little of it. `generations`: whose type it is."""

    serial: Candidate | None
    model: Candidate | None
    produced: Candidate | None
    volts: Candidate | None
    generations: tuple[str, ...]


def agreed(looks: Sequence[Sequence[Letter]]) -> tuple[Letter, ...]:
    """The letters of the first look; each as sure as the least sure look, and 0 where one saw something else there."""
    first = [letter.character for letter in looks[0]]
    sure = [letter.sure for letter in looks[0]]
    for look in looks[1:]:
        other = [letter.character for letter in look]
        for kind, a, b, c, d in SequenceMatcher(None, first, other, autojunk=False).get_opcodes():
            if kind == "equal":
                sure[a:b] = [min(one, look[c + n].sure) for n, one in enumerate(sure[a:b])]
            elif "".join(first[a:b] + other[c:d]).strip():  # more than a space that one look saw
                lost = range(max(0, a - 1), min(len(first), b + 1)) if a == b else range(a, b)
                for n in lost:
                    sure[n] = 0.0
    return tuple(map(Letter, first, sure))


def plate_text(lines: Sequence[TextLine], catalogue: Catalogue, today: date) -> PlateText:
    """What the lines say. Nothing is taken for certain: a person confirms each field."""
    forms = {row.id: row.plate for row in catalogue.generations if row.plate is not None}
    model = _first(_labelled(line, MODEL_LABEL, lines) for line in lines)
    model_value = _value(model) if model else None
    of_model = tuple(id_ for id_, form in forms.items() if model_value and _same(model_value.value, form.models))
    asked = [forms[id_] for id_ in of_model] or list(forms.values())
    serial = _first(_labelled(line, SERIAL_LABEL, lines) for line in lines)
    return PlateText(
        serial=_serial(serial, asked) if serial else None,
        model=_model(model_value, forms.values()),
        produced=_produced(lines, serial, today),
        volts=_volts(lines, asked),
        generations=of_model,
    )


def _first(found: Iterator[TextLine | None]) -> TextLine | None:
    return next((line for line in found if line is not None), None)


def _labelled(line: TextLine, label: re.Pattern[str], lines: Sequence[TextLine]) -> TextLine | None:
    """What follows a label in its line, or stands right of it or below; None without that label or a number."""
    found = label.match(line.text)
    if found is None:
        return None
    rest = TextLine(line.letters[found.end() :], line.box)
    if re.search(r"\d", rest.text):
        return rest
    left, top, right, bottom = line.box
    height = bottom - top
    beside = [o for o in lines if o is not line and abs(o.box[1] - top) < 0.6 * height and o.box[0] >= right - height]
    below = [o for o in lines if 0 < o.box[1] - top < 2.2 * height and abs(o.box[0] - left) < 2 * height]
    near = sorted(beside, key=lambda o: o.box[0]) or sorted(below, key=lambda o: o.box[1])
    return next((o for o in near if re.search(r"\d", o.text)), None)


def _value(line: TextLine) -> Candidate:
    """A line as a value: without spaces around it."""
    letters = list(line.letters)
    while letters and not letters[-1].character.isalnum():
        letters.pop()
    while letters and not letters[0].character.isalnum():
        letters.pop(0)
    value = "".join(letter.character for letter in letters)
    doubtful = tuple(n for n, one in enumerate(letters) if one.sure < SURE and not one.character.isspace())
    return Candidate(value, doubtful, "", line.box)


def _serial(line: TextLine, forms: Sequence[PlateForm]) -> Candidate | None:
    read = _value(line)
    letters = [c for c in read.value if not c.isspace()]
    seen_otherwise = any(one.sure == 0 and not one.character.isspace() for one in line.letters)
    too_doubtful = seen_otherwise or len(read.doubtful) > MOST_DOUBTFUL * len(letters)
    if too_doubtful or len(letters) < SHORTEST_SERIAL or not any(c.isdigit() for c in letters):
        return None
    known = [form.serial for form in forms if form.serial]
    if not known:
        unsure = {n for n, c in enumerate(read.value) if c in NEVER_SURE}
        return Candidate(read.value, tuple(sorted(unsure | set(read.doubtful))), "", read.box)
    if any(re.fullmatch(form, read.value) for form in known):
        return read
    mended = {value for form in known for value in _swapped(read.value) if re.fullmatch(form, value)}
    if len(mended) == 1:
        (value,) = mended
        changed = {n for n, (a, b) in enumerate(zip(read.value, value, strict=True)) if a != b}
        return Candidate(value, tuple(sorted(changed | set(read.doubtful))), "", read.box)
    return Candidate(read.value, read.doubtful, Message("The catalogue knows no serial number of this form."), read.box)


def _swapped(value: str) -> Iterator[str]:
    """The value with some of its letters read for the others that they are mistaken for."""
    places = [n for n, c in enumerate(value) if c in MISTAKEN]
    if len(places) > 2 * MOST_SWAPS:
        return
    for chosen in product((False, True), repeat=len(places)):
        if 0 < sum(chosen) <= MOST_SWAPS:
            letters = list(value)
            for n, swap in zip(places, chosen, strict=True):
                letters[n] = MISTAKEN[letters[n]] if swap else letters[n]
            yield "".join(letters)


def _model(read: Candidate | None, forms: Sequence[PlateForm]) -> Candidate | None:
    known = [model for form in forms for model in form.models]
    if read is None or not known or _same(read.value, known):
        return read
    return Candidate(read.value, read.doubtful, Message("The catalogue knows no box of this type."), read.box)


def _same(value: str, models: Sequence[str]) -> bool:
    """Whether it is one of these types, spaces and case aside."""
    return "".join(value.split()).upper() in {"".join(model.split()).upper() for model in models}


def _produced(lines: Sequence[TextLine], serial: TextLine | None, today: date) -> Candidate | None:
    """The month or day of production: the first date that is none of the serial number and not to come."""
    for line in lines:
        if serial is not None and line.box == serial.box:
            continue
        found, places = YEAR_FIRST.search(line.text), (1, 2, 3)
        if found is None:
            found, places = MONTH_FIRST.search(line.text), (2, 1)
        if found is None:
            continue
        parts = [found[n] for n in places if found[n]]
        doubtful = any(letter.sure < SURE for letter in line.letters[found.start() : found.end()])
        value = "-".join(parts)
        late = value > today.isoformat()[: len(value)]
        why = Message("This day is still to come.") if late else ""
        return Candidate(value, tuple(range(len(value))) if doubtful else (), why, line.box)
    return None


def _volts(lines: Sequence[TextLine], forms: Sequence[PlateForm]) -> Candidate | None:
    known = {form.volts for form in forms if form.volts is not None}
    for line in lines:
        if found := VOLTS.search(line.text):
            doubtful = any(letter.sure < SURE for letter in line.letters[found.start(1) : found.end(1)])
            value = found[1].replace(",", ".")
            why = Message("The catalogue knows no box of this voltage.") if known and float(value) not in known else ""
            return Candidate(value, tuple(range(len(value))) if doubtful else (), why, line.box)
    return None
