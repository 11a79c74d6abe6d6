"""The worst mistakes with their pictures: confirmed and wrong first, then sure, missed, seen without cause."""

import base64
import io
from collections.abc import Sequence

from PIL import Image, ImageDraw, ImageOps

from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX
from guidance.catalogue.catalogue import Catalogue
from training.evaluate.scores import Judged, confirmed_and_wrong, true_generation

PICTURE_PX = 360
TRUE_COLOUR, READ_COLOUR = (40, 170, 80), (230, 70, 40)


def worst_mistakes(photos: Sequence[Judged], catalogue: Catalogue, most: int) -> list[dict]:
    """The worst, worst first: `what` happened, how `sure` the answer was, the `picture` as a data address."""
    found = [(worst, photo) for photo in photos if (worst := _worst(photo, catalogue))]
    found.sort(key=lambda item: (-item[0][0], -item[0][1]))
    return [
        {
            "rank": rank,
            "sure": sure,
            "what": what,
            "name": photo.record.path.name,
            "conditions": [photo.record.framing, *photo.record.conditions],
            "picture": picture_address(photo),
        }
        for (rank, sure, what), photo in found[:most]
    ]


def count_mistakes(photos: Sequence[Judged], catalogue: Catalogue) -> int:
    """How many photos have any mistake at all."""
    return sum(_worst(photo, catalogue) is not None for photo in photos)


def picture_address(photo: Judged) -> str:
    """The photo, small, with true boxes drawn dashed and read ones whole, as a `data:` address."""
    picture = ImageOps.exif_transpose(Image.open(photo.record.path)).convert("RGB")
    picture.thumbnail((PICTURE_PX, PICTURE_PX))
    pen = ImageDraw.Draw(picture)
    for subject in photo.reading.subjects:
        pen.rectangle(_pixels(subject.box, picture), outline=READ_COLOUR, width=2)
    for subject in photo.record.subjects:
        _dashed(pen, _pixels(subject.box, picture))
    data = io.BytesIO()
    picture.save(data, "JPEG", quality=72)
    return "data:image/jpeg;base64," + base64.b64encode(data.getvalue()).decode()


def _worst(photo: Judged, catalogue: Catalogue) -> tuple[int, float, str] | None:
    """Rank (3 confirmed and wrong, 2 wrong, 1 a part missed, 0 a part where none is), sureness, and words."""
    wrong = confirmed_and_wrong(photo, catalogue)
    mistakes = []
    for kind, told in ((CONTROL_BOX, photo.answer.control_box), (ACTUATOR_HEAD, photo.answer.actuator)):
        truths = _truths(photo, kind, catalogue)
        if told.favourite is None or told.favourite in truths:
            continue
        rank = 3 if wrong.get(kind) else 2 if photo.true_subject(kind) else 0
        sure = told.probabilities[told.favourite]
        mistakes.append((rank, sure, f"{told.decision}: {told.favourite}; true: {' or '.join(truths)}"))
    missed = [s for n, s in enumerate(photo.record.subjects) if n not in photo.matches]
    if missed:
        area = max((s.box[2] - s.box[0]) * (s.box[3] - s.box[1]) for s in missed)
        why = f" ({', '.join(photo.reading.quality.problems)})" if not photo.reading.quality.usable else ""
        mistakes.append((1, area, f"missed: {', '.join(s.kind for s in missed)}{why}"))
    for subject, number in zip(photo.reading.subjects, photo.matches, strict=True):
        if number < 0 and not photo.record.subjects:
            mistakes.append((0, subject.probability, f"seen: {subject.kind}; there is no lift part"))
    return max(mistakes, default=None)


def _truths(photo: Judged, kind: str, catalogue: Catalogue) -> tuple[str, ...]:
    subject = photo.true_subject(kind)
    if subject is None:
        several = any(s.kind == kind for s in photo.record.subjects)
        told = photo.answer.control_box if kind == CONTROL_BOX else photo.answer.actuator
        return (told.favourite,) if several and told.favourite else (f"no {kind}",)
    if kind == CONTROL_BOX:
        return (true_generation(photo, catalogue),)
    return subject.concepts["lowering"].possible


def _pixels(box: Sequence[float], picture: Image.Image) -> list[float]:
    return [side * size for side, size in zip(box, picture.size * 2, strict=True)]


def _dashed(pen: ImageDraw.ImageDraw, box: Sequence[float]) -> None:
    left, top, right, bottom = box
    for start in range(int(left), int(right), 10):
        for y in (top, bottom):
            pen.line([start, y, min(start + 6, right), y], fill=TRUE_COLOUR, width=2)
    for start in range(int(top), int(bottom), 10):
        for x in (left, right):
            pen.line([x, start, x, min(start + 6, bottom)], fill=TRUE_COLOUR, width=2)
