"""Photos that came by an export: known by their origin, labelled anew, withdrawn. Drawn stand-ins, no photographs."""

import json
from pathlib import Path

import pytest

from classifier.lineage import MARKS_FILE, marked, models_that_learned_from
from classifier.recipe import METADATA_FILE
from synthetic_samples.scene import scene
from tests.support.standin_photos import STANDINS, label_of, standins, with_metadata, write_csv
from training.command import main
from training.owned.forget import WITHDRAWN_FILE
from training.owned.labels import CONDITIONS
from training.owned.photos import photo_id, read_entries


def row(number: int, **more: object) -> dict:
    """One labelled part of a stand-in that shows a single part, as an export writes it."""
    entry = [e for e in standins() if len(e["subjects"]) == 1][number]
    left, top, right, bottom = entry["subjects"][0]["box"]
    return {
        "file": f"{number}.jpg", "label": label_of(entry["subjects"][0]), "lift": f"lift{number // 2:020x}",
        "left": left, "top": top, "right": right, "bottom": bottom, "hidden": "?", "consent": "agreed",
        "source": "case",
        "origin": f"{number:024x}", "box_from": "model", "said_by": "technician", "surely": "at_the_lift",
    } | more  # fmt: skip


def folder_of(folder: Path, rows: list[dict]) -> Path:
    singles = [e for e in standins() if len(e["subjects"]) == 1]
    for each in rows:
        with_metadata(STANDINS / singles[int(each["origin"], 16)]["file"], folder / each["file"])
    write_csv(folder / "labels.csv", rows)
    return folder


def add(folder: Path, store: Path, weights: Path) -> list[dict]:
    main(["add-photos", str(folder), "--store", str(store), "--weights", str(weights)])
    return read_entries(store)


def test_whose_word_it_is_and_whose_box_are_kept(tmp_path: Path, toy_model_dir: Path):
    rows = [row(0), row(1, box_from="owner", hidden="")]
    entries = add(folder_of(tmp_path / "in", rows), tmp_path / "store", toy_model_dir)
    assert [photo_id(entry) for entry in entries] == [row["origin"] for row in rows]
    assert {(e["owned"]["said_by"], e["owned"]["surely"]) for e in entries} == {("technician", "at_the_lift")}
    assert [entry["subjects"][0]["box_from"] for entry in entries] == ["model", "owner"]
    assert [entry["subjects"][0]["hidden_from"] for entry in entries] == ["model", "owner"]


def test_the_same_folder_again_changes_nothing(tmp_path: Path, toy_model_dir: Path, capsys):
    store = tmp_path / "store"
    add(folder_of(tmp_path / "in", [row(n) for n in range(4)]), store, toy_model_dir)
    before = {path: (path.read_bytes(), path.stat().st_ino) for path in sorted((store / "images").iterdir())}
    manifest = (store / "manifest.jsonl").read_bytes()
    capsys.readouterr()
    add(tmp_path / "in", store, toy_model_dir)
    assert (store / "manifest.jsonl").read_bytes() == manifest
    assert {path: (path.read_bytes(), path.stat().st_ino) for path in sorted((store / "images").iterdir())} == before
    said = capsys.readouterr()
    assert "0 photos added" in said.out and "4 are as they were" in said.out and "left out" not in said.err


def test_a_lost_picture_stops_a_step_and_its_line_goes_without_marking_a_model(tmp_path, toy_model_dir: Path, capsys):
    store, weights = tmp_path / "store", weights_that_learned(tmp_path / "weights", row(0)["origin"], row(1)["origin"])
    entries = add(folder_of(tmp_path / "in", [row(n) for n in range(4)]), store, toy_model_dir)
    (store / entries[1]["file"]).unlink()
    there = ["--store", str(store), "--weights", str(weights)]
    with pytest.raises(SystemExit):
        main(["doubtful-labels", *there])
    assert "1 of 4 pictures are gone" in capsys.readouterr().err
    main(["forget", "--lost", *there])
    assert read_entries(store) == [entries[0], *entries[2:]] and marked(weights) == {}
    assert "1 lines without a picture" in capsys.readouterr().out
    for wrong in ([], ["--lost", row(0)["origin"]]):
        with pytest.raises(SystemExit):
            main(["forget", *wrong, *there])
        assert "and not both" in capsys.readouterr().err
    assert [photo_id(entry) for entry in add(tmp_path / "in", store, toy_model_dir)] == [
        f"{n:024x}" for n in (0, 2, 3, 1)
    ]


