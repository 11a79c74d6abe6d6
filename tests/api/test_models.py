"""A server takes a promoted model without dropping a request, and tries one that waits without showing it."""

import json
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from api import upkeep
from api.models import DIFFERENCES_FILE, MOST_LINES, Shadow, Watched
from classifier.identify import read_photo
from classifier.model import Model
from classifier.photo import PhotoLimits
from classifier.recipe import METADATA_FILE, Recipe, write_whole
from training.owned.promote import leave_shadow, promote, roll_back
from training.owned.versions import signed, versions

PHOTO = next((Path(__file__).parents[1] / "standins/pictures/images").glob("*.jpg")).read_bytes()
BOX, HEAD = ({"decision": "confirmed", "value": value} for value in ("hung-top", "none"))


@pytest.fixture
def weights(toy_model_dir: Path, tmp_path: Path) -> Path:
    return shutil.copytree(toy_model_dir, tmp_path / "weights")


def recalibrated(weights: Path, out: Path) -> Path:
    """The same networks with another temperature, as a recalibration leaves them."""
    shutil.copytree(weights, out)
    recipe, _ = Recipe.read(out)
    concepts = dict(recipe.reader.concepts)
    concepts["battery"] = concepts["battery"].with_(temperature=2.5)
    other = recipe.with_(reader=recipe.reader.with_(concepts=concepts))
    signed(other, recipe, "recalibrate", ["a photo"]).write(out)
    return out


class Load:
    """Clients that send photos without a pause, until they are stopped, and keep what came."""

    def __init__(self, url: str, clients: int) -> None:
        self.url, self.ended = url, threading.Event()
        self.came: list[tuple[int, str]] = []
        self.threads = [threading.Thread(target=self._send) for _ in range(clients)]
        for thread in self.threads:
            thread.start()

    def _send(self) -> None:
        with httpx.Client(base_url=self.url, timeout=60) as client:
            while not self.ended.is_set():
                answer = client.post("/v1/identifications", files=[("photos", ("a.jpg", PHOTO))])
                version = answer.json()["model"]["version"] if answer.status_code == 200 else ""
                self.came.append((answer.status_code, version))

    def until(self, version: str, times: int = 3, timeout_s: float = 60) -> None:
        begun, deadline = len(self.came), time.monotonic() + timeout_s
        while sum(came == version for _, came in self.came[begun:]) < times:
            assert time.monotonic() < deadline, f"{version} did not come into use: {set(self.came)}"
            time.sleep(0.02)

    def stop(self) -> None:
        self.ended.set()
        for thread in self.threads:
            thread.join(60)


