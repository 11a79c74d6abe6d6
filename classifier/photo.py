"""A photo as it came from a phone: bytes to upright RGB, at the size that is needed and no larger.

Formats: JPEG (and the multi-picture files of some phones), PNG, WebP, HEIC. Decoding a JPEG dominates the whole answer,
so it is decoded at 1/8, 1/4 or 1/2 scale by the codec itself wherever that leaves enough pixels.
"""

import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from PIL import Image

from classifier.errors import NotAPhoto, PhotoTooLarge, UnreadablePhoto
from classifier.large_png import Rows, reduced_png, says_all_before_the_pixels
from classifier.messages import Message

Box = tuple[float, float, float, float]
"""Left, top, right, bottom as fractions of the upright photo."""

MID_GREY = 128
"""What lies outside the photo in a letterbox or a window; about 0 after normalisation with mean 0.5."""

WORKING_PX = 960
"""Longest side of the first decode. Smaller saves a JPEG codec nothing (12 megapixels: 31 ms at 1/8 as at 1/4 scale,
44 ms at 1/2, 68 ms whole), and it is large enough for the window around most parts, so that few are decoded twice."""

EXIF_ORIENTATION = 0x0112
TRANSPOSE_OF_ORIENTATION = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""EXIF tag 0x0112 to the turn that makes the photo upright (CIPA DC-008, from memory)."""

HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")


SIDEWAYS = {
    Image.Transpose.TRANSPOSE,
    Image.Transpose.TRANSVERSE,
    Image.Transpose.ROTATE_90,
    Image.Transpose.ROTATE_270,
}
"""Turns that exchange width and height."""


MOST_SCANS = 64
"""Scans of a JPEG file; more of them could keep a core busy for minutes with a small file."""

MOST_SEGMENTS = 4096
"""Segments of a JPEG file; a photo has some dozens, and each takes its time."""

SEGMENT = re.compile(rb"\xff[\xc0-\xcf\xd9-\xfe]")
START_OF_SCAN, END_OF_IMAGE = b"\xff\xda", b"\xff\xd9"
"""Markers of a JPEG file (ITU-T T.81, table B.1, from memory). None stands in coded data, where 0 follows 0xFF."""


@dataclass(frozen=True)
class PhotoLimits:
    """What one photo may weigh. The defaults take any phone's ordinary photo."""

    max_bytes: int = 25 * 1024 * 1024
    max_pixels: int = 64_000_000


@dataclass
class Photo:
    """One photo, decoded lazily. `width` and `height` are those of the upright picture, in pixels.

    `first_frame_only` is true when the file holds an animation, of which only the first picture is looked at.
    """

    name: str
    width: int
    height: int
    first_frame_only: bool
    _decode: Callable[[int], Image.Image | Rows] = field(repr=False)
    _at_scale: dict[int, Image.Image | Rows] = field(default_factory=dict, repr=False)

    def reduced(self, size: int) -> np.ndarray:
        """The whole photo, upright, its longest side at least `size` px if the photo has that many: uint8 (H, W, 3)."""
        return np.asarray(self._image(max(size, WORKING_PX) / max(self.width, self.height)))

    def window(self, box: Box, out_px: int) -> np.ndarray:
        """The part of the photo in `box`, resampled to uint8 (out_px, out_px, 3); grey where it leaves the photo."""
        narrower = min((box[2] - box[0]) * self.width, (box[3] - box[1]) * self.height)
        beside = 2 * (box[3] - box[1]) / out_px + 2 / self.height  # resampling reaches less than two of its pixels
        image = self._image(out_px / max(narrower, 1.0), box[1] - beside, box[3] + beside)
        return cut_window(image, box, out_px)

    def _image(self, smallest_scale: float, top: float = 0.0, bottom: float = 1.0) -> Image.Image:
        """The photo at no smaller a scale, right at least between these fractions of its height."""
        shrink = next((n for n in (8, 4, 2) if 1 / n >= smallest_scale), 1)
        usable = [n for n in self._at_scale if n <= shrink]
        if not usable:
            self._at_scale[shrink] = self._decode(shrink)
            usable = [shrink]
        image = self._at_scale[max(usable)]
        if isinstance(image, Rows):
            return image.between(top * self.height, bottom * self.height)
        return image


