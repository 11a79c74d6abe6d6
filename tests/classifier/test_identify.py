"""The whole way from bytes to a reading, with networks that follow a rule (see tests/support/toy_networks.py)."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from classifier.errors import WeightsAltered, WeightsMalformed, WeightsMissing
from classifier.finder import Found, overlap
from classifier.identify import Model, PhotoReading, read_photo
from classifier.photo import EXIF_ORIENTATION, PhotoLimits, open_photo
from classifier.reader import Reader, square_window
from classifier.recipe import KINDS, View
from classifier.taxonomy import CONCEPTS_OF, NOT_VISIBLE
from tests.golden import sure_boxes
from tests.support.encoded_photos import encoded_heic, stored
from tests.support.toy_networks import blob_photo, encoded

BOX = ("control_box", (0.3, 0.4), 0.3, {"black": "above", "white": "left"})
HEAD = ("actuator_head", (0.75, 0.6), 0.2, {"black": "right"})
LOOK_ALIKE = ("look_alike", (0.75, 0.2), 0.15, {})
SCENE = blob_photo(BOX, HEAD, LOOK_ALIKE)


def read(data: bytes, model: Model) -> PhotoReading:
    return read_photo(data, "photo.jpg", model, PhotoLimits())


def likeliest(reading: PhotoReading) -> dict[str, dict[str, str]]:
    return {
        s.kind: {c: max(r.probabilities, key=r.probabilities.__getitem__) for c, r in s.concepts.items()}
        for s in reading.subjects
    }


def test_subjects_are_found_and_each_concept_is_read(toy_model: Model) -> None:
    reading = read(encoded(SCENE), toy_model)
    assert likeliest(reading) == {
        "control_box": {
            "stop_position": "top", "battery": "hung_pack",
            "service_buttons": NOT_VISIBLE, "charge_display": NOT_VISIBLE,
        },
        "actuator_head": {"lowering": "pull_twist_knob"},
    }  # fmt: skip
    box = reading.subjects[0].box
    assert (
        overlap(box, (0.3 - 0.15, 0.4 - 0.2, 0.3 + 0.15, 0.4 + 0.2)) > 0.8
    )  # the toy finder is no finer than its cells


def test_probabilities_sum_to_one_and_the_set_holds_the_likeliest(toy_model: Model) -> None:
    for subject in read(encoded(SCENE), toy_model).subjects:
        assert tuple(subject.concepts) == tuple(CONCEPTS_OF[subject.kind])
        for concept, reading in subject.concepts.items():
            assert tuple(reading.probabilities) == (*CONCEPTS_OF[subject.kind][concept], NOT_VISIBLE)
            assert sum(reading.probabilities.values()) == pytest.approx(1.0)
            assert reading.prediction_set[0] == max(reading.probabilities, key=reading.probabilities.__getitem__)


def test_a_look_alike_is_turned_down_by_the_reader(toy_model: Model) -> None:
    assert read(encoded(blob_photo(LOOK_ALIKE)), toy_model).subjects == ()


def test_a_photo_of_nothing_has_no_subjects(toy_model: Model) -> None:
    noise = np.random.default_rng(3).integers(90, 170, (480, 640, 3), dtype=np.uint8)
    reading = read(encoded(Image.fromarray(noise)), toy_model)
    assert reading.quality.usable
    assert reading.subjects == ()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_all_exif_orientations_read_like_the_upright_photo(orientation: int, toy_model: Model) -> None:
    """CIPA DC-008, tag 0x0112: a viewer turns the stored picture; see the table in test_photo.py."""
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = orientation
    turned = Image.fromarray(stored(np.asarray(SCENE), orientation))
    came, want = read(encoded(turned, exif=exif), toy_model), read(encoded(SCENE), toy_model)
    assert (came.width, came.height) == (want.width, want.height)
    assert_same_reading(came, want)


def test_a_turned_heic_reads_like_the_upright_photo(toy_model: Model) -> None:
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 8
    came = read(encoded_heic(stored(np.asarray(SCENE), 8), exif.tobytes()), toy_model)
    assert_same_reading(came, read(encoded(SCENE), toy_model))


def assert_same_reading(came: PhotoReading, want: PhotoReading) -> None:
    assert likeliest(came) == likeliest(want)
    for a, b in zip(came.subjects, want.subjects, strict=True):
        assert a.box == pytest.approx(b.box, abs=0.036)  # one cell of the toy finder
        assert a.probability == pytest.approx(b.probability, abs=0.03)
        for concept in a.concepts:
            assert a.concepts[concept].probabilities == pytest.approx(b.concepts[concept].probabilities, abs=0.1)


def test_a_photo_that_fails_the_gate_is_not_shown_to_the_networks(toy_model: Model) -> None:
    reading = read(encoded(Image.new("RGB", (1, 1))), toy_model)
    assert (reading.width, reading.height) == (1, 1)
    assert not reading.quality.usable
    assert reading.quality.problems == ("too_small",)
    assert reading.subjects == ()


def test_a_large_photo_reads_like_the_small_one(toy_model: Model) -> None:
    large = SCENE.resize((4032, 3024), Image.Resampling.NEAREST)
    assert_same_reading(read(encoded(large), toy_model), read(encoded(SCENE), toy_model))


def test_the_window_is_square_in_pixels() -> None:
    left, top, right, bottom = square_window((0.4, 0.4, 0.6, 0.5), 1000, 500, 0.15)
    assert (right - left) * 1000 == pytest.approx(200 * 1.3)
    assert (bottom - top) * 500 == pytest.approx(200 * 1.3)
    assert ((left + right) / 2, (top + bottom) / 2) == pytest.approx((0.5, 0.45))


def test_the_reader_answers_the_mean_of_its_views(toy_model: Model) -> None:
    photo = open_photo(encoded(SCENE), "scene.jpg", PhotoLimits())
    found = sure_boxes(toy_model, photo)[:1]
    views = (View(margin=0.06, mirrored=False), View(margin=0.0, mirrored=True))
    one, other, both = (replace(toy_model.reader, recipe=toy_model.reader.recipe.with_(views=seen))(photo, found)[0]
                        for seen in (views[:1], views[1:], views))  # fmt: skip
    assert not np.allclose(one["kind"], other["kind"], atol=1e-4)
    for head in one:
        assert np.allclose(both[head], (one[head] + other[head]) / 2, atol=1e-6)


class _Says:
    """A reader's session that takes every window for one kind and counts them."""

    def __init__(self, session, kind: str) -> None:
        self.session, self.kind, self.asked = session, kind, 0

    def get_inputs(self) -> list:
        return self.session.get_inputs()

    def run(self, heads: list[str], fed: dict) -> list[np.ndarray]:
        self.asked += 1
        told = dict(zip(heads, self.session.run(heads, fed), strict=True))
        told["kind"] = np.eye(len(KINDS), dtype=np.float32)[[KINDS.index(self.kind)]]
        return [told[head] for head in heads]


