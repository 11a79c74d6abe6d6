"""What is drawn on a photo."""

import numpy as np
from PIL import Image

from api.cases.photos import CasePhoto
from api.overlay import LINE_OF_KIND, LONGEST_SIDE_PX, PAPER, draw_overlay
from api.pages.caregiver.told import _marked
from api.pages.languages import SOURCE, load_languages
from classifier.identify import ConceptReading, Model, PhotoReading, Quality, SubjectReading, read_photo
from classifier.photo import EXIF_ORIENTATION, PhotoLimits
from classifier.taxonomy import CONCEPTS, SUBJECTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.guidance.lifts import ask
from tests.support.toy_networks import blob_photo, encoded

LIMITS = PhotoLimits()


def drawn(image: Image.Image, model: Model, **options: object) -> Image.Image:
    data = encoded(image, **options)
    return draw_overlay(data, read_photo(data, "photo", model, LIMITS), LIMITS)


def share_of(image: Image.Image, colour: tuple[int, int, int]) -> float:
    return float((np.asarray(image) == colour).all(axis=2).mean())


def test_every_kind_has_a_line_of_its_own() -> None:
    assert set(LINE_OF_KIND) == set(SUBJECTS)
    assert len(set(LINE_OF_KIND.values())) == len(SUBJECTS)


def test_only_what_was_found_is_outlined(toy_model: Model) -> None:
    image = drawn(blob_photo(("control_box", (0.3, 0.5), 0.3, {}), ("look_alike", (0.8, 0.5), 0.2, {})), toy_model)
    assert share_of(image, LINE_OF_KIND["control_box"]) > 0.002
    assert share_of(image, LINE_OF_KIND["actuator_head"]) == 0
    assert share_of(image, PAPER) > 0.01


def test_a_turned_photo_is_drawn_upright_and_large_ones_are_shrunk(toy_model: Model) -> None:
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 6
    image = drawn(blob_photo(("charger", (0.5, 0.5), 0.3, {}), size_wh=(2000, 1500)), toy_model, exif=exif)
    assert image.size == (LONGEST_SIDE_PX * 3 // 4, LONGEST_SIDE_PX)
    assert not image.getexif()


def test_a_photo_of_nothing_says_so(toy_model: Model) -> None:
    plain = Image.effect_noise((640, 480), 30).convert("RGB")
    assert share_of(drawn(plain, toy_model), PAPER) > share_of(plain, PAPER)


def test_labels_of_crowded_subjects_do_not_cover_each_other() -> None:
    data = encoded(Image.new("RGB", (640, 480), (90, 90, 90)))
    crowd = tuple(SubjectReading(kind, (0.4, 0.4, 0.6, 0.6), 0.9, {}) for kind in SUBJECTS)

    def paper(*subjects: SubjectReading) -> float:
        return share_of(draw_overlay(data, PhotoReading("p", 640, 480, Quality(True, ()), subjects), LIMITS), PAPER)

    outline = 2 * 2 * (132 + 100) / (640 * 480)  # the white line, 2 px wide, around the box that all four share
    assert paper(*crowd) > sum(map(paper, crowd)) - (len(crowd) - 1) * outline * 1.05


def test_a_long_label_is_wrapped_to_a_narrow_photo_and_whole() -> None:
    reading = ConceptReading(dict.fromkeys(CONCEPTS["lowering"], 0.25), tuple(CONCEPTS["lowering"]))
    subject = SubjectReading("actuator_head", (0.5, 0.6, 0.9, 0.7), 0.9, {"lowering": reading})
    data = encoded(Image.new("RGB", (240, 480), (90, 90, 90)))
    image = draw_overlay(data, PhotoReading("p", 240, 480, Quality(True, ()), (subject,)), LIMITS)
    rows, columns = np.nonzero((np.asarray(image) == LINE_OF_KIND["actuator_head"]).all(axis=2)[:280])
    height = np.ptp(rows)
    assert height > 4 * 13  # several lines of thirteen pixels, where unwrapped there were two
    assert [(columns == edge).sum() > 0.9 * height for edge in (columns.min(), columns.max())] == [True, True]


def test_a_label_hides_nothing_that_was_found_where_there_is_room() -> None:
    subject = SubjectReading("control_box", (0.3, 0.02, 0.6, 0.5), 0.9, {})
    data = encoded(Image.new("RGB", (640, 480), (90, 90, 90)))
    image = draw_overlay(data, PhotoReading("p", 640, 480, Quality(True, ()), (subject,)), LIMITS)
    assert share_of(image.crop((200, 20, 380, 230)), PAPER) == 0


def test_the_number_of_a_part_at_the_very_edge_stays_whole() -> None:
    corners = ((0.0, 0.0, 0.4, 0.4), (0.98, 0.99, 1.0, 1.0), (0.5, 0.5, 0.7, 0.7))
    subjects = tuple(SubjectReading("charger", corner, 0.9, {}) for corner in corners)
    reading, catalogue = PhotoReading("p", 480, 640, Quality(True, ()), subjects), load(DEMO_CATALOGUE)
    head = ask(catalogue, [reading]).actuator
    shown = _marked(CasePhoto("a", reading), True, head, catalogue, load_languages()[SOURCE])
    for mark in shown.marks:
        assert shown.disc <= mark.disc_x <= shown.width - shown.disc
        assert shown.disc <= mark.disc_y <= shown.height - shown.disc
    inner = shown.marks[2]
    assert (inner.disc_x, inner.disc_y) == (inner.x, inner.y)
