"""The networks that are shipped: small, whole, and saying today what they said when they were exported."""

import json
from pathlib import Path

import numpy as np
import pytest

from classifier.identify import WEIGHTS_DIR, Model
from classifier.photo import PhotoLimits, open_photo
from classifier.taxonomy import CONCEPTS_OF
from tests.golden import sure_boxes

GOLDEN = Path(__file__).parents[1] / "golden"
MOST_BYTES = 20_000_000
ROUNDING = 1e-3
"""Another processor or runtime adds in another order; logits are of the order of 10."""

RECODING = 0.5
"""Another JPEG decoder moves pixels by a few steps in 255, and with them the logits."""


@pytest.fixture(scope="module")
def shipped() -> Model:
    return Model.load(WEIGHTS_DIR)


@pytest.fixture(scope="module")
def golden() -> dict:
    return json.loads((GOLDEN / "logits.json").read_text("utf-8"))


def test_all_weights_together_are_small() -> None:
    assert sum(path.stat().st_size for path in WEIGHTS_DIR.iterdir()) <= MOST_BYTES


def test_metadata_says_where_the_weights_come_from(shipped: Model) -> None:
    made = shipped.recipe.provenance
    assert made.git_revision and made.backbone and made.pictures["training"].manifest_sha256
    assert shipped.info.trained_on["synthetic"] > 0
    assert shipped.info.trained_on["owned_photos"] == 0


def test_the_stored_logits_belong_to_these_weights(shipped: Model, golden: dict) -> None:
    assert golden["model"] == shipped.info.sha256, (
        "run `python -m tests.golden` after new weights, and look at the diff"
    )


def test_sessions_know_the_size_of_what_they_are_shown(shipped: Model) -> None:
    for network in (shipped.finder, shipped.reader):
        assert network.session.get_inputs()[0].shape == [1, 3, network.recipe.input_px, network.recipe.input_px]


def test_from_the_stored_tensors_the_logits_are_the_same(shipped: Model, golden: dict) -> None:
    with np.load(GOLDEN / "tensors.npz") as tensors:
        windows = tensors["windows"]
    name = shipped.reader.session.get_inputs()[0].name
    views = windows.reshape(len(golden["logits"]), -1, *windows.shape[1:])  # so many at each thing that was found
    for each, found, want in zip(views, golden["found"], golden["logits"], strict=True):
        read = [window for window, view in zip(each, shipped.reader.recipe.views, strict=True)
                if CONCEPTS_OF.get(found["kind"]) or not view.to_read]  # fmt: skip
        came = [shipped.reader.session.run(list(want), {name: window[None]}) for window in read]
        for number, logits in enumerate(want.values()):
            assert np.mean([view[number][0] for view in came], axis=0) == pytest.approx(logits, abs=ROUNDING)


def test_from_the_stored_photo_the_reading_is_nearly_the_same(shipped: Model, golden: dict) -> None:
    photo = open_photo((GOLDEN / "photo.jpg").read_bytes(), "photo.jpg", PhotoLimits())
    found = sure_boxes(shipped, photo)
    assert [f.kind for f in found] == [f["kind"] for f in golden["found"]]
    for f, want in zip(found, golden["found"], strict=True):
        assert f.box == pytest.approx(want["box"], abs=0.01)
        assert f.probability == pytest.approx(want["probability"], abs=0.05)
    for came, want in zip(shipped.reader(photo, found), golden["logits"], strict=True):
        for head, logits in want.items():
            assert came[head] == pytest.approx(logits, abs=RECODING)
