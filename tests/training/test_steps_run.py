"""The steps from the command line on the installed networks: no torch, no render, a shadow that waits or a reason."""

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from classifier.identify import WEIGHTS_DIR
from classifier.lineage import mark_withdrawn
from classifier.model import Model
from classifier.recipe import CLASSES
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.support.standin_photos import as_csv, standins
from training import step_command
from training.calibrate.merging import readings_of
from training.command import main
from training.measure.collect import collect_proposed, collect_raw
from training.ood.gate import Gate
from training.owned.forget import forget
from training.owned.photos import photo_id, read_entries
from training.owned.versions import signed
from training.steps import own
from training.steps.ask import Candidate, next_photos
from training.steps.doubt import against_the_model, disagreeing
from training.steps.own import Own, read_own
from training.steps.replay import with_logits_of
from training.steps.step import Sources, compare, known, learn, reader_of, write
from workers.dispatch import WorkersError

WITHOUT_TORCH = """
import sys
for name in ("torch", "torchvision", "timm", "mitsuba", "manifold3d", "cv2"):
    sys.modules[name] = None  # importing it raises
sys.argv = ["training", *sys.argv[1:]]
import runpy
runpy.run_module("training", run_name="__main__")
"""


@pytest.fixture(scope="module")
def weights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The weights that are installed, with their replay set."""
    return shutil.copytree(WEIGHTS_DIR, tmp_path_factory.mktemp("weights") / "w")


@pytest.fixture(scope="module")
def store(weights: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("own")
    main(["add-photos", str(as_csv(root / "photos", standins(40))), "--store", str(root / "store"), "--weights",
          str(weights), "--consent", "drawn", "--source", "stand-ins"])  # fmt: skip
    return root / "store"


@pytest.fixture(scope="module")
def read(store: Path, weights: Path) -> Own:
    return read_own(store, weights, 1)


@pytest.mark.parametrize("step", ["recalibrate", "heads"])
def test_a_step_runs_without_torch_and_ends_in_a_shadow_or_a_reason(step, store, weights, tmp_path):
    served = shutil.copytree(weights, tmp_path / "served")
    before = Model.load(served).info
    if step == "heads":
        assert "40 photos; heads wants 100" in run(step, store, served, 2)
        return
    said = run(step, store, served, 0)
    assert Model.load(served).info == before, "nothing is served before a person decides"
    if "because:" in said:
        assert not (served / "shadow").exists()
    else:
        waiting = Model.load(served / "shadow").recipe
        learned = {photo_id(entry) for entry in read_entries(store) if entry["style"] != "heldout"}
        assert set(waiting.provenance.learned_from) == learned and waiting.provenance.step == step


def run(step: str, store: Path, served: Path, status: int) -> str:
    return without_torch([step, "--store", str(store), "--weights", str(served), "--workers", "1"], status)


def without_torch(arguments: list[str], status: int = 0) -> str:
    """What a command says in a Python that has no torch and draws nothing."""
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_TORCH, *arguments],
        capture_output=True, text=True, timeout=300, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    return done.stdout + done.stderr


def test_photos_are_added_and_forgotten_and_a_model_taken_back_without_torch(weights: Path, tmp_path: Path):
    photos, kept = as_csv(tmp_path / "photos", standins(2)), ["--store", str(tmp_path / "store")]
    at = ["--weights", str(weights)]
    assert "2 photos added" in without_torch(
        ["add-photos", str(photos), *kept, *at, "--consent", "drawn", "--source", "stand-ins"]
    )
    (first, _) = [photo_id(entry) for entry in read_entries(tmp_path / "store")]
    assert "1 withdrawn photos deleted" in without_torch(["forget", first, *kept, *at])
    assert "none to go back to" in without_torch(["roll-back", *at], 2)


def test_a_photo_withdrawn_while_a_step_learns_leaves_no_model_of_it(store, weights, tmp_path, monkeypatch, capsys):
    own_store = shutil.copytree(store, tmp_path / "store")
    served = shutil.copytree(weights, tmp_path / "served")
    gone = next(photo_id(entry) for entry in read_entries(own_store) if entry["style"] == "train")

    def withdrawn_meanwhile(*arguments):
        forget({gone}, own_store, served)
        found = compare(*arguments)
        return replace(found, rows=tuple(row for row in found.rows if not row.worse))

    monkeypatch.setattr(step_command, "compare", withdrawn_meanwhile)
    with pytest.raises(SystemExit):
        main(["recalibrate", "--store", str(own_store), "--weights", str(served), "--workers", "1"])
    assert "1 photos were taken out while a model learned from them" in capsys.readouterr().err
    assert sorted(path.name for path in served.iterdir()) == sorted(path.name for path in weights.iterdir())


def test_a_photo_that_ends_its_process_is_told_without_a_trace(store: Path, weights: Path, monkeypatch, capsys):
    def ended(*_: object) -> None:
        raise WorkersError("Measuring 7.jpg ended its process, three times. Leave it out.")

    monkeypatch.setattr(own, "collect_proposed", ended)
    with pytest.raises(SystemExit) as stopped:
        main(["recalibrate", "--store", str(store), "--weights", str(weights)])
    assert stopped.value.code == 2
    assert "training recalibrate: Measuring 7.jpg ended its process" in capsys.readouterr().err


def test_no_step_goes_on_from_a_model_whose_photo_was_withdrawn(store: Path, weights: Path, tmp_path: Path, capsys):
    served = shutil.copytree(weights, tmp_path / "served")
    recipe = Model.load(served).recipe
    signed(recipe, recipe, "heads", ["a" * 24]).write(served)
    mark_withdrawn(["a" * 24], served)
    with pytest.raises(SystemExit):
        main(["recalibrate", "--store", str(store), "--weights", str(served), "--workers", "1"])
    assert "learned from 1 photos that were withdrawn since" in capsys.readouterr().err


def test_what_was_judged_is_what_is_served(store: Path, weights: Path, tmp_path: Path, monkeypatch):
    """Heads from features, put into the file: the file reads a photo as the comparison did."""
    monkeypatch.setitem(own.FEWEST, "heads", 30)
    at = known(Sources(store, weights / "replay.npz", weights, tmp_path / "shadow"), "heads", 1)
    new = learn("heads", at, reader_of(at.model, weights))
    comparison = compare(at, new, own.boxed_by_owner(store), load(DEMO_CATALOGUE))
    assert {row.pictures for row in comparison.rows if row.n} == {"owned photos", "renders"}
    write(new, comparison, weights, tmp_path / "made")
    record = next(r for r in at.own.records if r.subjects)
    (served,) = collect_proposed(tmp_path / "made", [record], 1)
    (judged,) = [p for r, p in zip(at.own.records, at.own.raw, strict=True) if r is record]
    for by_file, by_hand in zip(served.found, with_logits_of(judged, new.heads).found, strict=True):
        for name, logits in by_file.logits.items():
            np.testing.assert_allclose(logits, by_hand.logits[name], atol=2e-3)


def test_boxes_that_serving_would_not_propose_change_no_reading(weights: Path, read: Own):
    model, some = Model.load(weights), read.records[:4]
    every = readings_of(collect_raw(weights, some, 1), some, model)
    for one, other in zip(every, readings_of(read.raw[:4], some, model), strict=True):
        assert [s.box for s in one.subjects] == [s.box for s in other.subjects]
        assert [s.concepts for s in one.subjects] == [s.concepts for s in other.subjects]


def test_photos_of_one_lift_that_disagree_are_named_with_who_said_so(store: Path):
    entries = read_entries(store)
    assert not [doubt for doubt in disagreeing(entries) if doubt.concept == "kind"]
    first = next(e for e in entries if [s["kind"] for s in e["subjects"]] == ["control_box"])
    others = [json.loads(json.dumps(first)) | {"file": f"images/{name}.jpg"} for name in ("twin", "triplet")]
    for entry in (first, *others):
        entry["owned"] |= {"lift": "lift-x", "said_by": "technician"}
    assert not list(disagreeing([first, *others]))
    others[0]["subjects"][0]["concepts"]["battery"]["value"] = "another"
    (found,) = disagreeing([first, *others])
    assert found.photo == "images/twin.jpg" and found.concept == "battery"
    assert "said by technician" in found.labelled and "2 of lift-x say" in found.against


def test_a_label_that_the_model_is_surely_against_is_named(store: Path, weights: Path, read: Own):
    """Logits put by hand into what the networks said: the model reads `front` where the label says `top`."""
    model = Model.load(weights)
    gate = Gate.of(model)
    n, subject, truth = next(
        (n, s, read.records[n].subjects[s.matched].concepts["stop_position"])
        for n, photo in enumerate(read.raw) for s in gate.accepted(photo)
        if s.matched >= 0 and s.kind == "control_box"
        and read.records[n].subjects[s.matched].concepts["stop_position"].visible
    )  # fmt: skip
    entries = read_entries(store)
    for value, doubts in ((truth.value, 0), ({"top": "front", "front": "top"}[truth.value], 1)):
        subject.logits["stop_position"][:] = np.where(np.array(CLASSES["stop_position"]) == value, 60.0, -60.0)
        found = list(against_the_model(entries[n : n + 1], read.records[n : n + 1], read.raw[n : n + 1], model))
        assert len([doubt for doubt in found if doubt.concept == "stop_position"]) == doubts


def test_the_next_photos_are_unsure_and_unlike_each_other(weights: Path):
    model = Model.load(weights)
    rng = np.random.default_rng(0)
    here, there = rng.uniform(0, 1, 256), rng.uniform(3, 4, 256)
    pool = [
        Candidate(Path("sure"), 0.01, there, ""),
        Candidate(Path("unsure"), 2.0, here, ""),
        Candidate(Path("its twin"), 1.9, here + 1e-6, ""),
        Candidate(Path("elsewhere"), 1.0, there, ""),
    ]
    names = [each.path.name for each in next_photos(pool, 3, np.zeros((0, 256)), model)]
    assert names[:2] == ["unsure", "elsewhere"]
    known = np.array([here])
    assert next_photos(pool, 1, known, model)[0].path.name == "elsewhere", "what is labelled already is not asked again"


def test_the_commands_name_photos_and_what_cannot_be_read(weights: Path, store: Path, tmp_path: Path, capsys):
    folder = as_csv(tmp_path / "photos", standins(4))
    (folder / "broken.jpg").write_bytes(b"no picture")
    main(["next-photos", str(folder), "--weights", str(weights), "--store", str(tmp_path / "none"), "--count", "2"])
    said = capsys.readouterr()
    assert "left out: broken.jpg" in said.err and said.out.count(" bits)") <= 2
    main(["doubtful-labels", "--weights", str(weights), "--store", str(store), "--workers", "1"])
    assert "of 40 photos look wrong" in capsys.readouterr().out
    main(["models", "--weights", str(weights)])
    assert "as delivered, learned from no own photo" in capsys.readouterr().out
