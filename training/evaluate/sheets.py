"""Contact sheets of mistakes: what was in the picture, what was said, and how surely."""

from collections.abc import Callable, Sequence
from pathlib import Path

from PIL import Image, ImageDraw, ImageOps

from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from training.evaluate.scores import Judged, true_generation

CELL_PX = 300
COLUMNS = 5
MOST = 40
TRUE_COLOUR, READ_COLOUR = (60, 200, 90), (250, 80, 60)


def write_sheets(folder: Path, photos: Sequence[Judged], catalogue: Catalogue) -> list[Path]:
    """One sheet a sort of mistake, the surest mistakes first; none for a sort that did not happen."""
    folder.mkdir(parents=True, exist_ok=True)
    sorts: dict[str, Callable[[Judged], tuple[float, str] | None]] = {
        "wrong_generation": lambda photo: _wrong_generation(photo, catalogue),
        "wrong_lowering": _wrong_lowering,
        "wrong_concept": _wrong_concept,
        "missed": _missed,
        "false_alarm": _false_alarm,
    }
    written = []
    for name, judge in sorts.items():
        mistakes = [(found, photo) for photo in photos if (found := judge(photo))]
        if mistakes:
            mistakes.sort(key=lambda mistake: -mistake[0][0])
            written.append(folder / f"{name}.png")
            _sheet([(photo, text) for (_, text), photo in mistakes[:MOST]]).save(written[-1])
    return written


def _wrong_generation(photo: Judged, catalogue: Catalogue) -> tuple[float, str] | None:
    box = photo.answer.control_box
    truth = true_generation(photo, catalogue) if photo.true_subject("control_box") else UNLISTED
    if box.favourite in (None, truth):
        return None
    return box.probabilities[box.favourite], f"{box.decision} {box.favourite}, is {truth}"


def _wrong_lowering(photo: Judged) -> tuple[float, str] | None:
    head, subject = photo.answer.actuator, photo.true_subject("actuator_head")
    truths = subject.concepts["lowering"].possible if subject else ("no actuator",)
    if head.favourite is None or head.favourite in truths:
        return None
    return head.probabilities[head.favourite], f"{head.decision} {head.favourite}, is {'/'.join(truths)}"


def _wrong_concept(photo: Judged) -> tuple[float, str] | None:
    wrong = []
    for read, number in zip(photo.reading.subjects, photo.matches, strict=True):
        for concept, reading in read.concepts.items() if number >= 0 else ():
            truth = photo.record.subjects[number].concepts[concept]
            said = max(reading.probabilities, key=reading.probabilities.__getitem__)
            if said != truth.truth and not (truth.visible and said in truth.possible):
                wrong.append((reading.probabilities[said], f"{concept} {said}, is {truth.truth}"))
    return max(wrong, default=None)


def _missed(photo: Judged) -> tuple[float, str] | None:
    missed = [s for n, s in enumerate(photo.record.subjects) if n not in photo.matches]
    areas = [((s.box[2] - s.box[0]) * (s.box[3] - s.box[1]), s.kind) for s in missed]
    return (max(areas)[0], f"missed {max(areas)[1]} {', '.join(photo.reading.quality.problems)}") if areas else None


def _false_alarm(photo: Judged) -> tuple[float, str] | None:
    pairs = zip(photo.reading.subjects, photo.matches, strict=True)
    wrong = [(subject.probability, f"no {subject.kind}") for subject, number in pairs if number < 0]
    return max(wrong, default=None)


def _sheet(cells: Sequence[tuple[Judged, str]]) -> Image.Image:
    rows = -(-len(cells) // COLUMNS)
    sheet = Image.new("RGB", (COLUMNS * CELL_PX, rows * CELL_PX), (24, 24, 24))
    for place, (photo, text) in enumerate(cells):
        at = (place % COLUMNS * CELL_PX, place // COLUMNS * CELL_PX)
        sheet.paste(_cell(photo, text), at)
    return sheet


def _cell(photo: Judged, text: str) -> Image.Image:
    picture = ImageOps.exif_transpose(Image.open(photo.record.path)).convert("RGB")
    picture.thumbnail((CELL_PX, CELL_PX - 26))
    pen = ImageDraw.Draw(picture)
    for boxes, colour in ((photo.record.subjects, TRUE_COLOUR), (photo.reading.subjects, READ_COLOUR)):
        for thing in boxes:
            pen.rectangle([v * s for v, s in zip(thing.box, picture.size * 2, strict=True)], outline=colour, width=2)
    cell = Image.new("RGB", (CELL_PX, CELL_PX), (24, 24, 24))
    cell.paste(picture, (0, 26))
    note = ImageDraw.Draw(cell)
    note.text((4, 1), f"{photo.record.path.name} {' '.join(photo.record.conditions)}", fill=(170, 170, 170))
    note.text((4, 13), text, fill=(255, 255, 255))
    return cell
