"""`hoistlore pool`: the file in both forms, what it prints, and what it refuses."""

import csv
import io
import json
from pathlib import Path

import pytest

from api.commands.main import main

pytestmark = pytest.mark.walk

GENERATIONS = ("sealed-front", "sealed-top", "hung-top", "stacked-front", "unlisted")


def line(lift: str, favourite: str, p: float, **more: object) -> dict:
    rest = (1 - p) / 4
    probabilities = {g: p if g == favourite else rest for g in GENERATIONS}
    return {"lift": lift, "control_box": {"probabilities": probabilities, "set": [favourite]}, **more}


def written(path: Path, rows: list[dict]) -> str:
    path.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    return str(path)


@pytest.fixture
def pool(tmp_path: Path) -> str:
    rows = [line(f"A{i}", "hung-top", 0.97) for i in range(30)] + [line(f"B{i}", "sealed-top", 0.7) for i in range(10)]
    rows += [line("C", "sealed-top", 0.7, confirmed={"generation": "stacked-front"}, minutes=5)]
    return written(tmp_path / "pool.jsonl", rows)


def printed(capsys: pytest.CaptureFixture, *arguments: str) -> str:
    assert main(list(arguments)) == 0
    return capsys.readouterr().out


def test_counts_in_every_form_are_the_same(pool: str, capsys: pytest.CaptureFixture) -> None:
    counts = json.loads(printed(capsys, "pool", "count", pool, "--format", "json"))
    rows = list(csv.DictReader(io.StringIO(printed(capsys, "pool", "count", pool, "--format", "csv"))))
    assert counts["lifts"] == 41
    assert [row["value"] for row in rows[:5]] == list(GENERATIONS)
    assert [float(row["expected"]) for row in rows] == [row["expected"] for row in counts["counts"]]
    stacked = counts["counts"][3]
    assert stacked["confirmed"] == 1 and stacked["low"] >= 1 and stacked["favourites"] == 0
    table = printed(capsys, "pool", "count", pool)
    assert "measured on 1 confirmed lifts" in table
    assert f"{counts['counts'][2]['low']} to {counts['counts'][2]['high']}" in table