def open_photo(data: bytes, name: str, limits: PhotoLimits) -> Photo:
    """Look at the header of a photo, refuse what cannot or may not be decoded, and decode nothing yet.

    The format is judged by content alone. Raises `NotAPhoto`, `PhotoTooLarge` or `UnreadablePhoto`.
    """
    _refuse_bytes(data, name, limits)
    kind = sniff(data, name)
    if kind == "JPEG":
        _refuse_scans(data, name)
    image = _open(data, name, kind)
    _refuse_pixels(image, name, limits)
    plain = kind == "PNG" and says_all_before_the_pixels(data)
    turn = None if kind == "HEIF" else TRANSPOSE_OF_ORIENTATION.get(_orientation(image, plain))
    width, height = (image.height, image.width) if turn in SIDEWAYS else image.size

    small: dict[int, Image.Image] = {}

    def decode(shrink: int) -> Image.Image | Rows:
        if shrink == 1 and small and turn is None:
            return Rows(data, (width, height), _to_rgb)
        if kind == "PNG" and shrink > 1 and not small:
            small.update(reduced_png(data, tuple(n for n in (8, 4, 2) if n <= shrink), _to_rgb) or {})
        return _turned(small[shrink] if shrink in small else _decode(data, name, kind, shrink), turn)

    animated = kind in ("PNG", "WEBP") and getattr(image, "n_frames", 1) > 1
    return Photo(name, width, height, animated, decode)


def _refuse_bytes(data: bytes, name: str, limits: PhotoLimits) -> None:
    if len(data) == 0:
        raise UnreadablePhoto(name, Message("the file is empty (0 bytes). Send the photo again."))
    if len(data) > limits.max_bytes:
        raise PhotoTooLarge(
            name,
            Message(
                "{came} MiB came, at most {limit} MiB are read. Send it in a smaller size.",
                came=f"{len(data) / 2**20:.1f}",
                limit=f"{limits.max_bytes / 2**20:.0f}",
            ),
        )


def _refuse_pixels(image: Image.Image, name: str, limits: PhotoLimits) -> None:
    if image.width * image.height > limits.max_pixels:
        raise PhotoTooLarge(
            name,
            Message(
                "{width} × {height} pixels came, at most {limit} million are read. Send it in a smaller size.",
                width=image.width,
                height=image.height,
                limit=f"{limits.max_pixels / 1e6:.0f}",
            ),
        )


def _refuse_scans(data: bytes, name: str) -> None:
    """A progressive JPEG has some ten scans; each costs a walk over all blocks, however few bytes it has."""
    scans = _scans(data)
    if scans is None:
        raise UnreadablePhoto(name, Message("the {kind} file is damaged. Send the photo again.", kind="JPEG"))
    if scans > MOST_SCANS:
        raise PhotoTooLarge(
            name,
            Message(
                "{came} scans of a JPEG came, at most {limit} are read. Save it anew as a plain JPEG and send that.",
                came=data.count(START_OF_SCAN),
                limit=MOST_SCANS,
            ),
        )


def _scans(data: bytes) -> int | None:
    """Scans of a JPEG file's first picture, counted until there are too many; None where its segments have no end.

    What follows the picture, as the film of a moving photo, is not decoded. A segment's own bytes, such as a small
    picture in the metadata, are passed over by the length that stands first in it.
    """
    scans, at = 0, 2
    for _ in range(MOST_SEGMENTS):
        found = SEGMENT.search(data, at)
        if found is None or found[0] == END_OF_IMAGE or scans > MOST_SCANS:
            return scans
        scans += found[0] == START_OF_SCAN
        at = found.end() + int.from_bytes(data[found.end() : found.end() + 2], "big")
    return None


