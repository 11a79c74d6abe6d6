"""The pictures of a manifest: decoded once and held on the device that trains."""

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import torch

from classifier.photo import MID_GREY
from synthetic_samples.render.part_maps import PARTS, REDUCTION
from training.data.manifest import DatasetError, Record

UNKNOWN_PART = len(PARTS)
"""What stands in the part map of a picture that came with none."""


def load_bank(
    records: Sequence[Record],
    canvas_px: int,
    device: torch.device,
    workers: int,
    clean: float = 0.0,
) -> "PictureBank":
    """The pictures of these records on the smallest canvas that holds them all.

    The share `clean` of those that have a twin without the phone's camera pipeline are the twin.
    """
    largest = max(max(record.width, record.height) for record in records)
    paths = [record.path for record in records]
    twins = [at for at, record in enumerate(records) if record.clean_path]
    for count, at in enumerate(twins):
        if int(clean * (count + 1)) > int(clean * count):
            paths[at] = records[at].clean_path
    maps = [record.parts_path for record in records]
    return PictureBank(paths, min(canvas_px, largest), device, workers, maps)


class PictureBank:
    """Decoded pictures on one device, each at the top left of a grey square canvas.

    `pixels` is uint8 (N, 3, canvas, canvas); `sizes_wh` float32 (N, 2) is each picture's size on its canvas, in pixels;
    `parts` is uint8 (N, canvas / 4, canvas / 4), an index into `PARTS`, or `UNKNOWN_PART` where there is no part map.
    """

    def __init__(
        self,
        paths: Sequence[Path],
        canvas_px: int,
        device: torch.device,
        workers: int,
        part_paths: Sequence[Path | None] | None = None,
    ) -> None:
        if not paths:
            raise DatasetError("no pictures to load: the list of files is empty")
        self.canvas_px = canvas_px
        self.device = device
        spots = -(-canvas_px // REDUCTION)
        self.pixels = torch.full((len(paths), 3, canvas_px, canvas_px), MID_GREY, dtype=torch.uint8, device=device)
        self.parts = torch.full((len(paths), spots, spots), UNKNOWN_PART, dtype=torch.uint8, device=device)
        self.sizes_wh = np.zeros((len(paths), 2), np.float32)
        maps = list(part_paths or [None] * len(paths))
        started, chunk = time.monotonic(), 64 * workers
        with ThreadPoolExecutor(workers) as pool:
            for start in range(0, len(paths), chunk):
                self._load(start, paths[start : start + chunk], maps[start : start + chunk], pool)
        taught = len(maps) - maps.count(None)
        print(
            f"{len(paths)} pictures decoded in {time.monotonic() - started:.0f} s, {taught} with a part map", flush=True
        )

    def _load(self, start: int, paths: Sequence[Path], maps: Sequence[Path | None], pool: ThreadPoolExecutor) -> None:
        block = np.full((len(paths), self.canvas_px, self.canvas_px, 3), MID_GREY, np.uint8)
        parts = np.full((len(paths), *self.parts.shape[1:]), UNKNOWN_PART, np.uint8)

        def place(offset: int) -> None:
            rgb = load_upright(paths[offset], self.canvas_px)
            height, width = rgb.shape[:2]
            block[offset, :height, :width] = rgb
            self.sizes_wh[start + offset] = width, height
            if maps[offset]:
                parts[offset] = 0  # beside a picture there is nothing
                spots = load_part_map(maps[offset], width, height)
                parts[offset, : spots.shape[0], : spots.shape[1]] = spots

        list(pool.map(place, range(len(paths))))
        moved = torch.from_numpy(block).to(self.device)  # (n, canvas, canvas, 3)
        self.pixels[start : start + len(paths)] = moved.permute(0, 3, 1, 2)
        self.parts[start : start + len(paths)] = torch.from_numpy(parts).to(self.device)

    def __len__(self) -> int:
        return len(self.sizes_wh)


def load_upright(path: Path, largest_px: int) -> np.ndarray:
    """One picture as uint8 (height, width, 3), turned upright, reduced where a side is longer than `largest_px`.

    By OpenCV, which lets other threads decode meanwhile.
    """
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)  # turns it by its EXIF orientation
    if picture is None:
        raise DatasetError(f"{path}: not a readable picture; render it again or remove its line")
    height, width = picture.shape[:2]
    scale = largest_px / max(height, width)
    if scale < 1:
        size = max(1, round(width * scale)), max(1, round(height * scale))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)


def load_part_map(path: Path, width: int, height: int) -> np.ndarray:
    """The part map of a picture that is now `width` by `height`: uint8, a quarter of that rounded up."""
    spots = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if spots is None:
        raise DatasetError(f"{path}: not a readable part map; render it again")
    if spots.ndim != 2 or spots.max() >= len(PARTS):
        raise DatasetError(f"{path}: a part map is one channel of numbers under {len(PARTS)}; render it again")
    wanted = (-(-width // REDUCTION), -(-height // REDUCTION))
    return spots if spots.shape[::-1] == wanted else cv2.resize(spots, wanted, interpolation=cv2.INTER_NEAREST_EXACT)
