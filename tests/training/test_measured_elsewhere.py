"""Measured on a Ray cluster or on processes, the same figures as measured here, in order; nothing counts twice."""

from collections.abc import Sequence
from pathlib import Path

import pytest

import training.measure.collect
from classifier.identify import PhotoReading
from tests.support.local_ray import local_ray
from tests.support.picture_work import ends_always, ends_once, number_of
from training.command import main
from training.data.manifest import Record, read_manifests
from training.evaluate.evaluate import evaluate
from training.measure.collect import PIECE_PICTURES, collect_readings, over_workers
from workers.dispatch import MOST_LOSSES, WorkersError

SAMPLES = Path(__file__).parents[2] / "synthetic_samples" / "samples"


@pytest.fixture(scope="module")
def records() -> list[Record]:
    return read_manifests([SAMPLES])


@pytest.mark.thorough
def test_a_cluster_gives_the_same_evaluation(toy_model_dir: Path, records: Sequence[Record], tmp_path: Path) -> None:
    evaluate(toy_model_dir, records, tmp_path / "here", 1)
    with local_ray():
        evaluate(toy_model_dir, records, tmp_path / "ray", None, "local")
    for name in ("evaluation.json", "evaluation.txt"):
        assert (tmp_path / "ray" / name).read_bytes() == (tmp_path / "here" / name).read_bytes()


def test_a_lost_worker_changes_neither_order_nor_number(
    toy_model_dir: Path, records: Sequence[Record], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LOST", str(tmp_path / "lost"))
    assert len(records) > 2 * PIECE_PICTURES
    found = over_workers(ends_once, toy_model_dir, records, 2)
    assert (tmp_path / "lost").exists()
    assert found == [(record.path.name, record.path.stat().st_size) for record in records]


def test_a_picture_that_ends_every_worker_is_named(toy_model_dir: Path, records: Sequence[Record]) -> None:
    with pytest.raises(WorkersError, match=rf"Measuring .*{records[0].path.name} ended its process, three times"):
        over_workers(ends_always, toy_model_dir, records[:1], 2)
    assert MOST_LOSSES == 3


def test_processes_read_as_this_one_does(toy_model_dir: Path, records: Sequence[Record]) -> None:
    some = records[: PIECE_PICTURES + 1]
    here: list[PhotoReading] = collect_readings(toy_model_dir, some, 1)
    assert collect_readings(toy_model_dir, some, 2) == here
    assert [reading.name for reading in here] == [record.path.name for record in some]


def test_a_worker_with_other_libraries_is_refused(
    toy_model_dir: Path, records: Sequence[Record], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = training.measure.collect._made_by()
    monkeypatch.setattr(training.measure.collect, "_made_by", lambda: {**made, "onnxruntime": "1.0"})
    with pytest.raises(WorkersError, match=r"\(onnxruntime .* instead of 1\.0\)\. Install the same everywhere"):
        over_workers(number_of, toy_model_dir, records[:1], 2)


def test_an_address_without_a_cluster_ends_with_status_2(
    toy_model_dir: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("ray")
    asked = ["--data", str(SAMPLES), "--weights", str(toy_model_dir), "--out", str(tmp_path)]
    with pytest.raises(SystemExit) as refused:
        main(["evaluate", *asked, "--ray", "127.0.0.1:9"])
    assert refused.value.code == 2
    assert "--ray 127.0.0.1:9: " in capsys.readouterr().err
