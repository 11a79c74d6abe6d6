"""Text in a photo, read on this machine by a library that carries its networks; without it typing is needed."""

import threading
from dataclasses import dataclass, field
from functools import cache
from importlib.util import find_spec
from typing import Any

import numpy as np
from PIL import Image

from api.plate.fields import Letter, TextLine, agreed
from classifier.photo import Photo

LIBRARY = "rapidocr"
LEAST_SIDE_PX, MOST_SIDE_PX, MOST_ENLARGED = 960, 2000, 4.0
"""A picture is read with its longest side between these; a small one is enlarged by so much at most."""

GROWN = 0.12
"""Of its height, by which a line is cut out more widely for another look."""


@dataclass(frozen=True)
class TextReader:
    """Reads lines of text, one picture at a time: the library's reader keeps what it was asked last."""

    engine: Any
    _one_at_a_time: threading.Lock = field(default_factory=threading.Lock)

    def lines_in(self, photo: Photo) -> tuple[Image.Image, list[TextLine]]:
        """The picture as it was read, and its lines from top to bottom."""
        picture = _sized(photo)
        pixels = np.ascontiguousarray(np.asarray(picture)[:, :, ::-1])  # (H, W, 3), blue first, as the library wants
        with self._one_at_a_time:
            found = self.engine(pixels, use_det=True, use_cls=False, use_rec=False)
            quads = [] if found.boxes is None else [np.asarray(box, float) for box in found.boxes]
            lines = [self._line(pixels, quad) for quad in quads]
        return picture, sorted((line for line in lines if line.letters), key=lambda line: line.box[1])

    def _line(self, pixels: np.ndarray, quad: np.ndarray) -> TextLine:
        """One line, looked at four times: as it is, with full contrast, cut more widely, and reversed and soft."""
        cut = _cut(pixels, quad)
        looks = [self._look(cut), self._look(_full_contrast(cut)), self._look(_cut(pixels, _grown(quad)))]
        looks.append(self._look(_reversed_soft(cut)))
        (left, top), (right, bottom) = quad.min(0), quad.max(0)
        return TextLine(agreed(looks), (left, top, right, bottom))

    def _look(self, cut: np.ndarray) -> list[Letter]:
        read = self.engine(cut, use_det=False, use_cls=False, use_rec=True, return_word_box=True)
        if not read.txts or not read.txts[0]:
            return []
        return [Letter(one, float(sure)) for one, sure in zip(read.txts[0], read.word_results[0].confs, strict=True)]


@cache
def text_reader() -> TextReader | None:
    """The reader, made once; None where the extra `plates` is not installed."""
    if find_spec(LIBRARY) is None:
        return None
    from rapidocr import RapidOCR

    threads = {f"EngineConfig.onnxruntime.{kind}_op_num_threads": 1 for kind in ("intra", "inter")}
    return TextReader(RapidOCR(params={"Global.log_level": "critical", **threads}))


def line_picture(picture: Image.Image, box: tuple[float, float, float, float]) -> Image.Image:
    """A line and what is around it, cut out of the picture that it was read in, for a person to compare."""
    left, top, right, bottom = box
    room = 0.6 * (bottom - top)
    frame = (left - room, top - room, right + room, bottom + room)
    return picture.crop(tuple(round(side) for side in frame))


def _sized(photo: Photo) -> Image.Image:
    picture = Image.fromarray(photo.reduced(min(MOST_SIDE_PX, max(photo.width, photo.height))))
    longest = max(picture.size)
    wanted = min(max(longest, min(LEAST_SIDE_PX, MOST_ENLARGED * longest)), MOST_SIDE_PX)
    if wanted == longest:
        return picture
    size = (round(picture.width * wanted / longest), round(picture.height * wanted / longest))
    return picture.resize(size, Image.Resampling.BICUBIC)


def _cut(pixels: np.ndarray, quad: np.ndarray) -> np.ndarray:
    """The picture within four corners, from the upper left one clockwise, laid upright."""
    import cv2  # of the library's own needs; only there when it is

    width = max(1, int(max(np.linalg.norm(quad[0] - quad[1]), np.linalg.norm(quad[3] - quad[2]))))
    height = max(1, int(max(np.linalg.norm(quad[0] - quad[3]), np.linalg.norm(quad[1] - quad[2]))))
    upright = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    turned = cv2.getPerspectiveTransform(quad.astype(np.float32), upright)
    return cv2.warpPerspective(pixels, turned, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


def _grown(quad: np.ndarray) -> np.ndarray:
    right, down = quad[1] - quad[0], quad[3] - quad[0]
    height = (np.linalg.norm(down) + np.linalg.norm(quad[1] - quad[2])) / 2
    steps = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float) * height * GROWN
    return quad + steps[:, :1] * right / np.linalg.norm(right) + steps[:, 1:] * down / np.linalg.norm(down)


def _full_contrast(cut: np.ndarray) -> np.ndarray:
    grey = cut.mean(2)
    low, high = np.percentile(grey, (2, 98))
    stretched = np.clip((grey - low) / max(high - low, 1.0) * 255, 0, 255).astype(np.uint8)
    return np.repeat(stretched[..., None], 3, 2)


def _reversed_soft(cut: np.ndarray) -> np.ndarray:
    import cv2

    return 255 - cv2.GaussianBlur(cut, (0, 0), max(0.5, 0.05 * cut.shape[0]))
