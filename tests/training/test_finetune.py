"""Fine-tuning from a small run with stand-ins as photos: resumes, compares, promotes or keeps, goes back."""

import io
import json
import shutil
from contextlib import redirect_stdout
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import Model, ModelInfo
from classifier.quality import Quality
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.support.drawn_pictures import draw_folder
from tests.support.standin_photos import as_csv, standins
from training.command import main
from training.data.manifest import Reading, Record, Subject, read_manifests
from training.evaluate import evaluate
from training.loop import train
from training.owned import compare as finetune_compare
from training.owned import finetune as finetune_module
from training.owned.compare import (
    EMPTY,
    Comparison,
    Row,
    cases_for_share,
    cases_for_zero_errors,
    outcomes,
    sign_test,
)
from training.owned.finetune import mixed
from training.owned.photos import photo_id, read_entries


@pytest.fixture(scope="module")
def store(small_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty stand-ins of fifteen lifts."""
    root = tmp_path_factory.mktemp("owned")
    main(["add-photos", str(as_csv(root / "photos", standins(30))), "--store", str(root / "store"), "--weights",
          str(small_run / "weights"), "--consent", "drawn, nobody's", "--source", "stand-ins"])  # fmt: skip
    return root / "store"


@pytest.fixture
def served(small_run: Path, tmp_path: Path) -> Path:
    return shutil.copytree(small_run / "weights", tmp_path / "served")


@pytest.fixture(scope="module")
def renders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    root = tmp_path_factory.mktemp("renders")
    counts = {"train": 24, "calibration": 12, "heldout": 8}
    return {style: draw_folder(root / style, n, style, seed) for seed, (style, n) in enumerate(counts.items())}


def tune(store: Path, renders: dict[str, Path], served: Path, out: Path) -> None:
    main(["finetune", "--store", str(store), "--data", str(renders["train"]), "--calibration",
          str(renders["calibration"]), "--heldout", str(renders["heldout"]), "--weights", str(served),
          "--out", str(out), "--preset", "small", "--device", "cpu", "--workers", "1"])  # fmt: skip


@dataclass(frozen=True)
class Journey:
    """One fine-tuning that was stopped in the fourth step of the finder and then started again."""

    out: Path
    before: ModelInfo
    stopped: ModelInfo
    after: ModelInfo
    served: Path
    said: str


@pytest.fixture(scope="module")
def save_always():
    with pytest.MonkeyPatch.context() as patch:
        schedule = replace(finetune_module.SCHEDULES["small"], save_every_s=0.0)
        patch.setitem(finetune_module.SCHEDULES, "small", schedule)
        yield


@pytest.fixture(scope="module")
def journey(store, small_run, renders, save_always, tmp_path_factory: pytest.TempPathFactory) -> Journey:
    root = tmp_path_factory.mktemp("journey")
    served = shutil.copytree(small_run / "weights", root / "served")
    before, calls, step = Model.load(served).info, iter(range(1000)), train.Run.step

    def stopped(run: train.Run, done: float) -> None:
        if next(calls) == 4:
            raise KeyboardInterrupt
        step(run, done)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(train.Run, "step", stopped)
        with pytest.raises(KeyboardInterrupt):
            tune(store, renders, served, root / "out")
    half_way, said = Model.load(served).info, io.StringIO()
    with redirect_stdout(said):
        tune(store, renders, served, root / "out")
    return Journey(root / "out", before, half_way, Model.load(served).info, served, said.getvalue())


def test_a_stopped_run_leaves_the_old_model_and_goes_on(journey: Journey):
    assert journey.stopped == journey.before
    assert "finder: goes on at step 4 of 6" in journey.said


def test_thirty_photos_go_all_the_way(journey: Journey, store: Path):
    """Trains, calibrates, compares; whether a model waits is what the comparison says."""
    comparison = json.loads(next(journey.out.glob("*/comparison.json")).read_text())
    held = read_manifests([store], "heldout")
    boxes = sum(any(s.kind == "control_box" for s in record.subjects) for record in held)
    owned = {row["figure"]: row["n"] for row in comparison["rows"] if row["pictures"] == "owned photos"}
    assert owned["battery"] == boxes and set(owned) >= set(CONCEPTS)
    assert "would only say that the true share is probably over" in journey.said and "598" in journey.said
    if comparison["reasons_against"]:
        assert journey.after == journey.before
        assert "kept the old model" in journey.said and comparison["reasons_against"][0] in journey.said
    else:
        learned = [entry for entry in read_entries(store) if entry["style"] != "heldout"]
        assert journey.after == journey.before, "a model waits until a person promotes it"
        main(["promote", "--by", "N. Example", "--weights", str(journey.served)])
        promoted = Model.load(journey.served)
        assert promoted.info.version.startswith("2026.11+finetune.")
        assert promoted.info.trained_on == {"synthetic": 60, "owned_photos": len(learned)}
        assert set(promoted.recipe.provenance.learned_from) == {photo_id(entry) for entry in learned}
        main(["roll-back", "--weights", str(journey.served)])
        assert Model.load(journey.served).info == journey.before


def test_a_worse_model_is_not_used_and_it_is_said_why(
    journey: Journey, store, renders, served, save_always, monkeypatch, capsys
):
    """The candidate's outcomes are replaced by failures: the rule must see them, and the served files stay the same."""
    real, before = finetune_compare.outcomes, Model.load(served).info

    def spoilt(weights: Path, *arguments):
        found = real(weights, *arguments)
        right = weights == served
        return found | {"battery": dict.fromkeys(found["battery"], right)}

    monkeypatch.setattr(finetune_compare, "outcomes", spoilt)
    tune(store, renders, served, journey.out)
    said = capsys.readouterr().out
    assert "kept the old model" in said and "battery on owned photos: 100.0 %" in said
    assert Model.load(served).info == before and not (served / "previous").exists()


def test_without_held_out_photos_nothing_starts(renders, served, tmp_path, capsys):
    main(["add-photos", str(as_csv(tmp_path / "photos", standins(1))), "--store", str(tmp_path / "store"), "--weights",
          str(served), "--consent", "x", "--source", "y"])  # fmt: skip
    with pytest.raises(SystemExit) as stopped:
        tune(tmp_path / "store", renders, served, tmp_path / "out")
    assert stopped.value.code == 2 and "both are needed" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_where_the_new_model_could_not_be_left_nothing_starts(store, renders, served, tmp_path, monkeypatch, capsys):
    def read_only(path: Path, data: bytes) -> int:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "write_bytes", read_only)
    with pytest.raises(SystemExit):
        tune(store, renders, served, tmp_path / "out")
    assert "copy the weights to a folder of your own" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_part_that_is_not_seen_is_a_wrong_case(monkeypatch: pytest.MonkeyPatch, toy_model_dir: Path):
    head = Subject("actuator_head", (0.1, 0.1, 0.6, 0.6), False, {"lowering": Reading("none", True, ("none",), 0)})
    held = Record(Path("x.jpg"), None, 100, 100, "heldout", "close", (), True, None, (head,), ())
    empty = replace(held, path=Path("y.jpg"), subjects=())
    seen = {"none": 0.9, "squeeze_tabs": 0.1, "twist_knob": 0, "pull_twist_knob": 0, "not_visible": 0}
    found = SubjectReading("actuator_head", (0.5, 0.5, 0.9, 0.9), 0.9, {"lowering": ConceptReading(seen, ("none",))})

    def readings(*subjects: SubjectReading):
        return lambda weights, records, workers: [PhotoReading("", 9, 9, Quality(True, ()), subjects) for _ in records]

    monkeypatch.setattr(evaluate, "collect_readings", readings())
    blind = outcomes(toy_model_dir, [held, empty], None, load(DEMO_CATALOGUE), 1)
    assert blind["lowering"] == {Path("x.jpg"): False} and blind[EMPTY] == {Path("y.jpg"): True}
    monkeypatch.setattr(evaluate, "collect_readings", readings(found))
    sighted = outcomes(toy_model_dir, [held, empty], set(), load(DEMO_CATALOGUE), 1)
    assert sighted["lowering"] == {Path("x.jpg"): True} and sighted[EMPTY] == {Path("y.jpg"): False}


