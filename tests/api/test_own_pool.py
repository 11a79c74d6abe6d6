"""A pool with two new generations, written by the field guide, answers a case from the first question to the part."""

import builtins
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.commands import main as cli
from api.identification import Resources
from api.settings import Settings
from guidance.catalogue.new_pool import new_pool
from tests.api.described import Described
from tests.api.test_caregiver_pages import choices, opened, press, words

WRITTEN = Path(__file__).parents[1] / "guidance" / "pools" / "ward"
SEEN = {
    "slim": ("where_is_stop=front", "how_battery_sits=hung_pack", "buttons_on_box=none", "how_charge_shows=lamp_row"),
    "tower": ("where_is_stop=top", "how_battery_sits=stacked_pack", "buttons_on_box=side", "how_charge_shows=none"),
}
GRIP = {"slim": "loop", "tower": "bar"}
SAFE = {"person_in_sling": "no", "danger_signs": []}


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What `hoistlore catalogue new` writes, with the ward's own files in its place and its question added."""
    new_pool(folder := tmp_path_factory.mktemp("pools") / "ward")
    for file in WRITTEN.glob("*.toml"):
        shutil.copy(file, folder / file.name)
    for file in (WRITTEN / "added").glob("*.toml"):
        with (folder / file.name).open("a", encoding="utf-8") as grown:
            grown.write(file.read_text(encoding="utf-8"))
    return folder


