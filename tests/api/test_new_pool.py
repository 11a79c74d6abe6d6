"""`hoistlore catalogue new`: a folder that passes the check as it is written, and nothing is ever written over."""

import json
import re
import shlex
from pathlib import Path

import pytest

from api.commands import main as cli
from guidance.catalogue.schema import catalogue_schema


def run(capsys: pytest.CaptureFixture, *arguments: str) -> tuple[int, str, str]:
    status = cli.main(list(arguments))
    captured = capsys.readouterr()
    return status, captured.out, captured.err


@pytest.fixture
def pool(tmp_path: Path, capsys: pytest.CaptureFixture) -> Path:
    folder = tmp_path / "pools" / "mine"
    status, said, _ = run(capsys, "catalogue", "new", str(folder))
    assert status == 0
    assert [line for line in said.splitlines() if line.startswith("written: ")] == [
        f"written: {file}" for file in sorted(folder.iterdir())
    ]
    assert f"hoistlore catalogue check {folder}" in said
    return folder


def test_what_is_written_passes_the_check(pool: Path, capsys: pytest.CaptureFixture) -> None:
    status, said, wrong = run(capsys, "catalogue", "check", str(pool))
    assert (status, wrong) == (0, "")
    assert "my-pool draft-1 holds together" in said and "Placeholder rates" in said


def test_editors_find_the_schema_beside_every_file(pool: Path, capsys: pytest.CaptureFixture) -> None:
    assert all(file.read_text().startswith("#:schema ./catalogue.schema.json\n") for file in pool.glob("*.toml"))
    assert json.loads((pool / "catalogue.schema.json").read_text()) == catalogue_schema()
    status, printed, _ = run(capsys, "catalogue", "schema")
    assert status == 0 and json.loads(printed) == catalogue_schema()


def test_every_file_explains_itself(pool: Path) -> None:
    for file in pool.glob("*.toml"):
        assert file.read_text().splitlines()[1].startswith("# "), file.name


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    kept = tmp_path / "pool.toml"
    kept.write_text("mine")
    for taken in (tmp_path, kept):
        status, said, wrong = run(capsys, "catalogue", "new", str(taken))
        assert (status, said) == (2, "")
        assert str(taken) in wrong and "Name a new or an empty one" in wrong
    assert kept.read_text() == "mine" and len(list(tmp_path.iterdir())) == 1


def test_a_folder_below_a_file_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    (tmp_path / "file").write_text("")
    status, _, wrong = run(capsys, "catalogue", "new", str(tmp_path / "file" / "pool"))
    assert status == 2 and "Name a folder that can be written to" in wrong


def test_without_a_fault_model_it_still_identifies(pool: Path, capsys: pytest.CaptureFixture) -> None:
    for name in ("faults", "findings", "checks", "repairs", "symptoms", "parts"):
        (pool / f"{name}.toml").unlink()
    trade = pool / "trade.toml"
    trade.write_text(trade.read_text().replace('parts = ["battery-second"]', ""))
    assert run(capsys, "catalogue", "check", str(pool))[0] == 0
    status, said, _ = run(capsys, "identify", "--observe", "where_is_stop=top", "--catalogue", str(pool))
    assert status == 0 and "Sealed box, stop on top" in said
    status, _, wrong = run(capsys, "triage", "--catalogue", str(pool))
    assert status == 2 and "no fault model" in wrong


def test_the_commands_of_the_field_guide_run(tmp_path: Path, monkeypatch, capsys: pytest.CaptureFixture) -> None:
    guide = (Path(__file__).parents[2] / "docs" / "catalogue.md").read_text(encoding="utf-8")
    commands = re.findall(r"`hoistlore ((?:catalogue|identify) [^`]+)`", guide)
    assert {command.split()[1] for command in commands} >= {"new", "check", "show", "--observe"}
    monkeypatch.chdir(tmp_path)
    for command in commands:
        status, _, wrong = run(capsys, *shlex.split(command))
        assert status == 0, f"{command}: {wrong}"
    assert (tmp_path / "network.svg").read_text().startswith("<svg")
