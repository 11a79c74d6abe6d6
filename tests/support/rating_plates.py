"""Rendered rating plates of invented makers: tilted, with glare, letters 6 to 14 px high; and how they are read."""

import io
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageEnhance, ImageFilter, ImageFont

from api.plate.fields import Candidate, plate_text
from api.plate.text import text_reader
from classifier.photo import PhotoLimits, open_photo
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load

FONTS = Path("/usr/share/fonts/truetype/dejavu")
FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf", "DejaVuSansMono-Bold.ttf",
         "DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf", "DejaVuSerif.ttf")  # fmt: skip
MAKERS = ("NORVELLA", "Ostrava & Lind", "TAMBRIC CARE", "Hebelix", "Quorrin Medical", "VESTA-LIFT", "Dunmorrow")
SERIAL_LABELS = ("S/N", "SN:", "Serial No.", "Ser. Nr.", "SERIAL", "N° de serie")
MODEL_LABELS = ("Type", "Model", "REF", "Mod.", "Typ")
DATE_LABELS = ("Date", "Mfd", "Made", "Fecha")
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
CAP_HEIGHT = 0.73
"""Height of a capital by the size of its font; the same for all DejaVu faces within a few per cent."""
TODAY = date(2026, 11, 25)
LIMITS = PhotoLimits(25 * 2**20, 64_000_000)
DRAWN_PX = 40
"""Capitals are drawn so high, and made small by the same camera that tilts them."""


@dataclass(frozen=True)
class DrawnPlate:
    """A photo as the bytes of a JPEG, and what stands on the plate. `letters_px`: height of its capitals there."""

    photo: bytes
    serial: str
    model: str
    produced: str
    volts: int
    letters_px: float


def drawn_plate(rng: np.random.Generator) -> DrawnPlate:
    """One plate. Everything that varies comes from `rng`."""
    serial, model = _serial(rng), _model(rng)
    produced = f"{rng.integers(2009, 2026)}-{rng.integers(1, 13):02d}"
    volts = int(rng.choice([24, 24, 12, 36]))
    lines = _lines(rng, serial, model, produced, volts)
    letters_px = float(rng.uniform(6.0, 14.0))
    plate = _plate(rng, lines)
    photo = _photographed(rng, plate, letters_px / DRAWN_PX)
    buffer = io.BytesIO()
    photo.save(buffer, "JPEG", quality=int(rng.integers(70, 93)))
    return DrawnPlate(buffer.getvalue(), serial, model, produced, volts, letters_px)


def _digits(rng: np.random.Generator, count: int) -> str:
    return "".join(map(str, rng.integers(0, 10, count)))


def _letters(rng: np.random.Generator, count: int) -> str:
    return "".join(rng.choice(list(LETTERS), count))


def _serial(rng: np.random.Generator) -> str:
    kind = rng.integers(0, 5)
    if kind == 0:
        return _digits(rng, int(rng.integers(7, 11)))
    if kind == 1:
        return f"{_letters(rng, 2)}{_digits(rng, 6)}"
    if kind == 2:
        return f"{_digits(rng, 2)}{_letters(rng, 1)}{_digits(rng, 1)}-{_digits(rng, 5)}"
    if kind == 3:
        return f"{_letters(rng, 1)}{_digits(rng, 4)}/{_digits(rng, 4)}"
    return f"{_digits(rng, 4)}-{_digits(rng, 4)}-{_letters(rng, 1)}"


def _model(rng: np.random.Generator) -> str:
    return f"{_letters(rng, 2)}-{_digits(rng, 3)}" + str(rng.choice(["", "", " " + _letters(rng, 1)]))


def _lines(rng: np.random.Generator, serial: str, model: str, produced: str, volts: int) -> list[tuple[str, float]]:
    """The lines of the plate, each with its size."""
    year, month = produced.split("-")
    date = str(rng.choice([produced, f"{month}/{year}"]))
    power = str(rng.choice([f"{volts} V DC", f"{volts} VDC  {rng.integers(3, 12)} A", f"{volts}V  IPX4"]))
    body = [
        f"{rng.choice(MODEL_LABELS)} {model}",
        f"{rng.choice(SERIAL_LABELS)} {serial}",
        f"{rng.choice(DATE_LABELS)} {date}",
        f"{power}",
        f"SWL {rng.integers(12, 28) * 10} kg",
    ]
    order = rng.permutation(len(body))
    return [(str(rng.choice(MAKERS)), 1.5), *((body[n], 1.0) for n in order)]


def _plate(rng: np.random.Generator, lines: list[tuple[str, float]]) -> Image.Image:
    face = str(rng.choice(FACES))
    dark = rng.random() < 0.3
    ground = rng.integers(25, 70) if dark else rng.integers(165, 240)
    ink = rng.integers(190, 250) if dark else rng.integers(10, 70)
    tint = rng.integers(-8, 9, 3)
    fonts = [ImageFont.truetype(FONTS / face, int(DRAWN_PX / CAP_HEIGHT * size)) for _, size in lines]
    widths = [font.getlength(text) for font, (text, _) in zip(fonts, lines, strict=True)]
    spacing = float(rng.uniform(1.5, 2.1)) * DRAWN_PX / CAP_HEIGHT
    margin = int(1.4 * DRAWN_PX)
    size = (int(max(widths)) + 2 * margin, int(spacing * (len(lines) + 0.5)) + 2 * margin)
    plate = Image.new("RGB", size, tuple(int(np.clip(ground + t, 0, 255)) for t in tint))
    draw = ImageDraw.Draw(plate)
    draw.rectangle((8, 8, size[0] - 9, size[1] - 9), outline=(int(ink),) * 3, width=4)
    y = margin
    for font, (text, _) in zip(fonts, lines, strict=True):
        draw.text((margin, y), text, font=font, fill=(int(ink),) * 3)
        y += int(spacing)
    return plate