def test_a_new_label_and_a_new_lift_of_a_known_origin_replace_the_old(tmp_path: Path, toy_model_dir: Path):
    store = tmp_path / "store"
    first = add(folder_of(tmp_path / "in", [row(n) for n in range(6)]), store, toy_model_dir)
    moved = row(0, lift=row(4)["lift"], label="lowering=none")
    entries = add(folder_of(tmp_path / "in", [moved, *(row(n) for n in range(1, 7))]), store, toy_model_dir)
    assert [photo_id(e) for e in entries[:6]] == [photo_id(e) for e in first] and len(entries) == 7
    assert entries[0]["subjects"][0]["concepts"]["lowering"]["value"] == "none"
    assert entries[0]["owned"]["lift"] == entries[4]["owned"]["lift"]
    splits: dict[str, set[str]] = {}
    for entry in entries:
        splits.setdefault(entry["owned"]["lift"], set()).add(entry["style"])
    assert all(len(styles) == 1 for styles in splits.values())
    assert [e["style"] for e in entries[1:6]] == [e["style"] for e in first[1:6]]
    assert len({e["index"] for e in entries}) == 7


def test_a_picture_missing_from_the_store_comes_back_with_the_same_folder(tmp_path: Path, toy_model_dir: Path):
    store = tmp_path / "store"
    entries = add(folder_of(tmp_path / "in", [row(0), row(1)]), store, toy_model_dir)
    (store / entries[1]["file"]).unlink()
    assert add(tmp_path / "in", store, toy_model_dir) == entries
    assert (store / entries[1]["file"]).is_file()


def test_an_origin_of_two_files_and_a_strange_box_from_are_refused(tmp_path: Path, toy_model_dir: Path, capsys):
    twice = [row(0), row(1, origin=row(0)["origin"]), row(2, box_from="guess")]
    with pytest.raises(SystemExit):
        add(folder_of(tmp_path / "in", twice), tmp_path / "store", toy_model_dir)
    said = capsys.readouterr().err
    assert "is that of 0.jpg too" in said and "box_from 'guess' is unknown" in said
    assert not (tmp_path / "store").exists()


def weights_that_learned(folder: Path, *photos: str) -> Path:
    (folder / "previous").mkdir(parents=True)
    (folder / METADATA_FILE).write_text(json.dumps({"version": "now", "trained_on": {"learned_from": [photos[0]]}}))
    (folder / "previous" / "0001.json").write_text(json.dumps({"version": "before", "learned_from": [*photos]}))
    (folder / "previous" / "0002.json").write_text("no JSON at all")
    return folder


def test_models_are_named_wherever_their_metadata_lists_a_photo(tmp_path: Path):
    folder = weights_that_learned(tmp_path, "a", "b")
    assert models_that_learned_from(["a"], folder) == {"now": ["a"], "before": ["a"]}
    assert models_that_learned_from(["b", "c"], folder) == {"before": ["b"]}
    assert models_that_learned_from(["c"], folder) == {}


def test_what_was_withdrawn_leaves_the_store_and_marks_the_models(tmp_path: Path, toy_model_dir: Path, capsys):
    store, weights = tmp_path / "store", weights_that_learned(tmp_path / "weights", row(1)["origin"], row(3)["origin"])
    entries = add(folder_of(tmp_path / "in", [row(n) for n in range(4)]), store, toy_model_dir)
    (tmp_path / WITHDRAWN_FILE).write_text(f"{row(1)['origin']}\n{row(9)['origin']}\n")
    main(["forget", str(tmp_path / WITHDRAWN_FILE), "--store", str(store), "--weights", str(weights)])
    assert read_entries(store) == [entries[0], *entries[2:]] and not (store / entries[1]["file"]).exists()
    assert row(1)["origin"] not in (store / "manifest.jsonl").read_text()
    said = capsys.readouterr().out
    assert (
        "1 withdrawn photos deleted" in said and "the model now learned from 1" in said and "the model before" in said
    )
    assert marked(weights) == {"now": [row(1)["origin"]], "before": [row(1)["origin"]]}
    marks = (weights / MARKS_FILE).read_bytes()
    main(["forget", row(1)["origin"], "--store", str(store), "--weights", str(weights)])
    assert (weights / MARKS_FILE).read_bytes() == marks