def test_a_table_says_what_lines_say(pool: str, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    rows = [json.loads(text) for text in Path(pool).read_text("utf-8").splitlines()]
    table = tmp_path / "pool.csv"
    with table.open("w", encoding="utf-8", newline="") as out:
        names = [f"generation.{g}" for g in GENERATIONS]
        writer = csv.DictWriter(out, ["lift", *names, "generation_set", "confirmed_generation", "minutes"])
        writer.writeheader()
        for row in rows:
            box = row["control_box"]
            cells = {f"generation.{g}": p for g, p in box["probabilities"].items()}
            known = row.get("confirmed", {}).get("generation", "")
            writer.writerow(
                cells
                | {"lift": row["lift"], "generation_set": " ".join(box["set"]), "confirmed_generation": known}
                | {"minutes": row.get("minutes", "")}
            )
    assert printed(capsys, "pool", "count", str(table)) == printed(capsys, "pool", "count", pool)


def test_answers_of_identify_are_right_lines(toy_model_dir, tmp_path, monkeypatch, capsys) -> None:
    from tests.support.toy_networks import blob_photo, encoded

    monkeypatch.setenv("HOISTLORE_WEIGHTS", str(toy_model_dir))
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(encoded(blob_photo(("control_box", (0.3, 0.4), 0.3, {}))))
    answers = tmp_path / "answers.jsonl"
    answers.write_text(printed(capsys, "identify", "--each", str(photo)), encoding="utf-8")
    assert printed(capsys, "pool", "count", str(answers)).startswith("1 lifts")


def test_looks_and_recall_name_the_lifts(pool: str, capsys: pytest.CaptureFixture) -> None:
    looks = json.loads(printed(capsys, "pool", "look", pool, "--of", "generation=hung-top", "--format", "json"))
    after = [row["deviation_after"] for row in looks["looks"]]
    assert len(after) == 20 and after == sorted(after, reverse=True)
    assert "C" not in {row["lift"] for row in looks["looks"]}  # it is known
    assert printed(capsys, "pool", "look", pool, "--of", "generation=hung-top", "--most", "2").count("lift") >= 1
    recall = json.loads(printed(capsys, "pool", "recall", pool, "--of", "part=charger-hung", "--format", "json"))
    named = [row["lift"] for row in recall["lifts"]]
    assert {f"A{i}" for i in range(30)} <= set(named) and "C" not in named
    assert recall["missed_expected"] <= 0.05
    assert "lifts named" in printed(capsys, "pool", "recall", pool, "--of", "part=charger-hung", "--risk", "0.5")


def test_a_name_is_no_formula_in_a_spreadsheet(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    pool = written(tmp_path / "pool.jsonl", [line("=1+1", "hung-top", 0.97), line("B-1", "hung-top", 0.97)])
    table = printed(capsys, "pool", "recall", pool, "--of", "generation=hung-top", "--format", "csv")
    assert {row["lift"] for row in csv.DictReader(io.StringIO(table))} == {"'=1+1", "B-1"}


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("no json", "line 1: no JSON"),
        ("[1]", "An object with control_box and actuator is wanted"),
        ('{"lift": "A"}', "neither control_box nor actuator"),
        ('{"control_box": {}}', "the lift has no name"),
        ('{"lift": "A", "control_box": {"probabilities": {"hung-top": 0.7}}}', "sum to 0.700"),
        ('{"lift": "A", "control_box": {"probabilities": {"hung-top": 1.7}}}', "from 0 to 1"),
        ('{"lift": "A", "control_box": {"probabilities": {"hung": 1}}}', "did you mean 'hung-top'"),
        ('{"lift": "A", "control_box": {"probabilities": {"hung-top": true}}}', "from 0 to 1"),
        ('{"lift": "A", "control_box": {"set": "hung-top"}}', "set as a list"),
        ('{"lift": "A", "control_box": 3}', "An object is wanted"),
        ('{"lift": "A", "control_box": {}, "minutes": 0}', "A number above 0"),
        ('{"lift": "A", "control_box": {}, "confirmed": {"generation": "old"}}', "unknown generation 'old'"),
        ('{"lift": "A", "control_box": {}, "confirmed": "hung-top"}', "an object is wanted"),
        ('{"lift": "A", "control_box": {}, "catalogue": {"id": "x", "version": "1"}}', "Give --catalogue"),
        ('{"lift": "A", "control_box": {}}\n{"lift": "A", "control_box": {}}', "line 2: the lift 'A' comes twice"),
        ("", "no lift stands there"),
    ],
)
def test_bad_lines_are_named(row: str, wanted: str, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    file = tmp_path / "pool.jsonl"
    file.write_text(row + "\n", encoding="utf-8")
    assert main(["pool", "count", str(file)]) == 2
    assert wanted in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("name,hung-top\nA,1\n", "column 'name' is not known"),
        ("minutes\n3\n", "no column 'lift'"),
        ("lift,generation.hung-top\nA,much\n", "line 2: generation.hung-top is 'much'"),
        ("lift,generation.hung-top\nA\n", "not as many cells"),
        ("lift,generation.hung-top\nA,1,2\n", "not as many cells"),
        ("lift,generation.hung-top\nA,nan\n", "from 0 to 1"),
    ],
)
def test_bad_tables_are_named(text: str, wanted: str, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    file = tmp_path / "pool.csv"
    file.write_text(text, encoding="utf-8")
    assert main(["pool", "count", str(file)]) == 2
    assert wanted in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "wanted"),
    [
        (["count", "{pool}", "--pool-size", "3"], "41 lifts came"),
        (["count", "{pool}", "--seed", "-1"], "from 0 on"),
        (["count", "nowhere.jsonl"], "Name a file of JSON lines"),
        (["count", "{pool}", "--calibration", "{open}"], "confirmed by a person"),
        (["look", "{pool}"], "Nothing was asked"),
        (["look", "{pool}", "--of", "lowering=none", "--most", "0"], "At least one look"),
        (["recall", "{pool}", "--of", "lowering=none", "--risk", "0"], "between 0 and 1"),
    ],
)
def test_bad_options_are_refused(arguments, wanted, pool: str, tmp_path: Path, capsys) -> None:
    open_ = written(tmp_path / "open.jsonl", [line("A", "hung-top", 0.9)])
    assert main(["pool", *[a.format(pool=pool, open=open_) for a in arguments]]) == 2
    assert wanted in capsys.readouterr().err
