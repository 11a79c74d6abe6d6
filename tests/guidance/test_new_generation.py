"""A generation that is added to the catalogue as a row is identified, with the shipped networks, untrained for it.

The pictures are the committed sample renders of boxes that the demo catalogue does not list. Each combination is added
in turn, and the same readings are answered with both catalogues.
"""

import shutil
from pathlib import Path

import numpy as np
import pytest

from classifier.identify import WEIGHTS_DIR, PhotoReading, read_photo
from classifier.model import Model
from classifier.photo import PhotoLimits
from classifier.taxonomy import CONTROL_BOX, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from training.data.manifest import Record, read_manifests
from training.evaluate.two_photos import answered

SAMPLES = Path(__file__).parents[2] / "synthetic_samples" / "samples"
NEW = "added-box"


def values_of(record: Record) -> dict[str, str]:
    """Concept values of the only control box that shows all of them; empty where there is none."""
    boxes = [subject for subject in record.subjects if subject.kind == CONTROL_BOX]
    if len(boxes) != 1 or not all(reading.visible for reading in boxes[0].concepts.values()):
        return {}
    return {concept: reading.value for concept, reading in boxes[0].concepts.items()}


def with_row(folder: Path, values: dict[str, str]) -> Catalogue:
    """The demo catalogue with one more generation; all five have the same share."""
    shutil.copytree(DEMO_CATALOGUE, folder)
    rows = (folder / "generations.toml").read_text("utf-8").replace("fleet_share = 0.25", "fleet_share = 0.2")
    row = "\n".join(f'{concept} = "{value}"' for concept, value in values.items())
    row = f'\n[[generations]]\nid = "{NEW}"\nname = "A box of another make"\n{row}\nfleet_share = 0.2\ntraits = {{}}\n'
    (folder / "generations.toml").write_text(rows + row, "utf-8")
    return load(folder)


@pytest.fixture(scope="module")
def model() -> Model:
    return Model.load(WEIGHTS_DIR)


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load(DEMO_CATALOGUE)


@pytest.fixture(scope="module")
def seen(model: Model) -> list[tuple[dict[str, str], PhotoReading]]:
    """Values and reading of every sample in which a control box shows everything and is found."""
    found = []
    for record in read_manifests([SAMPLES]):
        if values := values_of(record):
            reading = read_photo(record.path.read_bytes(), record.path.name, model, PhotoLimits())
            if any(subject.kind == CONTROL_BOX for subject in reading.subjects):
                found.append((values, reading))
    return found


@pytest.fixture(scope="module")
def unlisted(seen: list, demo: Catalogue) -> list[tuple[dict[str, str], PhotoReading]]:
    rows = [{concept: getattr(row, concept) for concept in CONTROL_BOX_CONCEPTS} for row in demo.generations]
    return [(values, reading) for values, reading in seen if values not in rows]


def test_photos_of_an_added_box_move_to_its_row_and_photos_of_others_do_not(seen, unlisted, model, demo, tmp_path):
    """Before any photo the row has 0.7 * 0.2 = 0.14; its own photos must at least double that, others lower it."""
    own, others, before = [], [], []
    for number, (values, reading) in enumerate(unlisted):
        catalogue = with_row(tmp_path / str(number), values)
        own.append(answered([reading], catalogue, model).control_box)
        before.append(answered([reading], demo, model).control_box)
        others += [answered([o], catalogue, model).control_box.probabilities[NEW] for v, o in seen if v != values]
    assert len(own) >= 5 and NEW not in before[0].probabilities
    assert np.exp(np.mean([np.log(box.probabilities[NEW]) for box in own])) > 2 * 0.14
    assert np.mean([box.favourite == NEW for box in own]) > 0.5
    assert np.mean(others) < 0.14
    left = [[box.probabilities[UNLISTED] for box in boxes] for boxes in (before, own)]
    assert np.mean(left[0]) - np.mean(left[1]) > 0.1, "the row takes from `unlisted`"


def test_where_the_old_catalogue_said_unlisted_the_new_one_names_the_row(unlisted, model, demo, tmp_path):
    named = []
    for number, (values, reading) in enumerate(unlisted):
        if answered([reading], demo, model).control_box.favourite == UNLISTED:
            named.append(answered([reading], with_row(tmp_path / str(number), values), model).control_box.favourite)
    assert named and np.mean([name == NEW for name in named]) > 0.5