def _photographed(rng: np.random.Generator, plate: Image.Image, scale: float) -> Image.Image:
    """The plate on a box, tilted and turned, small, with glare, blur and noise."""
    width, height = plate.size
    turn, lean_x, lean_y = np.radians(rng.uniform(-8, 8)), rng.uniform(-0.12, 0.12), rng.uniform(-0.12, 0.12)
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], float) - (width / 2, height / 2)
    turned = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    depth = 1 + lean_x * corners[:, 0] / width + lean_y * corners[:, 1] / height
    there = turned / depth[:, None] * scale
    there -= there.min(0) - rng.uniform(20, 120, 2)
    out = np.ceil(there.max(0) + rng.uniform(20, 120, 2)).astype(int)
    big = 3  # supersampled: small letters come about as in a camera
    coefficients = _perspective(there * big, corners + (width / 2, height / 2))
    paper = int(rng.integers(60, 200))
    ground = Image.new("RGB", (int(out[0]) * big, int(out[1]) * big), (paper, paper, paper))
    mask = Image.new("L", plate.size, 255).transform(ground.size, Image.Transform.PERSPECTIVE, coefficients)
    ground.paste(
        plate.transform(ground.size, Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BICUBIC), mask=mask
    )
    photo = ground.resize((int(out[0]), int(out[1])), Image.Resampling.BOX)
    photo = photo.filter(ImageFilter.GaussianBlur(float(rng.uniform(0.0, 0.8))))
    return _lit(rng, ImageEnhance.Contrast(photo).enhance(float(rng.uniform(0.7, 1.0))), there)


def _perspective(source: np.ndarray, target: np.ndarray) -> list[float]:
    """The eight numbers by which Pillow finds, for each point of the photo, its point of the plate."""
    rows, right = [], []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return list(np.linalg.solve(np.array(rows), np.array(right)))


def _lit(rng: np.random.Generator, photo: Image.Image, there: np.ndarray) -> Image.Image:
    """Glare somewhere on the plate, a slope of light, and the noise of the sensor."""
    pixels = np.asarray(photo, float)
    height, width = pixels.shape[:2]
    yy, xx = np.mgrid[:height, :width]
    slope = 1 + rng.uniform(-0.25, 0.25) * (xx / width - 0.5) + rng.uniform(-0.25, 0.25) * (yy / height - 0.5)
    pixels *= slope[..., None]
    if rng.random() < 0.6:
        (left, top), (right, bottom) = there.min(0), there.max(0)
        cx, cy = rng.uniform(left, right), rng.uniform(top, bottom)
        rx, ry = rng.uniform(0.08, 0.35) * (right - left), rng.uniform(0.06, 0.25) * (bottom - top)
        glare = np.exp(-(((xx - cx) / rx) ** 2) - ((yy - cy) / ry) ** 2) * rng.uniform(0.3, 1.0)
        pixels += (255 - pixels) * glare[..., None]
    pixels += rng.normal(0, rng.uniform(1, 7), pixels.shape)
    return Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))


def without_forms(catalogue: Catalogue) -> Catalogue:
    """A catalogue that says nothing of plates, so that the reader alone is judged."""
    rows = tuple(row.model_copy(update={"plate": None}) for row in catalogue.generations)
    return catalogue.model_copy(update={"generations": rows})


def judged(group: int, plates: Iterable[int]) -> Counter[str]:
    """How the serial numbers of these plates were read, through the reader that the pages use.

    A wrong number counts as marked only when every letter in which it differs is shown as doubtful.
    """
    reader, catalogue, counts = text_reader(), without_forms(load(DEMO_CATALOGUE)), Counter()
    for number in plates:
        plate = drawn_plate(np.random.default_rng([group, number]))
        _, lines = reader.lines_in(open_photo(plate.photo, "plate.jpg", LIMITS))
        counts[_outcome(plate.serial, plate_text(lines, catalogue, TODAY).serial)] += 1
    return counts


def _outcome(serial: str, read: Candidate | None) -> str:
    if read is None:
        return "refused"
    if read.value.replace(" ", "") == serial:
        return "right, marked" if read.to_check else "right"
    for kind, a, b, c, d in SequenceMatcher(None, read.value, serial, autojunk=False).get_opcodes():
        beside = range(max(0, a - 1), min(len(read.value), a + 1))  # a letter is missing here
        marked = any(n in read.doubtful for n in beside) if a == b else all(n in read.doubtful for n in range(a, b))
        if kind != "equal" and (read.value[a:b] + serial[c:d]).strip() and not marked:
            return "wrong, a wrong letter unmarked"
    return "wrong, marked"
