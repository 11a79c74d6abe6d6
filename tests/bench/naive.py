"""The naive route that `make bench` compares with: the same networks in eager torch, fed from the photo decoded whole.

`python -m tests.bench.naive PHOTO CHECKPOINT BOXES` reads the photo once for each line that comes in and prints the
seconds that it took. BOXES are the subjects that our own route found there, so that both read the same windows.
"""

import io
import json
import sys
import time
from pathlib import Path

import numpy as np
import torch
from PIL import Image, ImageOps

from classifier.finder import letterbox, normalise
from classifier.identify import WEIGHTS_DIR
from classifier.photo import cut_window
from classifier.reader import square_window
from classifier.recipe import Recipe
from training.nets.model import new_network

RECIPE, _ = Recipe.read(WEIGHTS_DIR)  # the sizes and views that are served


def save_checkpoint(path: Path) -> None:
    """Both networks with random weights: they take the same time as learned ones."""
    torch.manual_seed(0)
    torch.save({task: new_network(task, pretrained=False).state_dict() for task in ("finder", "reader")}, path)


def load_networks(path: Path) -> dict[str, torch.nn.Module]:
    """Both networks, ready to run."""
    states = torch.load(path, map_location="cpu", weights_only=True)
    networks = {task: new_network(task, pretrained=False).eval() for task in states}
    for task, network in networks.items():
        network.load_state_dict(states[task])
    return networks


@torch.inference_mode()
def read(data: bytes, boxes: list, networks: dict[str, torch.nn.Module]) -> None:
    """Decode the photo whole, run the finder on it and the reader on windows of the full picture."""
    image = ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")
    pixels, _ = letterbox(np.asarray(image), RECIPE.finder.input_px)
    networks["finder"](torch.from_numpy(pixels)[None])
    windows = [_window(image, box, view.margin, view.mirrored) for box in boxes for view in RECIPE.reader.views]
    if windows:
        networks["reader"](torch.from_numpy(np.stack(windows)))


def _window(image: Image.Image, box: list, margin: float, mirrored: bool) -> np.ndarray:
    square = square_window(box, image.width, image.height, margin)
    pixels = normalise(cut_window(image, square, RECIPE.reader.input_px), 0.5, 0.5)
    return np.ascontiguousarray(pixels[:, :, ::-1]) if mirrored else pixels


def main(photo: str, checkpoint: str, boxes: str) -> None:
    """Load everything once, then read the photo whenever a line comes in."""
    networks = load_networks(Path(checkpoint))
    for _ in sys.stdin:
        started = time.perf_counter()
        read(Path(photo).read_bytes(), json.loads(boxes), networks)
        print(time.perf_counter() - started, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