def test_adding_the_same_folder_forgets_first(tmp_path: Path, toy_model_dir: Path):
    store = tmp_path / "store"
    add(folder_of(tmp_path / "in", [row(n) for n in range(3)]), store, toy_model_dir)
    write_csv(tmp_path / "in" / "labels.csv", [row(0), row(2)])
    (tmp_path / "in" / "1.jpg").unlink()
    (tmp_path / "in" / WITHDRAWN_FILE).write_text(f"{row(1)['origin']}\n")
    assert [photo_id(entry) for entry in add(tmp_path / "in", store, toy_model_dir)] == [f"{n:024x}" for n in (0, 2)]


def test_a_stopped_forgetting_is_ended_by_the_same_command(tmp_path: Path, toy_model_dir: Path, monkeypatch, capsys):
    store = tmp_path / "store"
    entries = add(folder_of(tmp_path / "in", [row(0), row(1)]), store, toy_model_dir)

    def full(path: Path, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    command = ["forget", row(0)["origin"], "--store", str(store), "--weights", str(toy_model_dir)]
    with monkeypatch.context() as disk, pytest.raises(SystemExit):
        disk.setattr(Path, "write_bytes", full)
        main(command)
    assert "No space left" in capsys.readouterr().err and not (store / entries[0]["file"]).exists()
    main(command)
    assert read_entries(store) == entries[1:]


@pytest.mark.parametrize(
    ("kept", "reason"),
    [
        (0.0, "pictures of an export lie here without its table"),
        (0.35, "more pictures are in no row"),
        (0.9, "the row ends before"),
        (0.995, "the last row has no end"),
    ],
)
def test_an_export_that_came_in_part_teaches_nothing(kept: float, reason: str, tmp_path, toy_model_dir: Path, capsys):
    """Each cut leaves something that could be taken for a label: a photo without a part, under half an origin."""
    rows = [row(n) for n in range(4)]
    folder = folder_of(tmp_path / "in", [{**each, "file": f"photos/{each['origin']}.jpg"} for each in rows])
    whole = (folder / "labels.csv").read_bytes()
    (folder / "labels.csv").write_bytes(whole[: int(kept * len(whole))])
    if not kept:
        (folder / "labels.csv").unlink()
    command = ["add-photos", str(folder), "--store", str(tmp_path / "store"), "--weights", str(toy_model_dir)]
    with pytest.raises(SystemExit):
        main([*command, "--consent", "agreed", "--source", "case"])
    assert reason in capsys.readouterr().err and not (tmp_path / "store").exists()
    (folder / "labels.csv").write_bytes(whole)
    assert len(add(folder, tmp_path / "store", toy_model_dir)) == 4


def test_a_list_of_withdrawn_that_was_cut_off_is_refused(tmp_path: Path, toy_model_dir: Path, capsys):
    store = tmp_path / "store"
    entries = add(folder_of(tmp_path / "in", [row(0), row(1)]), store, toy_model_dir)
    (tmp_path / WITHDRAWN_FILE).write_text(f"{row(0)['origin']}\n{row(1)['origin'][:22]}")
    with pytest.raises(SystemExit):
        main(["forget", str(tmp_path / WITHDRAWN_FILE), "--store", str(store), "--weights", str(toy_model_dir)])
    assert "is no origin" in capsys.readouterr().err and read_entries(store) == entries


def test_what_is_no_origin_is_refused(tmp_path: Path, toy_model_dir: Path, capsys):
    with pytest.raises(SystemExit):
        main(["forget", "Mrs X", "--store", str(tmp_path), "--weights", str(toy_model_dir)])
    assert "'Mrs X' is no origin" in capsys.readouterr().err


def test_every_condition_that_a_render_names_is_a_condition_of_a_photo():
    assert set(CONDITIONS) == {*scene.CONDITIONS, "far"} and {"haze", "noisy"} < set(CONDITIONS)
