"""The command as a person or a script runs it."""

import ast
import gc
import json
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from api.commands import main as cli
from guidance.documents.answer import Answer
from tests.support.toy_networks import blob_photo, encoded

BOX = ("control_box", (0.3, 0.4), 0.3, {"black": "above", "white": "left"})
HEAD = ("actuator_head", (0.75, 0.6), 0.2, {"black": "right"})


@pytest.fixture(autouse=True)
def toy_weights(toy_model_dir: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOISTLORE_WEIGHTS", str(toy_model_dir))
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def photos(tmp_path: Path) -> dict[str, str]:
    """Paths of a photo of box and head, of the box alone, a cut-off one, a GIF and a text."""
    whole = encoded(blob_photo(BOX, HEAD))
    contents = {
        "whole.jpg": whole, "box.png": encoded(blob_photo(BOX), "PNG"), "cut.jpg": whole[:4000],
        "moving.gif": encoded(blob_photo(BOX), "GIF"), "note.jpg": b"no photo at all",
    }  # fmt: skip
    for name, data in contents.items():
        (tmp_path / name).write_bytes(data)
    return {name: str(tmp_path / name) for name in contents}


def run(capsys: pytest.CaptureFixture, *arguments: str) -> tuple[int, str, str]:
    status = cli.main(["identify", *arguments])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def test_a_person_reads_what_how_sure_what_first_and_what_next(photos: dict, capsys: pytest.CaptureFixture) -> None:
    status, out, err = run(capsys, photos["whole.jpg"])
    assert (status, err) == (0, "")
    order = [
        "CONTROL BOX", "Hung pack, stop on top (hung-top)", "LOWERING", "a knob to pull, then twist", "FIRST",
        "Is somebody in the sling", "TO BRING SOMEBODY DOWN", "NEXT", "PHOTOS", "control box over 99 %", "Model toy",
    ]  # fmt: skip
    places = [out.find(words) for words in order]
    assert -1 not in places
    assert places == sorted(places)
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("columns", ["20", "60", "500"])
def test_lines_fit_the_terminal(
    columns: str, photos: dict, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    _, out, _ = run(capsys, photos["whole.jpg"])
    longest = max(len(line) for line in out.splitlines() if "--observe" not in line and "/" not in line)
    assert longest <= min(max(int(columns), 40), 100)


def test_garbage_is_looked_for_again_once_everything_is_loaded(photos: dict, capsys: pytest.CaptureFixture) -> None:
    run(capsys, photos["whole.jpg"])
    assert gc.isenabled()
    status, _, _ = run(capsys, photos["whole.jpg"], "--catalogue", "nowhere.toml")
    assert status == 2 and gc.isenabled()


def test_json_is_the_contracts_document(photos: dict, capsys: pytest.CaptureFixture) -> None:
    status, out, _ = run(capsys, photos["whole.jpg"], photos["box.png"], "--json")
    assert status == 0
    document = Answer.model_validate_json(out)
    assert [p.name for p in document.photos] == [photos["whole.jpg"], photos["box.png"]]


def test_each_prints_one_document_a_line(photos: dict, capsys: pytest.CaptureFixture) -> None:
    status, out, err = run(capsys, photos["whole.jpg"], photos["cut.jpg"], photos["box.png"], "--each")
    documents = [json.loads(line) for line in out.splitlines()]
    assert status == 0
    assert [d["photos"][0]["name"] for d in documents] == [photos["whole.jpg"], photos["box.png"]]
    assert documents[1]["actuator"]["decision"] == "not_seen"
    assert "cut.jpg: the JPEG file is cut off" in err


def test_each_takes_any_number_of_photos(photos: dict, capsys: pytest.CaptureFixture) -> None:
    status, out, _ = run(capsys, *[photos["box.png"]] * 8, "--each")
    assert (status, len(out.splitlines())) == (0, 8)


def test_an_observation_is_enough(capsys: pytest.CaptureFixture) -> None:
    status, out, _ = run(capsys, "--observe", "battery_comes_off=no", "--observe", "where_is_stop=top", "--json")
    assert status == 0
    assert json.loads(out)["control_box"]["favourite"] == "sealed-top"


def test_bad_photos_are_named_and_the_good_one_is_answered(photos: dict, capsys: pytest.CaptureFixture) -> None:
    status, out, err = run(
        capsys, photos["cut.jpg"], photos["moving.gif"], photos["whole.jpg"], photos["note.jpg"], "--json"
    )
    assert status == 0
    assert len(json.loads(out)["photos"]) == 1
    assert [line.split(": ")[1].rsplit("/")[-1] for line in err.splitlines()] == ["cut.jpg", "moving.gif", "note.jpg"]


def test_status_3_when_no_photo_could_be_read(photos: dict, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    status, out, err = run(capsys, photos["cut.jpg"], str(tmp_path / "absent.jpg"), str(tmp_path))
    assert (status, out) == (3, "")
    assert "absent.jpg: No such file or directory" in err
    assert "Is a directory" in err
    assert run(capsys, "--each", photos["cut.jpg"])[0] == 3


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "Neither a photo nor an observation"),
        (["--each"], "none came"),
        (["--observe", "battery_comes_off"], "ID=ANSWER is wanted"),
        (["--observe", "batery_comes_off=yes"], "did you mean 'battery_comes_off'"),
        (["--observe", "battery_comes_off=maybe"], "wanted one of yes, no, unsure"),
        (["--role", "doctor", "--observe", "battery_comes_off=yes"], "Role 'doctor' came"),
        (["x.jpg"] * 7, "7 photos came"),
        (["--catalogue", "/nowhere.toml", "x.jpg"], "/nowhere.toml: no catalogue here"),
    ],
)
def test_status_2_for_unusable_arguments(arguments: list[str], told: str, capsys: pytest.CaptureFixture) -> None:
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert told in err


