"""Store what the shipped networks say of one committed photo: `python -m tests.golden`, after new weights only.

`photo.jpg` is the photo, `tensors.npz` what the networks were shown of it, `logits.json` what they said.
"""

import json
import shutil
from pathlib import Path

import numpy as np

from classifier.finder import letterbox
from classifier.identify import WEIGHTS_DIR
from classifier.model import Model
from classifier.photo import PhotoLimits, open_photo
from classifier.reader import FEATURES
from tests.golden import sure_boxes

HERE = Path(__file__).parent
SAMPLES = HERE.parents[1] / "synthetic_samples" / "samples" / "images"


def main() -> None:
    """Take the first sample photo in which the finder finds a control box and an actuator head."""
    model = Model.load(WEIGHTS_DIR)
    for path in sorted(SAMPLES.glob("*.jpg")):
        photo = open_photo(path.read_bytes(), path.name, PhotoLimits())
        found = sure_boxes(model, photo)
        if {"control_box", "actuator_head"} <= {f.kind for f in found}:
            break
    else:
        raise SystemExit("no sample photo shows both a control box and an actuator head")
    shutil.copyfile(path, HERE / "photo.jpg")
    square, _ = letterbox(photo.reduced(model.finder.recipe.input_px), model.finder.recipe.input_px)
    windows = np.stack([window for f in found for window in model.reader.windows(photo, f)])
    np.savez_compressed(HERE / "tensors.npz", square=square, windows=windows)
    said = model.reader(photo, found)
    logits = [{head: values.tolist() for head, values in row.items() if head != FEATURES} for row in said]
    stored = {
        "model": model.info.sha256,
        "found": [{"kind": f.kind, "box": f.box, "probability": f.probability} for f in found],
        "logits": logits,
    }
    (HERE / "logits.json").write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