@pytest.fixture(autouse=True)
def toy_weights(toy_model_dir: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOISTLORE_WEIGHTS", str(toy_model_dir))


@pytest.fixture(scope="module")
def ward_client(ward: Path, toy_settings: Settings, described: Described):
    settings = replace(toy_settings, catalogue=str(ward))
    with TestClient(create_app(settings, Resources.load(settings)), raise_server_exceptions=False) as client:
        described.watch(client)
        yield client


def run(capsys: pytest.CaptureFixture, *arguments: str) -> tuple[int, str]:
    status = cli.main(list(arguments))
    return status, capsys.readouterr().out


def observed(box: str) -> list[str]:
    return [*SEEN[box], f"pack_grip_shape={GRIP[box]}"]


def test_it_passes_the_check(ward: Path, capsys: pytest.CaptureFixture) -> None:
    status, said = run(capsys, "catalogue", "check", str(ward))
    assert status == 0 and "ward-7 2026.3 holds together" in said and "2 generations" in said


@pytest.mark.parametrize("box", SEEN)
def test_a_box_is_told_by_what_was_seen(box: str, ward: Path, capsys: pytest.CaptureFixture) -> None:
    options = [part for answer in observed(box) for part in ("--observe", answer)]
    status, said = run(capsys, "identify", *options, "--json", "--catalogue", str(ward))
    found = json.loads(said)["control_box"]
    assert status == 0 and set(found["probabilities"]) == {"slim", "tower", "unlisted"}
    assert (found["decision"], found["generation"]) == ("confirmed", box)


def test_its_own_question_alone_speaks_for_its_box(ward: Path, capsys: pytest.CaptureFixture) -> None:
    _, said = run(capsys, "identify", "--observe", "pack_grip_shape=bar", "--json", "--catalogue", str(ward))
    found = json.loads(said)["control_box"]["probabilities"]
    assert found["tower"] > 0.5 and found["slim"] < 0.1


def test_a_conversation_leads_to_its_own_repair(ward: Path, capsys: pytest.CaptureFixture, monkeypatch) -> None:
    answers = iter(["no", "none", "still", "slim", *["q"] * 9])
    monkeypatch.setattr(builtins, "input", lambda prompt="": next(answers))
    status, said = run(capsys, "triage", "--catalogue", str(ward), "--role", "caregiver")
    assert status == 0
    for told in ("The arm stays still", "Slim lift, pack on the back", "PROBABLY AT FAULT", "battery pack"):
        assert told in said


def test_parts_are_named_once_what_they_depend_on_is_confirmed(ward: Path, capsys: pytest.CaptureFixture) -> None:
    status, said = run(capsys, "parts", "--fault", "pack_old", "--generation", "tower", "--catalogue", str(ward))
    assert status == 0 and "WARD-21" in said and "WARD-10" not in said.split("not mix")[0]
    status, said = run(capsys, "parts", "--fault", "motor_dead", "--generation", "slim", "--catalogue", str(ward))
    assert status == 3 and "WARD-4" not in said
    arguments = ("parts", "--fault", "motor_dead", "--generation", "slim", "--lowering", "squeeze_tabs")
    status, said = run(capsys, *arguments, "--catalogue", str(ward))
    assert status == 0 and "WARD-40" in said and "WARD-41" not in said


def test_over_http_a_case_runs_from_the_box_to_the_release(ward_client: TestClient) -> None:
    seen = [dict(zip(("id", "answer"), answer.split("="), strict=True)) for answer in observed("tower")]
    fields = {"observations": (None, json.dumps(seen))}
    box = ward_client.post("/v1/identifications", files=fields).json()["control_box"]
    case = {**SAFE, "role": "technician", "symptom": "still", "control_box": box}
    assert box["generation"] == "tower"

    first = ward_client.post("/v1/troubleshooting", json=case).json()
    known = {"pack", "charging", "handset", "stop_button", "motor", "rest"}
    assert first["state"] == "next_step" and {row["id"] for row in first["components"]} <= known

    done = [{"id": "see_button", "outcome": "in"}]
    pressed = ward_client.post("/v1/troubleshooting", json={**case, "done": done}).json()
    assert pressed["faults"][0]["id"] == "stop_in" and pressed["next"]["id"] == "turn_stop"

    done.append({"id": "turn_stop", "outcome": "works"})
    assert ward_client.post("/v1/troubleshooting", json={**case, "done": done}).json()["state"] == "release"


def test_an_outcome_as_bad_as_a_sign_takes_it_out_of_use(ward_client: TestClient) -> None:
    done = [{"id": "see_charging", "outcome": "burnt"}]
    case = {**SAFE, "role": "caregiver", "symptom": "no_charging", "done": done}
    document = ward_client.post("/v1/troubleshooting", json=case).json()
    proposed = document["next"]["acts"] if document["next"] else []
    assert document["state"] != "release" and "plug:charger" not in proposed
    assert any("unplug:charger" in row["acts"] for row in document["safety"])


def test_somebody_up_is_told_the_wards_own_steps_of_a_confirmed_mechanism_only(ward_client: TestClient) -> None:
    sure = {"decision": "confirmed", "probabilities": {"pull_twist_knob": 0.995, "none": 0.005}}
    up = {"person_in_sling": "yes", "role": "caregiver"}
    actuator = {**sure, "set": ["pull_twist_knob"], "lowering": "pull_twist_knob"}
    told = ward_client.post("/v1/troubleshooting", json={**up, "actuator": actuator}).json()
    steps = [step["text"] for step in told["lowering"]["steps"]]
    assert told["state"] == "bring_down" and "Pull the red knob out, then turn it slowly." in steps
    unknown = ward_client.post("/v1/troubleshooting", json=up).json()["lowering"]
    assert unknown["basis"] == "open" and not any("red knob" in step["text"] for step in unknown["steps"])


def test_what_goes_with_a_box_is_its_own(ward_client: TestClient) -> None:
    sure = {"decision": "confirmed", "probabilities": {"tower": 0.995, "unlisted": 0.005}, "set": ["tower"]}
    case = {**SAFE, "role": "technician", "symptom": "still", "control_box": sure}
    told = ward_client.post("/v1/troubleshooting", json=case).json()
    assert [row["id"] for row in told["options"]] == ["tower-second-pack"]
    assert [part["number"] for part in told["options"][0]["parts"]] == ["WARD-21"]


@pytest.mark.parametrize("tag", ["en", "es"])
def test_a_caregiver_is_led_to_an_end_in_the_wards_own_words(tag: str, ward_client: TestClient) -> None:
    """The first answer to whatever is asked, but "still" as the complaint: it ends with a code to read out."""
    here = opened(ward_client, tag)
    press(ward_client, here, "none")
    page, seen = press(ward_client, here, "", kind="no_photo"), []
    while (asked := choices(page)) and len(seen) < 30:
        seen.append(words(page))
        page = press(ward_client, here, "still" if "still" in asked else asked[0], page)
        assert page.status_code == 200
    told = " ".join([*seen, words(page)])
    assert "Slim lift, pack on the back" in told and "Take another lift and call the workshop." in told
    assert 'class="unseen"' in page.text, "a code to read out"
    assert not any(name in told for name in ("Stacked pack, stop in front", "sealed-top", "DEMO-"))


def test_the_catalogue_is_told_by_its_name(ward_client: TestClient) -> None:
    told = ward_client.get("/v1/catalogue").json()
    assert json.dumps(told).count("ward-7") >= 1 and "sealed-top" not in json.dumps(told)