def test_status_2_names_the_file_and_row_of_a_catalogue_with_a_typo(
    tmp_path: Path, capsys: pytest.CaptureFixture
) -> None:
    from guidance.catalogue.catalogue import DEMO_CATALOGUE

    for file in DEMO_CATALOGUE.glob("*.toml"):
        text = file.read_text(encoding="utf-8")
        (tmp_path / file.name).write_text(
            text.replace('battery = "hung_pack"', 'battery = "hang_pack"'), encoding="utf-8"
        )
    status, _, err = run(capsys, "--catalogue", str(tmp_path), "--observe", "battery_comes_off=yes")
    assert status == 2
    assert "generations.toml" in err
    assert "hung-top" in err
    assert "hung_pack" in err


def test_status_2_for_altered_weights(toy_model_dir: Path, tmp_path: Path, monkeypatch, capsys, photos: dict) -> None:
    for file in toy_model_dir.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "reader.onnx").write_bytes((tmp_path / "reader.onnx").read_bytes() + b"\0")
    monkeypatch.setenv("HOISTLORE_WEIGHTS", str(tmp_path))
    status, out, err = run(capsys, photos["whole.jpg"])
    assert (status, out) == (2, "")
    assert "reader.onnx has SHA-256" in err
    assert cli.main(["serve", "--port", "0"]) == 2
    assert "reader.onnx has SHA-256" in capsys.readouterr().err


def test_overlays_are_written_for_every_photo_that_was_read(photos: dict, tmp_path: Path, capsys) -> None:
    target = tmp_path / "new" / "folder"
    status, _, err = run(capsys, photos["whole.jpg"], photos["cut.jpg"], photos["box.png"], "--overlay", str(target))
    assert status == 0
    assert sorted(p.name for p in target.iterdir()) == ["box.3.overlay.jpg", "whole.1.overlay.jpg"]
    assert Image.open(target / "whole.1.overlay.jpg").size == (640, 480)
    assert err.count("drawn: ") == 2


def test_a_folder_that_cannot_be_written_is_status_2(photos: dict, capsys: pytest.CaptureFixture) -> None:
    status, _, err = run(capsys, photos["whole.jpg"], "--overlay", photos["note.jpg"])
    assert status == 2
    assert "Name a folder that can be written to" in err


def test_a_photo_over_the_limit_is_not_even_read(photos: dict, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    with (tmp_path / "huge.jpg").open("wb") as file:
        file.truncate(200 * 2**20)
    status, _, err = run(capsys, str(tmp_path / "huge.jpg"))
    assert status == 3
    assert "200.0 MiB, at most 25 MiB are read" in err


def test_a_reader_that_goes_away_is_no_fault(photos: dict) -> None:
    command = f"{sys.executable} -m api.commands.main identify {photos['whole.jpg']} | head -1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True, timeout=60)
    assert done.stdout.startswith("CONTROL BOX")
    assert done.stderr == ""


def test_identifying_loads_nothing_that_it_does_not_need(photos: dict) -> None:
    told = f"""
import sys
from api.commands.main import main
main(["identify", {photos["whole.jpg"]!r}])
print(sorted({{name.partition(".")[0] for name in sys.modules}}), file=sys.stderr)
"""
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, timeout=60)
    loaded = set(ast.literal_eval(done.stderr))
    assert {"numpy", "PIL", "onnxruntime", "pydantic"} <= loaded
    assert loaded.isdisjoint({"fastapi", "starlette", "uvicorn", "sqlalchemy", "alembic", "jinja2", "babel", "scipy",
                              "cv2", "torch", "pyarrow", "httpx"})  # fmt: skip