@pytest.mark.parametrize(("found_as", "read_as", "windows"), [
    ("control_box", "control_box", 2), ("actuator_head", "actuator_head", 2), ("control_box", "other", 1),
    ("actuator_head", "control_box", 1), ("charger", "charger", 1), ("hand_control", "hand_control", 1),
])  # fmt: skip
def test_a_view_that_is_there_to_read_is_left_out_where_nothing_is_read(
    found_as: str, read_as: str, windows: int, toy_model: Model
) -> None:
    photo = open_photo(encoded(SCENE), "scene.jpg", PhotoLimits())
    views = (View(margin=0.2, mirrored=False), View(margin=0.0, mirrored=True, to_read=True))
    session = _Says(toy_model.reader.session, read_as)
    reader = Reader(session, toy_model.reader.recipe.with_(views=views))
    read = reader(photo, [Found(found_as, (0.2, 0.2, 0.8, 0.8), 0.9)])
    assert session.asked == windows and len(read) == 1


def test_a_mirrored_view_sees_the_same_window_turned_round(toy_model: Model) -> None:
    photo = open_photo(encoded(SCENE), "scene.jpg", PhotoLimits())
    views = (View(margin=0.1, mirrored=False), View(margin=0.1, mirrored=True))
    reader = replace(toy_model.reader, recipe=toy_model.reader.recipe.with_(views=views))
    plain, mirrored = reader.windows(photo, sure_boxes(toy_model, photo)[0])
    assert np.array_equal(plain[:, :, ::-1], mirrored)