def test_a_model_is_swapped_and_brought_back_under_load_without_a_failed_request(
    weights: Path, own_settings: Callable, served: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(upkeep, "LOOK_EVERY_S", 0.05)
    new = recalibrated(weights, tmp_path / "new")
    load = Load(served(own_settings(weights=str(weights))).url, clients=3)
    try:
        load.until("toy")
        version = promote(new, weights, "N. Example")
        load.until(version)
        roll_back(weights)
        load.until("toy")
        version = promote(new, weights, "N. Example")
        load.until(version)
    finally:
        load.stop()
    assert {status for status, _ in load.came} == {200}
    assert {came for _, came in load.came} == {"toy", version}


def test_what_cannot_be_used_leaves_the_model_before(weights: Path):
    watched = Watched(weights, 1)
    assert watched.taken_anew() is None, "nothing has changed"
    told = json.loads((weights / "model.json").read_text())
    (weights / "model.json").write_text(json.dumps(told | {"reader": told["reader"] | {"sha256": "0" * 64}}))
    assert watched.taken_anew() is None and watched.taken_anew() is None
    (weights / "model.json").write_text(json.dumps(told | {"version": "mended"}))
    assert watched.taken_anew().info.version == "mended"
    (weights / "model.json").unlink()
    assert watched.taken_anew() is None


def test_a_waiting_model_is_tried_on_live_photos_and_shown_to_nobody(
    weights: Path, own_settings: Callable, served: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(upkeep, "LOOK_EVERY_S", 0.05)
    shadow = tmp_path / "weights/shadow"
    server = served(own_settings(weights=str(weights), shadow=str(shadow)))
    leave_shadow(recalibrated(weights, tmp_path / "new"), shadow)  # left while the server runs
    deadline = time.monotonic() + 60
    with httpx.Client(base_url=server.url, timeout=60) as client:
        while not (shadow / DIFFERENCES_FILE).is_file():
            assert time.monotonic() < deadline
            answer = client.post("/v1/identifications", files=[("photos", ("secret name.jpg", PHOTO))])
            assert answer.json()["model"]["version"] == "toy"
    line = json.loads((shadow / DIFFERENCES_FILE).read_text().splitlines()[0])
    assert line["in_use"] == "toy" and line["shadow"].startswith("toy+recalibrate.")
    assert set(line["shown"]) == set(line["tried"]) == {"control_box", "actuator"}
    assert "secret" not in json.dumps(line)
    promote(shadow, weights, "N. Example")
    shutil.rmtree(shadow)  # as the command leaves it
    deadline = time.monotonic() + 60
    while server.app.state.loaded.shadow is not None:
        assert time.monotonic() < deadline, "what is in use is not tried beside itself"
        time.sleep(0.02)
    leave_shadow(recalibrated(weights, tmp_path / "newer"), shadow)
    while server.app.state.loaded.shadow is None:
        assert time.monotonic() < deadline, "another one that waits is tried"
        time.sleep(0.02)


def shadow_of(folder: Path, model: Model, tried: dict) -> Shadow:
    shown = {"control_box": BOX, "actuator": HEAD}
    said = iter([shown, tried] * 10)
    folder.mkdir()
    return Shadow(folder, model, PhotoLimits(), lambda reading, by: next(said))


def test_differences_are_listed_and_its_price_is_bounded(toy_model: Model, toy_model_dir: Path, tmp_path: Path):
    shadow = shadow_of(tmp_path / "s", toy_model, {"control_box": {**BOX, "decision": "likely"}, "actuator": HEAD})
    reading = read_photo(PHOTO, "a.jpg", toy_model, PhotoLimits())
    assert shadow.offer(PHOTO, reading, toy_model)
    assert not shadow.offer(PHOTO, reading, toy_model), "one photo at a time, and then it rests"
    shadow.close()
    (line,) = (tmp_path / "s" / DIFFERENCES_FILE).read_text().splitlines()
    assert json.loads(line)["differs"] == ["control_box"]
    write_whole(tmp_path / "s" / METADATA_FILE, (toy_model_dir / METADATA_FILE).read_bytes())
    (tmp_path / "shadow").symlink_to(tmp_path / "s")
    with (tmp_path / "s" / DIFFERENCES_FILE).open("a") as out:
        out.write('{"at": "2026')  # as when the disk was full
    waits = versions(tmp_path)[0]
    assert waits.as_text().endswith("tried on 1 live photos, of the control_box it differs in 1")
    assert [line.split(" ", 1)[1] for line in waits.differences()] == [
        "control_box: shown confirmed hung-top, tried likely hung-top"
    ]
    assert not shadow.offer(PHOTO, reading, toy_model) and shadow._rests_until > time.monotonic()


def test_a_full_list_and_a_folder_that_is_gone_stop_nothing(toy_model: Model, tmp_path: Path):
    reading = read_photo(PHOTO, "a.jpg", toy_model, PhotoLimits())
    full = shadow_of(tmp_path / "full", toy_model, {"control_box": BOX, "actuator": HEAD})
    (tmp_path / "full" / DIFFERENCES_FILE).write_text("{}\n" * MOST_LINES)
    gone = shadow_of(tmp_path / "gone", toy_model, {"control_box": BOX, "actuator": HEAD})
    shutil.rmtree(tmp_path / "gone")
    for shadow in (full, gone):
        assert shadow.offer(PHOTO, reading, toy_model)
        shadow.close()
        assert not shadow._free.locked()
    assert len((tmp_path / "full" / DIFFERENCES_FILE).read_text().splitlines()) == MOST_LINES
