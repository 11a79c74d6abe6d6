"""The pictures of a manifest: decoded once and held on the device that trains."""

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import torch
from PIL import Image, ImageOps

from classifier.photo import MID_GREY
from training.manifest import DatasetError, Record


def load_bank(
    records: Sequence[Record], canvas_px: int, device: torch.device, workers: int, clean: bool = False
) -> "PictureBank":
    """The pictures of these records, or their clean twins, on the smallest canvas that holds them all."""
    largest = max(max(record.width, record.height) for record in records)
    paths = [record.clean_path if clean else record.path for record in records]
    if None in paths:
        raise DatasetError(
            "some pictures have no clean twin; render them with --keep-clean, or leave these records out"
        )
    return PictureBank(paths, min(canvas_px, largest), device, workers)


class PictureBank:
    """Decoded pictures on one device, each at the top left of a grey square canvas.

    `pixels` is uint8 (N, 3, canvas, canvas); `sizes_wh` float32 (N, 2) is each picture's size on its canvas, in pixels.
    """

    def __init__(self, paths: Sequence[Path], canvas_px: int, device: torch.device, workers: int) -> None:
        if not paths:
            raise DatasetError("no pictures to load: the list of files is empty")
        self.canvas_px = canvas_px
        self.device = device
        self.pixels = torch.full((len(paths), 3, canvas_px, canvas_px), MID_GREY, dtype=torch.uint8, device=device)
        self.sizes_wh = np.zeros((len(paths), 2), np.float32)
        started, chunk = time.monotonic(), 64 * workers
        with ThreadPoolExecutor(workers) as pool:
            for start in range(0, len(paths), chunk):
                self._load(start, paths[start : start + chunk], pool)
        print(f"{len(paths)} pictures decoded in {time.monotonic() - started:.0f} s", flush=True)

    def _load(self, start: int, paths: Sequence[Path], pool: ThreadPoolExecutor) -> None:
        block = np.full((len(paths), self.canvas_px, self.canvas_px, 3), MID_GREY, np.uint8)

        def place(offset: int) -> None:
            rgb = load_upright(paths[offset], self.canvas_px)
            height, width = rgb.shape[:2]
            block[offset, :height, :width] = rgb
            self.sizes_wh[start + offset] = width, height

        list(pool.map(place, range(len(paths))))
        moved = torch.from_numpy(block).to(self.device)  # (n, canvas, canvas, 3)
        self.pixels[start : start + len(paths)] = moved.permute(0, 3, 1, 2)

    def __len__(self) -> int:
        return len(self.sizes_wh)


def load_upright(path: Path, largest_px: int) -> np.ndarray:
    """One picture as uint8 (height, width, 3), turned upright, reduced where a side is longer than `largest_px`."""
    try:
        with Image.open(path) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except OSError as problem:
        raise DatasetError(f"{path}: not a readable picture ({problem}); render it again or remove its line") from None
    if max(picture.size) > largest_px:
        picture.thumbnail((largest_px, largest_px), Image.Resampling.BOX)
    return np.asarray(picture)
