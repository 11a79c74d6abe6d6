"""A large PNG smaller, strip by strip: the whole of 50 million pixels would take 200 MB, and each scale a decode."""

import io
import struct
import zlib
from collections.abc import Callable, Iterator
from itertools import dropwhile, takewhile

from PIL import Image

SIGNATURE = b"\x89PNG\r\n\x1a\n"
BYTES_A_PIXEL = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
"""Colour types of PNG to bytes a pixel at 8 bits a sample (W3C PNG, section 11.2.1, from memory)."""

STRIP_ROWS = 256
"""A multiple of every scale."""

PIECE_BYTES = 65536

MAY_SAY_THE_TURN = {b"eXIf", b"tEXt", b"zTXt", b"iTXt"}

NOT_IN_STRIPS = (ValueError, KeyError, IndexError, OSError, SyntaxError, zlib.error, struct.error)

TO_THE_PIXELS = (b"PLTE", b"tRNS")
"""Chunks beside the header without which pixels are not what they are."""


def reduced_png(
    data: bytes, shrinks: tuple[int, ...], to_rgb: Callable[[Image.Image], Image.Image]
) -> dict[int, Image.Image] | None:
    """The picture of a PNG at 1/n of its size for each n, pixel for pixel as `Image.reduce` of the whole.

    None for what is not read in strips: other than 8 bits a sample, interlaced, animated, or not whole.
    """
    small: dict[int, Image.Image] = {}
    try:
        for top, strip, size in _strips(data):
            small = small or {n: Image.new("RGB", (-(-size[0] // n), -(-size[1] // n))) for n in shrinks}
            rgb = to_rgb(strip)
            for n, image in small.items():
                image.paste(rgb.reduce(n), (0, top // n))
    except NOT_IN_STRIPS:
        return None
    return small


class Rows:
    """A PNG at its own size, of which only the rows are decoded that are asked for; memory for others is not touched.

    For one that `reduced_png` has read whole.
    """

    def __init__(self, data: bytes, size: tuple[int, int], to_rgb: Callable[[Image.Image], Image.Image]) -> None:
        self.data, self.to_rgb = data, to_rgb
        self.image = Image.new("RGB", size, None)
        self.there: set[int] = set()

    def between(self, top: float, bottom: float) -> Image.Image:
        """The picture, with whatever lies between these rows in place."""
        first, last = (min(max(int(row), 0), self.image.height - 1) // STRIP_ROWS for row in (top, bottom))
        missing = {strip * STRIP_ROWS for strip in range(first, last + 1)} - self.there
        if missing:
            for at, strip, _ in _strips(self.data):
                if at in missing:
                    self.image.paste(self.to_rgb(strip), (0, at))
                if at >= max(missing):
                    break
            self.there |= missing
        return self.image


def says_all_before_the_pixels(data: bytes) -> bool:
    """Whether no chunk behind the pixels of a PNG may tell how it is turned."""
    try:
        behind = dropwhile(lambda chunk: chunk[0] != b"IDAT", _chunks(data))
        return MAY_SAY_THE_TURN.isdisjoint(name for name, _ in behind)
    except struct.error:
        return False


def _chunks(data: bytes) -> Iterator[tuple[bytes, memoryview]]:
    view, at = memoryview(data), len(SIGNATURE)
    while at < len(data):
        length, name = struct.unpack_from(">I4s", data, at)
        yield name, view[at + 8 : at + 8 + length]
        at += length + 12


def _strips(data: bytes) -> Iterator[tuple[int, Image.Image, tuple[int, int]]]:
    """Each strip with its first row and the size of the whole; raises one of `NOT_IN_STRIPS`.

    A strip is a PNG of its own, below the row before it, from which its filters go on.
    """
    width, height, bits, colour, _, _, interlaced = struct.unpack_from(">IIBBBBB", data, len(SIGNATURE) + 8)
    head = list(takewhile(lambda chunk: chunk[0] != b"IDAT", _chunks(data)))
    if bits != 8 or interlaced or any(name == b"acTL" for name, _ in head):
        raise ValueError(f"{bits} bits, interlaced or animated")
    ihdr, needed = bytes(head[0][1]), [(name, bytes(body)) for name, body in head if name in TO_THE_PIXELS]
    row_bytes = 1 + width * BYTES_A_PIXEL[colour]
    scanlines, above = _scanlines(data, height * row_bytes, STRIP_ROWS * row_bytes), bytes(row_bytes)
    for top in range(0, height, STRIP_ROWS):
        rows = min(STRIP_ROWS, height - top)
        header = struct.pack(">II", width, rows + 1) + ihdr[8:]
        body = zlib.compress(above + next(scanlines), 0)
        parts = [(b"IHDR", header), *needed, (b"IDAT", body), (b"IEND", b"")]
        whole = Image.open(io.BytesIO(SIGNATURE + b"".join(_chunk(*part) for part in parts)), formats=["PNG"])
        whole.load()
        above = b"\0" + whole.crop((0, rows, width, rows + 1)).tobytes()
        yield top, whole.crop((0, 1, width, rows + 1)), (width, height)


def _scanlines(data: bytes, total: int, piece: int) -> Iterator[bytes]:
    """The filtered rows, so many bytes at a time. Raises ValueError where they are not as many as the header says."""
    inflate, rows, left = zlib.decompressobj(), bytearray(), total
    for waiting in _coded(data):
        while waiting and not inflate.eof:
            rows += inflate.decompress(waiting, piece - len(rows) + 1)
            waiting = inflate.unconsumed_tail
            if len(rows) > piece:
                yield bytes(rows[:piece])
                left -= piece
                del rows[:piece]
    rows += inflate.flush()
    if len(rows) != left or not inflate.eof:
        raise ValueError(f"{left} bytes of rows are wanted, {len(rows)} came")
    yield bytes(rows)


def _coded(data: bytes) -> Iterator[bytes]:
    """What is coded, in small pieces: what a piece leaves over is copied."""
    for name, body in _chunks(data):
        if name == b"IDAT":
            yield from (bytes(body[at : at + PIECE_BYTES]) for at in range(0, len(body), PIECE_BYTES))


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
