"""From a photo to the finder's square, and from its maps back to boxes."""

import numpy as np
import pytest
import torch
from hypothesis import given
from hypothesis import strategies as st
from torchvision.ops import box_iou

from classifier.finder import MOST_FOUND, decode, letterbox, overlap
from classifier.taxonomy import SUBJECTS

THRESHOLDS = dict.fromkeys(SUBJECTS, 0.5)
FRACTION = st.floats(0, 1)


def maps(*peaks: tuple[int, int, int, float, tuple[float, float, float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Heat and distances with peaks at (kind, row, column, logit, left-top-right-bottom in strides)."""
    heat, ltrb = np.full((4, 40, 40), -8.0, np.float32), np.ones((4, 40, 40), np.float32)
    for kind, row, column, logit, distances in peaks:
        heat[kind, row, column] = logit
        ltrb[:, row, column] = distances
    return heat, ltrb


def decoded(heat: np.ndarray, ltrb: np.ndarray, shape: tuple[int, int] = (320, 320), thresholds=None) -> list:
    _, box = letterbox(np.zeros((*shape, 3), np.uint8), 320)
    return decode(heat, ltrb, box, 8, SUBJECTS, 1.0, thresholds or THRESHOLDS)


def test_a_wide_photo_lies_in_the_middle_on_grey() -> None:
    square, box = letterbox(np.full((100, 200, 3), 255, np.uint8), 320)
    assert square.shape == (3, 320, 320)
    assert square.dtype == np.float32
    assert (box.left, box.top, box.width, box.height) == (0, 80, 320, 160)
    assert np.all(square[:, 80:240] == 1.0)
    assert np.all(np.abs(square[:, :80]) < 0.005)


@given(width=st.integers(1, 4000), height=st.integers(1, 4000), a=FRACTION, b=FRACTION, c=FRACTION, d=FRACTION)
def test_fractions_to_pixels_and_back(width: int, height: int, a: float, b: float, c: float, d: float) -> None:
    _, fitted = letterbox(np.zeros((min(height, 600), min(width, 600), 3), np.uint8), 320)
    box = (min(a, b), min(c, d), max(a, b), max(c, d))
    assert fitted.to_fractions(*fitted.to_pixels(box)) == pytest.approx(box, abs=1e-9)


def test_what_is_no_photo_array_is_refused() -> None:
    with pytest.raises(ValueError, match=r"uint8 \(H, W, 3\) is wanted, float64 \(4, 4\) came"):
        letterbox(np.zeros((4, 4)), 320)


def test_a_peak_becomes_a_box_around_its_cell_centre() -> None:
    (found,) = decoded(*maps((1, 10, 20, 3.0, (2, 3, 4, 5))))
    # Cell (row 10, column 20) has its centre at x 164, y 84; distances are in strides of 8.
    assert found.kind == SUBJECTS[1]
    assert found.box == pytest.approx(((164 - 16) / 320, (84 - 24) / 320, (164 + 32) / 320, (84 + 40) / 320))
    assert found.probability == pytest.approx(1 / (1 + np.exp(-3.0)))


def test_a_box_is_given_in_fractions_of_the_photo_and_clipped_to_it() -> None:
    (found,) = decoded(*maps((0, 20, 0, 3.0, (4, 50, 4, 50))), shape=(160, 320))
    assert found.box[0] == 0.0
    assert found.box[1:] == pytest.approx((0.0, (4 + 32) / 320, 1.0))


def test_each_kind_has_its_own_threshold() -> None:
    heat, ltrb = maps((0, 5, 5, 0.3, (3,) * 4), (2, 30, 30, 0.3, (3,) * 4))
    strict = {**THRESHOLDS, SUBJECTS[0]: 0.9}
    assert [f.kind for f in decoded(heat, ltrb, thresholds=strict)] == [SUBJECTS[2]]


def test_a_hill_is_one_peak_and_a_twin_nearby_is_the_same_thing() -> None:
    hill = maps((0, 10, 10, 4.0, (5,) * 4), (0, 10, 11, 3.0, (5,) * 4), (0, 11, 10, 3.5, (5,) * 4))
    assert len(decoded(*hill)) == 1
    twins = maps((0, 10, 10, 4.0, (5,) * 4), (0, 10, 12, 3.0, (5,) * 4))
    assert len(decoded(*twins)) == 1
    apart = maps((0, 10, 10, 4.0, (5,) * 4), (0, 10, 30, 3.0, (5,) * 4))
    assert [round(f.box[0] * 320) for f in decoded(*apart)] == [44, 204]


def test_two_kinds_at_one_place_both_stay_for_the_reader() -> None:
    assert len(decoded(*maps((0, 10, 10, 4.0, (5,) * 4), (3, 10, 10, 3.0, (5,) * 4)))) == 2


def test_never_more_than_a_photo_can_hold() -> None:
    many = maps(*((0, r, c, 2.0, (0.4,) * 4) for r in range(1, 40, 4) for c in range(1, 40, 4)))
    assert len(decoded(*many)) == MOST_FOUND


def test_maps_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match=r"heat \(4, h, w\) and ltrb \(4, h, w\) are wanted"):
        decoded(np.zeros((3, 40, 40)), np.zeros((4, 40, 40)))


def test_a_higher_temperature_lowers_a_sure_peak() -> None:
    heat, ltrb = maps((0, 5, 5, 4.0, (3,) * 4))
    _, box = letterbox(np.zeros((320, 320, 3), np.uint8), 320)
    hot = decode(heat, ltrb, box, 8, SUBJECTS, 2.0, THRESHOLDS)[0].probability
    assert hot == pytest.approx(1 / (1 + np.exp(-2.0)))


@given(st.lists(st.tuples(FRACTION, FRACTION, FRACTION, FRACTION), min_size=2, max_size=2))
def test_overlap_is_torchvisions(corners: list) -> None:
    boxes = [(min(a, b), min(c, d), max(a, b) + 0.01, max(c, d) + 0.01) for a, b, c, d in corners]
    want = float(box_iou(*(torch.tensor([b], dtype=torch.float64) for b in boxes))[0, 0])
    assert overlap(*boxes) == pytest.approx(want, abs=1e-9)
