"""A round of somebody else's pictures: what is asked and counted; the first measurement stays the first."""

import json
import shutil
from pathlib import Path

import pytest

from classifier.identify import PhotoReading
from classifier.model import Model
from classifier.quality import Quality
from experiments.runs import Metric, read_runs
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from tests.support.judged import NO_GENERATION, SEALED_TOP, said
from training.command import main
from training.evaluate.two_photos import answered
from training.owned.labels import Labelled, LabelledPhoto, OwnedPhotoError
from training.rounds.measured import Read, RoundPhoto, read_round, round_metrics

SAMPLES = Path(__file__).parents[2] / "synthetic_samples" / "samples"


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(DEMO_CATALOGUE)


@pytest.fixture(scope="module")
def toy(toy_model_dir: Path) -> Model:
    return Model.load(toy_model_dir)


def labelled(values: dict[str, str], hidden: tuple[str, ...] = ()) -> Labelled:
    return Labelled("actuator_head" if "lowering" in values else "control_box", values, None, hidden)


def seen(catalogue: Catalogue, model: Model, view: str, true: tuple, read: tuple, named: dict, lift=None) -> Read:
    shown = RoundPhoto(LabelledPhoto(Path("x.jpg"), lift, true, (), "", "", ""), view, named)
    reading = PhotoReading("x.jpg", 100, 100, Quality(True, ()), read)
    return Read(shown, reading, answered([reading], catalogue, model))


def rows(photos: list[Read], catalogue: Catalogue, model: Model) -> dict[str, tuple[float, int]]:
    return {m.name: (m.value, m.n) for m in round_metrics("round 0", photos, catalogue, model)}


def test_what_nobody_could_name_is_not_asked(catalogue: Catalogue, toy: Model):
    true = (labelled({"lowering": "twist_knob"}),)
    wrong = (said("actuator_head", {"lowering": "none"}),)
    right = (said("actuator_head", {"lowering": "twist_knob"}),)
    found = rows([
        seen(catalogue, toy, "pair", true, right, {"actuator_head": "twist_knob"}),
        seen(catalogue, toy, "pair", true, (), {"actuator_head": "pull_twist_knob"}),
        seen(catalogue, toy, "pair", true, wrong, {"actuator_head": ""}),
    ], catalogue, toy)  # fmt: skip
    assert found["readable heads, favourite right, two views a lift"] == (50.0, 2)
    assert found["readable heads, favourite right, two views a lift: twist_knob"] == (50.0, 2)
    assert found["readable heads accepted, two views a lift"] == (50.0, 2)
    assert found["the viewer: readable heads, named rightly"] == (50.0, 2)
    assert found["true value inside the 95 % set, lowering"] == (100.0, 1)


def test_a_head_whose_mechanism_is_hidden_is_not_asked_though_somebody_named_it(catalogue: Catalogue, toy: Model):
    true = (labelled({"lowering": "twist_knob"}, ("lowering",)),)
    found = rows([seen(catalogue, toy, "pair", true, (), {"actuator_head": "twist_knob"})], catalogue, toy)
    assert not any(name.startswith(("readable heads", "the viewer")) for name in found)


def test_a_box_is_right_by_its_generation_where_all_shows_and_by_each_value_where_not(catalogue: Catalogue, toy: Model):
    named = {"control_box": "+".join(f"{c}={v}" for c, v in SEALED_TOP.items())}
    half_named = {"control_box": named["control_box"].replace("=lamp_row", "=not_visible")}
    whole, part = (labelled(SEALED_TOP),), (labelled(SEALED_TOP, ("charge_display",)),)
    right, wrong = (said("control_box", SEALED_TOP),), (said("control_box", NO_GENERATION),)
    found = rows([
        seen(catalogue, toy, "framing", whole, right, named),
        seen(catalogue, toy, "framing", whole, wrong, named),
        seen(catalogue, toy, "framing", part, right, half_named),
    ], catalogue, toy)  # fmt: skip
    told = "as a caregiver frames it"
    assert found[f"readable boxes, favourite right, {told}"] == (50.0, 2)
    assert found[f"named boxes, battery right where it shows, {told}"] == (66.7, 3)
    assert found[f"named boxes, charge_display right where it shows, {told}"] == (100.0, 2)
    assert found["true value inside the 95 % set, all concepts"] == (90.9, 11)
    assert found["the viewer: readable boxes, all four named rightly"] == (100.0, 2)


