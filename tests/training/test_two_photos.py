"""One photo of a lift against two: who is paired with whom, and what is counted, on answers known by hand."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from classifier.model import Model
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from tests.support.drawn_pictures import draw_folder
from tests.support.judged import NO_GENERATION, SEALED_TOP, photo, said, truth
from training.command import main
from training.data.manifest import read_manifests
from training.evaluate.scores import Judged
from training.evaluate.two_photos import lifts_of, two_photo_figures

BOX = truth("control_box", SEALED_TOP)


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(DEMO_CATALOGUE)


@pytest.fixture(scope="module")
def toy(toy_model_dir: Path) -> Model:
    return Model.load(toy_model_dir)


def of_lift(number: int | None, judged: Judged) -> Judged:
    lift = None if number is None else (Path("set"), str(number))
    return replace(judged, record=replace(judged.record, lift=lift))


def test_two_photos_of_one_lift_are_answered_together(catalogue: Catalogue, toy: Model):
    """The first photo reads two of the concepts, the second the other two: only both together settle the box."""
    half = {"service_buttons": "not_visible", "charge_display": "not_visible"}
    other = {"stop_position": "not_visible", "battery": "not_visible"}
    photos = [of_lift(1, photo((BOX,), (said("control_box", SEALED_TOP | hidden),))) for hidden in (half, other)]
    found = two_photo_figures(lifts_of(photos, catalogue, toy), catalogue)
    one, two = found["generation"]["one"], found["generation"]["two"]
    assert found["lifts"] == 1 and found["lowering"]["one"]["undecided"]["n"] == 0
    assert (one["undecided"]["hits"], one["confirmed"]["hits"]) == (1, 0)
    assert (two["undecided"]["hits"], two["confirmed"]["hits"], two["wrong"]["hits"]) == (0, 1, 0)
    assert (found["generation"]["settled_by_the_second"], found["generation"]["unsettled_by_the_second"]) == (1, 0)


def test_a_wrong_answer_counts_as_wrong_and_a_contradiction_as_undecided(catalogue: Catalogue, toy: Model):
    box = truth("control_box", NO_GENERATION)
    wrong = photo((box,), (said("control_box", SEALED_TOP),))
    against = photo((box,), (said("control_box", SEALED_TOP | {"stop_position": "front"}),))
    found = two_photo_figures(lifts_of([of_lift(1, wrong), of_lift(1, against)], catalogue, toy), catalogue)[
        "generation"
    ]
    assert found["one"]["confirmed_wrong"]["hits"] == found["one"]["wrong"]["hits"] == 1
    assert found["two"]["confirmed_wrong"]["hits"] == 0 and found["two"]["undecided"]["hits"] == 1


def test_a_part_that_only_the_second_photo_shows_counts(catalogue: Catalogue, toy: Model):
    empty, shown = photo((), ()), photo((BOX,), (said("control_box", SEALED_TOP),))
    found = two_photo_figures(lifts_of([of_lift(1, empty), of_lift(1, shown)], catalogue, toy), catalogue)["generation"]
    assert found["one"]["undecided"]["hits"] == 1 and found["two"]["confirmed"]["hits"] == 1


def test_photos_of_different_lifts_or_of_none_are_not_paired(catalogue: Catalogue, toy: Model):
    alone = photo((BOX,), (said("control_box", SEALED_TOP),))
    photos = [of_lift(1, alone), of_lift(2, alone), of_lift(None, alone), of_lift(None, alone)]
    assert two_photo_figures(lifts_of(photos, catalogue, toy), catalogue)["lifts"] == 0


@pytest.fixture(scope="module")
def pairs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve drawings of which every two are said to be of one lift."""
    folder = draw_folder(tmp_path_factory.mktemp("pairs"), 12, "heldout", 9)
    lines = [json.loads(line) for line in (folder / "manifest.jsonl").read_text().splitlines()]
    text = "\n".join(json.dumps(entry | {"lift": entry["index"] // 2}) for entry in lines)
    (folder / "manifest.jsonl").write_text(text + "\n")
    return folder


def test_the_manifest_says_which_pictures_are_of_one_lift(pairs: Path, drawn: dict[str, Path]):
    assert [record.lift for record in read_manifests([pairs])] == [(pairs, str(n // 2)) for n in range(12)]
    assert {record.lift for record in read_manifests([drawn["heldout"]])} == {None}


def test_report_and_evaluation_tell_of_two_photos(pairs: Path, small_run: Path, tmp_path: Path):
    weights = shutil.copytree(small_run / "weights", tmp_path / "weights")
    more = ["--weights", str(weights), "--workers", "1"]
    main(["report", "--data", str(pairs), "--out", str(tmp_path / "report.html"), *more])
    page = (tmp_path / "report.html").read_text()
    assert "One photo against two of the same lift" in page and "<p>6 lifts with two photos" in page
    main(["evaluate", "--data", str(pairs), "--out", str(tmp_path), *more])
    assert json.loads((tmp_path / "evaluation" / "evaluation.json").read_text())["two_photos"]["lifts"] == 6
    assert "two of the same lift, 6 lifts" in (tmp_path / "evaluation" / "evaluation.txt").read_text()
