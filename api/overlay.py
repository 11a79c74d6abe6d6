"""The photo with what was found drawn on it: people would rather look than read."""

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from api.pages.wording import percent, plain
from classifier.identify import PhotoReading, SubjectReading
from classifier.photo import Box, PhotoLimits, open_photo
from classifier.taxonomy import NOT_VISIBLE

LONGEST_SIDE_PX = 1600
"""Large enough to judge a boundary by eye, small enough to send in a message."""

INK, PAPER = (20, 24, 32), (255, 255, 255)
LINE_OF_KIND = {
    "control_box": (0, 114, 178),
    "actuator_head": (213, 94, 0),
    "hand_control": (0, 158, 115),
    "charger": (204, 121, 167),
}
"""Line colours that most colour-blind people tell apart (Okabe and Ito, from memory); the label names the kind too."""


def draw_overlay(data: bytes, reading: PhotoReading, limits: PhotoLimits) -> Image.Image:
    """The upright photo, at most `LONGEST_SIDE_PX` long, with boxes, names and readings. Carries no metadata."""
    photo = open_photo(data, reading.name, limits)
    image = Image.fromarray(photo.reduced(min(LONGEST_SIDE_PX, max(photo.width, photo.height))))
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.BILINEAR)
    font = ImageFont.load_default(max(13, round(max(image.size) / 50)))
    draw = ImageDraw.Draw(image)
    for subject in reading.subjects:
        _outline(draw, _pixels(subject.box, image), LINE_OF_KIND[subject.kind], font.size)
    shown, labels = [_pixels(subject.box, image) for subject in reading.subjects], []
    for subject in reading.subjects:
        _label(draw, image, subject, font, shown, labels)
    if not reading.subjects:
        words = "Nothing of a lift was found" if reading.quality.usable else "This photo could not be used"
        _text_box(draw, (8, 8), [words], font, INK)
    return image


def _pixels(box: Box, image: Image.Image) -> Box:
    return tuple(np.multiply(box, (image.width, image.height) * 2).tolist())


def _outline(draw: ImageDraw.ImageDraw, box: Box, colour: tuple[int, int, int], font_px: float) -> None:
    width = max(2, round(font_px / 6))
    left, top, right, bottom = box
    draw.rectangle((left - width, top - width, right + width, bottom + width), outline=PAPER, width=width)
    draw.rectangle(box, outline=colour, width=width)


def _label(
    draw: ImageDraw.ImageDraw,
    image: Image.Image,
    subject: SubjectReading,
    font: ImageFont.FreeTypeFont,
    shown: list[Box],
    labels: list[Box],
) -> None:
    """Beside the box, where it hides no other label and, if there is room, nothing that was found."""
    room = image.width - font.size
    lines = [line for words in _words_of(subject) for line in _wrapped(draw, words, font, room)]
    width, height = _size(draw, lines, font)
    left, top, right, bottom = _pixels(subject.box, image)
    places = [(left, top - height - 4), (left, bottom + 4), (right + 4, top), (left - width - 4, top), (left, top)]
    inside = [(min(max(x, 0), image.width - 1 - width), min(max(y, 0), image.height - 1 - height)) for x, y in places]
    boxes = [(x, y, x + width, y + height) for x, y in inside]
    best = min(boxes, key=lambda box: [sum(_touch(box, other) for other in others) for others in (labels, shown)])
    labels.append(best)
    _text_box(draw, best[:2], lines, font, LINE_OF_KIND[subject.kind])


def _words_of(subject: SubjectReading) -> list[str]:
    """The kind and every reading that the photo shows, in the taxonomy's own words."""
    lines = [f"{plain(subject.kind)} · {percent(subject.probability)}"]
    for concept, reading in subject.concepts.items():
        shown = [value for value in reading.prediction_set if value != NOT_VISIBLE]
        if shown:
            open_ = " ?" if len(reading.prediction_set) > 1 else ""
            lines.append(f"{plain(concept)}: {' or '.join(map(plain, shown))}{open_}")
    return lines


def _wrapped(draw: ImageDraw.ImageDraw, words: str, font: ImageFont.FreeTypeFont, room: float) -> list[str]:
    """A line in as many as the room, in pixels, asks for; a word by itself is never broken."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and draw.textlength(longer, font=font) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _size(draw: ImageDraw.ImageDraw, lines: list[str], font: ImageFont.FreeTypeFont) -> tuple[float, float]:
    widest = max(draw.textlength(line, font=font) for line in lines)
    return widest + font.size, (len(lines) + 0.6) * font.size * 1.25


def _touch(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _text_box(
    draw: ImageDraw.ImageDraw,
    spot: tuple[float, float],
    lines: list[str],
    font: ImageFont.FreeTypeFont,
    edge: tuple[int, int, int],
) -> None:
    width, height = _size(draw, lines, font)
    draw.rectangle((*spot, spot[0] + width, spot[1] + height), fill=PAPER, outline=edge, width=2)
    for n, line in enumerate(lines):
        draw.text((spot[0] + font.size / 2, spot[1] + font.size * (0.3 + 1.25 * n)), line, fill=INK, font=font)