def test_what_is_no_lift_part_counts_as_taken_for_one_where_anything_is_seen(catalogue: Catalogue, toy: Model):
    photos = [seen(catalogue, toy, "foreign", (), (), {}) for _ in range(3)]
    photos.append(seen(catalogue, toy, "foreign", (), (said("control_box", SEALED_TOP),), {}))
    found = rows(photos, catalogue, toy)
    assert found["no lift part, taken for one"] == (25.0, 4)
    assert found["confirmed by one picture and wrong"] == (100.0, 1)


def test_two_views_together_confirm_what_one_leaves_open(catalogue: Catalogue, toy: Model):
    """Each picture reads two of a box's concepts: only both settle it."""
    true = (labelled(SEALED_TOP),)
    halves = (("service_buttons", "charge_display"), ("stop_position", "battery"))
    photos = []
    for hidden in halves:
        read = said("control_box", SEALED_TOP | dict.fromkeys(hidden, "not_visible"))
        photos.append(seen(catalogue, toy, "pair", true, (read,), {"control_box": "sealed-top"}, lift="1"))
    found = rows(photos, catalogue, toy)
    assert found["lifts: listed boxes confirmed by the first of two views"] == (0.0, 1)
    assert found["lifts: listed boxes confirmed by two views together"] == (100.0, 1)
    assert found["lifts: confirmed by two views together and wrong"] == (0.0, 1)


@pytest.fixture(scope="module")
def drawn_round(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sample pictures in a round's form: their labels are the renderer's, so this measures nothing but the command."""
    folder = tmp_path_factory.mktemp("rounds") / "7"
    (folder / "pictures").mkdir(parents=True)
    lines = ["file,label,lift,left,top,right,bottom,hidden,conditions,view,named"]
    entries = [json.loads(line) for line in (SAMPLES / "manifest.jsonl").read_text().splitlines()]
    some = [e for e in entries if len(e["subjects"]) == 1 and e["subjects"][0]["concepts"]][:3]
    some += [entry for entry in entries if not entry["subjects"]][:2]
    for entry in some:
        name = Path(entry["file"]).name
        shutil.copy(SAMPLES / entry["file"], folder / "pictures" / name)
        for subject in entry["subjects"]:
            label = "+".join(f"{c}={r['value']}" for c, r in subject["concepts"].items())
            hidden = ";".join(c for c, r in subject["concepts"].items() if not r["visible"])
            box = ",".join(map(str, subject["box"]))
            lines.append(f"{name},{label},{entry['index']},{box},{hidden},from afar,framing,{label}")
        if not entry["subjects"]:
            lines.append(f"{name},nothing,,,,,,,,foreign,")
    (folder / "labels.csv").write_text("\n".join(lines) + "\n")
    return folder


def test_the_command_measures_a_folder_and_records_it_once(drawn_round: Path, tmp_path: Path, capsys):
    runs = tmp_path / "runs.jsonl"
    for name in ("one", "two"):
        line = {"id": name, "kind": "measurement", "date": "2026-01-01", "title": name, "decision": "kept"}
        with runs.open("a") as file:
            file.write(json.dumps(line) + "\n")
    command = ["round", str(drawn_round), "--runs", str(runs), "--workers", "1", "--of"]
    main([*command, "one"])
    (drawn_round / "notes.txt").write_text("what is no picture of it counts for nothing")
    main([*command, "two"])
    first, second = read_runs(runs)[2:]
    assert first.id == "round-7-one" and first.decision == "the round's first measurement"
    assert second.decision == "not the round's first measurement, which is round-7-one"
    foreign = next(metric for metric in first.metrics if metric.name == "no lift part, taken for one")
    assert foreign.n == 2 and foreign.split == "round 7" and isinstance(foreign, Metric)
    with pytest.raises(SystemExit):
        main([*command, "one"])
    assert "a round measures the same weights once" in capsys.readouterr().err
    assert len(read_runs(runs)) == 4


@pytest.mark.parametrize("row", ["a.jpg,nothing,sideways,", "a.jpg,twist_knob,foreign,twist_knob"])
def test_a_view_that_does_not_fit_is_refused_by_its_row(row: str, catalogue: Catalogue, tmp_path: Path):
    shutil.copy(SAMPLES / "images/000000.jpg", tmp_path / "a.jpg")
    (tmp_path / "labels.csv").write_text(f"file,label,view,named\n{row}\n")
    passing = tmp_path / "passing"
    passing.mkdir()
    with pytest.raises(OwnedPhotoError, match="labels.csv, row 2: view"):
        read_round(tmp_path, catalogue, passing)


def test_labels_without_a_round_s_columns_are_refused(catalogue: Catalogue, tmp_path: Path):
    (tmp_path / "labels.csv").write_text("file,label\na.jpg,nothing\n")
    with pytest.raises(OwnedPhotoError, match="no column named, view"):
        read_round(tmp_path, catalogue, tmp_path)