@pytest.mark.parametrize(
    ("old", "new", "n", "lost", "gained", "worse"),
    [
        (9, 9, 9, 0, 0, False),
        (9, 8, 9, 1, 0, False),  # one photo of nine proves nothing: 9 of 9 may be 70 %
        (9, 6, 9, 3, 0, True),  # 67 % lies under the 70 %
        (90, 84, 100, 6, 0, True),  # within the interval, but six lost and none gained: chance 1 in 64
        (90, 84, 100, 16, 10, False),
        (5, 9, 9, 0, 4, False),
    ],
)
def test_worse_means_beyond_the_interval(old: int, new: int, n: int, lost: int, gained: int, worse: bool):
    row = Row("owned photos", "battery", n, old, new, lost, gained)
    assert row.worse is worse
    assert bool(Comparison("a", "b", (row,)).reasons_against) is worse


def test_nothing_measured_is_a_reason_against():
    empty = Row("owned photos", "battery", 0, 0, 0, 0, 0)
    assert "no held-out photo" in Comparison("a", "b", (empty,)).reasons_against[0]


def test_sign_test_by_hand_and_by_scipy():
    from scipy.stats import binomtest

    assert sign_test(6, 0) == 1 / 64 and sign_test(0, 3) == 1.0
    for lost, gained in ((3, 1), (10, 4), (7, 7)):
        wanted = binomtest(lost, lost + gained, 0.5, alternative="greater").pvalue
        assert sign_test(lost, gained) == pytest.approx(wanted, abs=1e-12)


def test_how_many_photos_a_claim_takes():
    """598 without an error for 0.5 % at 95 %: follows from the binomial. 73 for a Wilson lower end of 95 %: z²·19."""
    assert cases_for_zero_errors(0.005) == 598
    assert cases_for_share(0.95) == 73


def test_owned_photos_are_three_in_ten_of_what_is_drawn_from(store: Path, renders: dict[str, Path]):
    rendered, owned = read_manifests([renders["train"]], "train"), read_manifests([store], "train")[:5]
    records = mixed(rendered, owned)
    assert sum(record in owned for record in records) / len(records) == pytest.approx(0.3, abs=0.03)
    assert set(map(id, rendered)) <= set(map(id, records))