def sniff(data: bytes, name: str) -> str:
    """The format of these bytes: JPEG, PNG, WEBP or HEIF. Raises `NotAPhoto` for anything else."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp" and data[8:12] in HEIF_BRANDS:
        return "HEIF"
    came = (
        Message("a GIF")
        if data.startswith((b"GIF87a", b"GIF89a"))
        else Message("a PDF")
        if data.startswith(b"%PDF")
        else Message("no picture")
    )
    raise NotAPhoto(
        name,
        Message("the content is {came}; JPEG, PNG, WebP and HEIC are read. Send a photo in one of these.", came=came),
    )


def cut_window(image: Image.Image, box: Box, out_px: int) -> np.ndarray:
    """Resample the part of an RGB image in `box` (fractions, may leave the image) to uint8 (out_px, out_px, 3)."""
    left, top, right, bottom = (
        box[0] * image.width,
        box[1] * image.height,
        box[2] * image.width,
        box[3] * image.height,
    )
    x_scale, y_scale = out_px / (right - left), out_px / (bottom - top)
    inside = (max(left, 0.0), max(top, 0.0), min(right, image.width), min(bottom, image.height))
    canvas = Image.new("RGB", (out_px, out_px), (MID_GREY,) * 3)
    if inside[2] > inside[0] and inside[3] > inside[1]:
        x0, y0 = round((inside[0] - left) * x_scale), round((inside[1] - top) * y_scale)
        x1, y1 = round((inside[2] - left) * x_scale), round((inside[3] - top) * y_scale)
        size = (max(x1 - x0, 1), max(y1 - y0, 1))
        canvas.paste(image.resize(size, Image.Resampling.BILINEAR, box=inside), (x0, y0))
    return np.asarray(canvas)


def _open(data: bytes, name: str, kind: str) -> Image.Image:
    try:
        if kind == "HEIF":
            from pillow_heif import HeifImageFile  # an extra 30 ms that only a HEIC should pay

            return HeifImageFile(io.BytesIO(data))  # type: ignore[no-untyped-call]  # the library has no types
        return Image.open(io.BytesIO(data), formats=["JPEG", "MPO"] if kind == "JPEG" else [kind])
    except Image.DecompressionBombError as error:
        raise PhotoTooLarge(
            name, Message("far more pixels than any phone takes. Send it in a smaller size.")
        ) from error
    except Exception as error:  # codecs raise every kind of exception on a damaged header; none means "read it anyway"
        raise UnreadablePhoto(name, Message("the {kind} file is damaged. Send the photo again.", kind=kind)) from error


def _orientation(image: Image.Image, all_known: bool) -> int:
    """EXIF orientation. Pillow decodes a PNG whole to look behind its pixels, unless all that it says is known."""
    try:
        exif = Image.Image.getexif(image) if all_known else image.getexif()
        return int(exif.get(EXIF_ORIENTATION, 1))
    except Exception:  # rubbish in the metadata says nothing about the picture: take it as it lies
        return 1


def _decode(data: bytes, name: str, kind: str, shrink: int) -> Image.Image:
    image = _open(data, name, kind)
    try:
        if kind == "JPEG" and shrink > 1:
            image.draft("RGB", (max(image.width // shrink, 1), max(image.height // shrink, 1)))
        image.load()
    except Exception as error:
        raise UnreadablePhoto(
            name, Message("the {kind} file is cut off or damaged. Send the photo again.", kind=kind)
        ) from error
    if kind == "JPEG" and _lower_part_missing(data, image):
        raise UnreadablePhoto(
            name, Message("the JPEG file is damaged: its lower part is missing. Send the photo again.")
        )
    image = _to_rgb(image)
    if kind != "JPEG" and shrink > 1:  # formats that cannot be decoded small: shrink at once, keep memory low
        image = image.reduce(shrink)
    return image


def _turned(image: Image.Image, turn: Image.Transpose | None) -> Image.Image:
    return image if turn is None else image.transpose(turn)


def _lower_part_missing(data: bytes, image: Image.Image) -> bool:
    """Whether the codec ran out of data and painted the rest grey, which it does without an error.

    A last corner of exactly mid grey is suspicious, no proof: with more data before the end mark, a real grey stays
    grey and a missing part is painted otherwise.
    """
    corner = np.asarray(image.crop((image.width - 1, image.height - 1, image.width, image.height)))
    end = data.rfind(b"\xff\xd9")
    if end < 0 or image.mode not in ("RGB", "L") or not (corner == MID_GREY).all():
        return False
    again = Image.open(io.BytesIO(data[:end] + b"\x55" * 4096 + data[end:]), formats=["JPEG", "MPO"])
    again.draft("RGB", image.size)
    again.load()
    return again.tobytes() != image.tobytes()


def _to_rgb(image: Image.Image) -> Image.Image:
    if image.mode.startswith("I"):  # 16-bit grey: Pillow would clip instead of scaling
        grey = np.asarray(image).astype(np.int64)
        return Image.fromarray(np.clip(grey // 257, 0, 255).astype(np.uint8)).convert("RGB")
    if image.has_transparency_data:
        rgba = image.convert("RGBA")
        ground = Image.new("RGBA", rgba.size, (MID_GREY, MID_GREY, MID_GREY, 255))
        return Image.alpha_composite(ground, rgba).convert("RGB")
    return image if image.mode == "RGB" else image.convert("RGB")
