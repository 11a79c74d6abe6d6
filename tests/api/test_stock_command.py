"""`hoistlore stock`: every form says the same, the picture is one, and what it refuses."""

import csv
import io
import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from api.commands.main import main

pytestmark = pytest.mark.walk

FEW = ("--service-level", "0.95", "--lead-days", "10", "--day-without", "0.5")


def printed(capsys: pytest.CaptureFixture, *arguments: str) -> str:
    assert main(["stock", *arguments]) == 0
    return capsys.readouterr().out


def test_every_form_says_the_same(capsys: pytest.CaptureFixture) -> None:
    plan = json.loads(printed(capsys, *FEW, "--format", "json"))
    rows = list(csv.DictReader(io.StringIO(printed(capsys, *FEW, "--format", "csv"))))
    assert [(row["part"], int(row["level"])) for row in rows] == [(row["part"], row["level"]) for row in plan["parts"]]
    assert plan["service"] >= 0.95 and min(row["served"] for row in plan["parts"]) >= plan["service"]
    assert plan["cost"] == pytest.approx(sum(row["cost"] for row in plan["parts"]))
    table = printed(capsys, *FEW)
    assert all(row["part"] in table for row in plan["parts"])
    assert "none was counted (--pool)" in table and "Assumed, since nobody gave it: calls per year 1" in table
    assert "price 100" in table and "day without" not in table  # that was given


def test_the_picture_has_a_row_for_each_part(capsys: pytest.CaptureFixture) -> None:
    plan = json.loads(printed(capsys, *FEW, "--format", "json"))
    picture = ElementTree.fromstring(printed(capsys, *FEW, "--format", "svg"))
    words = [element.text for element in picture.iter("{http://www.w3.org/2000/svg}text")]
    for row in plan["parts"]:
        assert any(row["number"] in text for text in words)
    width = float(picture.get("width"))
    for bar in picture.iter("{http://www.w3.org/2000/svg}rect"):
        if bar.get("x"):
            assert float(bar.get("x")) + float(bar.get("width")) <= width


def test_a_pool_of_one_generation_wants_its_parts_alone(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    pool = tmp_path / "pool.csv"
    pool.write_text("lift,confirmed_generation\n" + "".join(f"L{i},hung-top\n" for i in range(200)), encoding="utf-8")
    plan = json.loads(printed(capsys, *FEW, "--pool", str(pool), "--format", "json"))
    parts = {row["part"] for row in plan["parts"]}
    assert {"pack-hung", "board-hung", "fuse-any"} <= parts
    assert not parts & {"pack-stacked", "board-stacked", "cradle-hung"}
    assert plan["notes"][0] == "200 lifts, counted."


def test_terms_and_closed_cases_move_the_plan(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    usual = {row["part"]: row for row in json.loads(printed(capsys, *FEW, "--format", "json"))["parts"]}
    terms, cases = tmp_path / "terms.csv", tmp_path / "cases.jsonl"
    terms.write_text("part,price,lead_days,pieces\nfuse-any,2,60,0.5 0.5\n", encoding="utf-8")
    case = {"setting": "in_service", "fault": "fuse_blown", "proof": "measured"}
    cases.write_text((json.dumps(case) + "\n") * 60, encoding="utf-8")
    moved = json.loads(printed(capsys, *FEW, "--terms", str(terms), "--cases", str(cases), "--format", "json"))
    fuse = next(row for row in moved["parts"] if row["part"] == "fuse-any")
    assert fuse["price"] == 2 and fuse["lead_days"] == 60
    assert fuse["asked_a_year"] > 2 * usual["fuse-any"]["asked_a_year"]
    assert fuse["level"] > usual["fuse-any"]["level"]
    assert "60 closed cases moved them" in moved["notes"][-1]


@pytest.mark.parametrize(
    ("arguments", "wanted"),
    [
        (["--service-level", "1"], "the service level is 1"),
        (["--lead-days", "-3"], "lead days are -3"),
        (["--lead-days", "nan"], "lead days are nan"),
        (["--lifts", "0"], "--lifts is 0"),
        (["--price", "0"], "--price is 0"),
        (["--calls-per-year", "inf"], "--calls-per-year is inf"),
        (["--calibration", "nowhere"], "--calibration goes with --pool"),
        (["--pool", "nowhere.csv"], "Name a file of JSON lines"),
        (["--cases", "nowhere"], "cannot be read"),
        (["--terms", "nowhere.csv"], "cannot be read"),
        (["--lifts", "1000000", "--lead-days", "1000"], "Give a shorter lead time"),
    ],
)
def test_bad_options_are_refused(arguments: list[str], wanted: str, capsys: pytest.CaptureFixture) -> None:
    assert main(["stock", *arguments]) == 2
    assert wanted in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("part,cost\nfuse-any,3\n", "part, price, lead_days, pieces are wanted"),
        ("part,price\nfuse,3\n", "line 2: unknown part 'fuse'; did you mean 'fuse-any'"),
        ("part,price\nfuse-any,cheap\n", "Numbers with a point are wanted"),
        ("part,price\nfuse-any,3 4\n", "Numbers with a point are wanted"),
        ("part,price\nfuse-any,-3\n", "line 2: price is -3"),
        ("part,lead_days\nfuse-any,-1\n", "line 2: lead days are -1"),
        ("part,pieces\nfuse-any,0.5 0.4\n", "sum to 0.9"),
        ("part,pieces\nfuse-any,1.5 -0.5\n", "Shares from 0 to 1"),
        ("part,price\nfuse-any,3\nfuse-any,3\n", "line 3: the part 'fuse-any' comes twice"),
        ("part,price\nfuse-any\n", "not as many cells"),
        ("", "are wanted"),
    ],
)
def test_bad_terms_are_named(text: str, wanted: str, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    terms = tmp_path / "terms.csv"
    terms.write_text(text, encoding="utf-8")
    assert main(["stock", "--terms", str(terms)]) == 2
    assert wanted in capsys.readouterr().err