@pytest.fixture
def own_copy(toy_model_dir: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(toy_model_dir, tmp_path / "weights"))


@pytest.mark.parametrize("name", ["model.json", "finder.onnx", "reader.onnx"])
def test_a_missing_file_is_named(name: str, own_copy: Path) -> None:
    (own_copy / name).unlink()
    with pytest.raises(WeightsMissing, match=name):
        Model.load(own_copy)


@pytest.mark.parametrize("name", ["finder.onnx", "reader.onnx"])
def test_one_changed_bit_is_noticed_and_named(name: str, own_copy: Path) -> None:
    data = bytearray((own_copy / name).read_bytes())
    data[len(data) // 2] ^= 1
    (own_copy / name).write_bytes(bytes(data))
    with pytest.raises(WeightsAltered, match=rf"{name} has SHA-256 [0-9a-f]{{64}}, model.json says"):
        Model.load(own_copy)


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (["schema_version"], "1", "schema_version is 1, 6 is wanted: another version of this project wrote it"),
        (["finder", "kinds"], ["charger"], "kinds is .* is wanted"),
        (["reader", "concepts", "battery", "values"], ["built_in", "not_visible"], "concepts.battery.values is"),
        (["reader", "concepts", "battery", "set_thresholds"], {"built_in": 0.9}, "battery.set_thresholds is"),
        (["reader", "concepts", "battery", "offsets"], {"built_in": 0.9}, "battery.offsets is"),
        (["reader", "concepts", "battery", "offsets"], None, "reader.concepts.battery.offsets: Field required"),
        (["reader", "concepts", "battery", "pairwise"], 0.5, "no two of its values are left open"),
        (["reader", "concepts", "battery"], None, "concepts is"),
        (["reader", "kind_temperature"], 0, "reader.kind_temperature: Input should be greater than 0"),
        (["reader", "views"], None, "reader.views: Field required"),
        (["reader", "views"], [], "reader.views: Tuple should have at least 1 item"),
        (["reader", "views"], [{"margin": 0.1}], "reader.views.0.mirrored: Field required"),
        (["reader", "views"], [{"margin": 0.1, "mirrored": False, "to_read": True}], "the first of views is to_read"),
        (["finder", "stride"], None, "finder.stride: Field required"),
        (["reader", "correlation"], None, "reader.correlation: Field required"),
        (["in_distribution"], None, "in_distribution: Field required"),
        (["in_distribution", "score"], "by_eye", "in_distribution.score: Extra inputs are not permitted"),
        (["in_distribution", "weights"], [0, 1], "in_distribution.weights.2: Field required"),
        (["in_distribution", "thresholds"], {"charger": 0.5}, "thresholds is"),
        (["version"], None, "version: Field required"),
    ],
)
def test_metadata_of_another_vocabulary_is_refused(path: list[str], value: object, told: str, own_copy: Path) -> None:
    metadata = json.loads((own_copy / "model.json").read_text())
    inner = metadata
    for key in path[:-1]:
        inner = inner[key]
    if value is None:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    (own_copy / "model.json").write_text(json.dumps(metadata))
    with pytest.raises(WeightsMalformed, match=told):
        Model.load(own_copy)


def test_metadata_that_is_no_json_is_refused(own_copy: Path) -> None:
    (own_copy / "model.json").write_text("{")
    with pytest.raises(WeightsMalformed, match="no JSON"):
        Model.load(own_copy)
