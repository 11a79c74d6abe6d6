"""Heaps of photos for an audit, in the rule of the toy networks, and workers that work in this process."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import segno
from PIL import Image
from pyarrow import parquet

from tests.support.toy_networks import blob_photo, encoded
from workers.dispatch import Ended

BOX = ("control_box", (0.3, 0.4), 0.3, {"black": "above", "white": "above"})
HEAD = ("actuator_head", (0.7, 0.5), 0.3, {"black": "left"})


def photo(*blobs: tuple, shade: int = 0, label: str = "", **options: object) -> bytes:
    """A photo with these blobs; another `shade` makes other bytes of the same picture. `label`: a code in a corner."""
    image = blob_photo(*blobs)
    image.paste((64 + shade * 37 % 128, 64 + shade * 11 % 128, 64 + shade // 128), (0, 0, 16, 16))
    if label:
        code = io.BytesIO()
        segno.make(label, error="m", micro=False).save(code, kind="png", scale=4, border=4)
        image.paste(Image.open(code).convert("RGB"), (0, 330))
    return encoded(image, **options)


def heap(folder: Path, lifts: int = 3) -> Path:
    """Lifts in folders of two photos each, one of which shows the box and one the motor end; and a file of notes."""
    for number in range(lifts):
        lift = folder / f"ward {number % 2}" / f"lift {number:02d}"
        lift.mkdir(parents=True)
        (lift / "box.jpg").write_bytes(photo(BOX, shade=number))
        (lift / "head.jpg").write_bytes(photo(HEAD, shade=number))
    (folder / "notes.txt").write_text("no photo", encoding="utf-8")
    return folder


class Here:
    """`Workers` in this process. `before` sees each piece first, and may raise or say that the worker is lost."""

    before: Callable[[Any], bool | None] = staticmethod(lambda piece: None)

    def __init__(self, begin: Callable, number: int) -> None:
        self._work, self.free, self._piece = begin(), 1, None

    def submit(self, ticket: int, piece: Any) -> None:
        self.free, self._piece = 0, (ticket, piece)

    def wait(self) -> Ended:
        self.free = 1
        ticket, piece = self._piece
        return Ended(ticket, lost=True) if self.before(piece) else Ended(ticket, self._work(piece))

    def close(self) -> None:
        pass


def rows(path: Path) -> list[dict]:
    """The rows of a Parquet file, maps as objects."""
    return parquet.read_table(path).to_pylist(maps_as_pydicts="strict")
