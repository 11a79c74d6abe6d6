"""The JSON API: answers by the contract, and a problem document (RFC 9457) for everything else."""

import io
import json
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from api.app import create_app
from api.identification import Resources
from api.settings import Settings
from guidance.documents.answer import Answer
from tests.support.toy_networks import blob_photo, encoded

BOX = ("control_box", (0.3, 0.4), 0.3, {"black": "above", "white": "left"})
HEAD = ("actuator_head", (0.75, 0.6), 0.2, {"black": "right"})
PHOTO = encoded(blob_photo(BOX, HEAD))
OTHER = encoded(blob_photo(BOX))


def post(client: TestClient, *photos: bytes, route: str = "/v1/identifications", **form: str):
    files = [("photos", (f"photo{n}.jpg", photo, "image/jpeg")) for n, photo in enumerate(photos, 1)]
    if not files:
        files = [(name, (None, value)) for name, value in form.items()]
        return client.post(route, files=files or [("observations", (None, "[]"))])
    return client.post(route, files=files, data=form)


def assert_problem(response, status: int, told: str) -> dict:
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    body = response.json()
    assert {"type", "title", "status", "detail", "instance"} <= set(body)
    assert body["status"] == status
    assert told in body["detail"]
    assert len(body["detail"]) < 600
    return body


def observed(**answers: str) -> str:
    return json.dumps([{"id": i, "answer": a} for i, a in answers.items()])


def test_a_photo_is_answered_by_the_contract(client: TestClient) -> None:
    response = post(client, PHOTO)
    assert response.status_code == 200
    document = response.json()
    Answer.model_validate(document)
    wanted = {
        "schema_version",
        "catalogue",
        "model",
        "photos",
        "observations",
        "control_box",
        "actuator",
        "next",
        "guidance",
    }
    assert wanted <= set(document)
    assert document["model"]["trained_on"] == {"synthetic": 0, "owned_photos": 0}
    photo = document["photos"][0]
    assert (photo["name"], photo["width"], photo["height"]) == ("photo1.jpg", 640, 480)
    assert photo["quality"] == {"usable": True, "problems": []}
    assert [s["kind"] for s in photo["subjects"]] == ["control_box", "actuator_head"]
    assert photo["subjects"][0]["concepts"]["stop_position"]["set"] == ["top"]
    assert document["control_box"]["because"][0]["from"] == "photo 1"
    assert max(document["control_box"]["probabilities"], key=document["control_box"]["probabilities"].get) == "hung-top"
    assert document["actuator"]["lowering"] == "pull_twist_knob"


def test_an_observation_is_enough(client: TestClient) -> None:
    document = post(client, observations=observed(battery_comes_off="no")).json()
    assert document["photos"] == []
    assert document["observations"] == [{"id": "battery_comes_off", "answer": "no"}]
    assert document["control_box"]["probabilities"]["hung-top"] < 0.05


def test_photo_and_observation_together(client: TestClient) -> None:
    alone = post(client, OTHER).json()["control_box"]["probabilities"]["hung-top"]
    both = post(client, OTHER, observations=observed(how_charge_shows="gauge", buttons_on_box="front")).json()
    assert both["control_box"]["probabilities"]["hung-top"] > alone


def test_a_photo_sent_twice_counts_once_and_is_named(client: TestClient) -> None:
    once, twice = post(client, PHOTO, OTHER).json(), post(client, PHOTO, OTHER, PHOTO).json()
    assert twice["photos"][2]["name"] == "photo3.jpg"
    assert twice["photos"][2]["quality"] == {"usable": False, "problems": ["duplicate"]}
    assert twice["control_box"] == once["control_box"]
    assert twice["actuator"] == once["actuator"]


def test_a_photo_of_nothing_is_not_seen(client: TestClient) -> None:
    document = post(client, encoded(Image.effect_noise((640, 480), 40).convert("RGB"))).json()
    assert document["control_box"]["decision"] == document["actuator"]["decision"] == "not_seen"
    assert document["guidance"]["parts"] == []


def test_a_poor_photo_is_answered_with_its_problem(client: TestClient) -> None:
    document = post(client, encoded(Image.new("RGB", (1, 1)), "PNG")).json()
    assert document["photos"][0]["quality"] == {"usable": False, "problems": ["too_small"]}
    assert document["control_box"]["decision"] == "not_seen"


@pytest.mark.parametrize("declared", ["text/html", "application/pdf", "image/heic", ""])
def test_a_lying_content_type_changes_nothing(client: TestClient, declared: str) -> None:
    response = client.post("/v1/identifications", files=[("photos", ("a.exe", PHOTO, declared))])
    assert response.status_code == 200
    assert response.json()["actuator"]["lowering"] == "pull_twist_knob"


def test_what_is_no_image_is_415(client: TestClient) -> None:
    response = client.post("/v1/identifications", files=[("photos", ("a.jpg", b"MZ\x90 I am a program", "image/jpeg"))])
    body = assert_problem(response, 415, "JPEG, PNG, WebP and HEIC are read")
    assert body["photo"] == "a.jpg"
    assert_problem(post(client, encoded(blob_photo(BOX), "GIF")), 415, "a GIF")


def test_a_cut_off_photo_is_422_and_each_bad_one_is_named(client: TestClient) -> None:
    body = assert_problem(
        post(client, PHOTO, PHOTO[: len(PHOTO) // 2], b"", OTHER), 422, "photo2.jpg: the JPEG file is cut off"
    )
    assert "Also photo3.jpg" in body["detail"]


def test_too_many_pixels_are_413(toy_settings: Settings, toy_resources: Resources) -> None:
    small = replace(toy_settings, max_megapixels=1)
    limited = Resources(toy_resources.model, toy_resources.catalogue, small.photo_limits)
    with TestClient(create_app(small, limited)) as client:
        assert_problem(post(client, encoded(blob_photo(BOX, size_wh=(1200, 900)))), 413, "1200 × 900 pixels came")


def test_an_observation_may_say_who_looked(client: TestClient) -> None:
    """Two people's answers about one look are two witnesses, one person's are one."""

    def surest(by: str) -> float:
        said = [{"id": "lowering", "answer": "squeeze_tabs", "by": by}]
        said.append({"id": "motor_end_shape", "answer": "squeeze_tabs", "by": "caregiver"})
        return post(client, observations=json.dumps(said)).json()["actuator"]["probabilities"]["squeeze_tabs"]

    assert surest("caregiver") == pytest.approx(surest("agent")) == pytest.approx(0.985)
    assert surest("technician") > 0.995


def test_nothing_is_422(client: TestClient) -> None:
    assert_problem(post(client), 422, "Neither a photo nor an observation came")


def test_seven_photos_are_422(client: TestClient) -> None:
    assert post(client, *[PHOTO] * 6).status_code == 200
    assert_problem(post(client, *[PHOTO] * 7), 422, "7 photos came, at most 6")
    assert_problem(post(client, *[PHOTO] * 60), 422, "Too many files")


@pytest.mark.parametrize(
    ("observations", "told"),
    [
        ('[{"id": "batery_comes_off", "answer": "yes"}]', "did you mean 'battery_comes_off'"),
        ('[{"id": "battery_comes_off", "answer": "perhaps"}]', "wanted one of yes, no, unsure"),
        ('[{"id": "battery_comes_off", "answer": "yes"}, {"id": "battery_comes_off", "answer": "no"}]', "two answers"),
        ('[{"id": "battery_comes_off"}]', "One observation is"),
        ('[{"id": "battery_comes_off", "answer": true}]', "One observation is"),
        ('[{"id": "battery_comes_off", "answer": "yes", "by": "a neighbour"}]', "One observation is"),
        ('{"battery_comes_off": "yes"}', "is dict"),
        ("battery_comes_off=yes", "is no JSON"),
        ("[" * 30_000, "is no JSON"),
        ("", "is no JSON"),
        (" ", "is no JSON"),
        ('[{"id": "battery_comes_off", "answer": "\\ud800"}]', "\\ud800 is half of a character"),
    ],
)
def test_an_observation_that_is_not_understood_is_422(client: TestClient, observations: str, told: str) -> None:
    assert_problem(post(client, PHOTO, observations=observations), 422, told)


def test_a_field_or_role_that_is_not_known_is_named(client: TestClient) -> None:
    response = client.post("/v1/identifications", files=[("photo", ("a.jpg", PHOTO, "image/jpeg"))])
    assert_problem(response, 422, "field 'photo'")
    assert_problem(post(client, PHOTO, role="caregivr"), 422, "did you mean 'caregiver'")
    assert_problem(
        client.post("/v1/identifications", data={"photos": "abc"}, files={"role": (None, "agent")}), 422, "as text"
    )


def test_another_kind_of_body_is_415(client: TestClient) -> None:
    assert_problem(client.post("/v1/identifications", json={"photos": []}), 415, "multipart/form-data")
    assert_problem(
        client.post("/v1/identifications", content=PHOTO, headers={"content-type": "image/jpeg"}),
        415,
        "image/jpeg came",
    )


@pytest.mark.parametrize(
    "body", [b"", b"--x\r\nnonsense", b"--x\r\nContent-Disposition: form-data\r\n\r\nabc\r\n--x--\r\n"]
)
def test_a_broken_form_is_422(client: TestClient, body: bytes) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x"}
    assert client.post("/v1/identifications", content=body, headers=headers).status_code == 422
    without = client.post("/v1/identifications", content=body, headers={"content-type": "multipart/form-data"})
    assert_problem(without, 422, "boundary")


def test_names_lose_folders_and_control_characters(client: TestClient) -> None:
    name = "../../etc/\x1b[31mp\u202ehoto<script>.jpg"
    response = client.post("/v1/identifications", files=[("photos", (name, PHOTO, "image/jpeg"))])
    came = response.json()["photos"][0]["name"]
    assert not set(came) & set("/\\<>\x1b\u202e")
    assert came.endswith(".jpg")


def test_unknown_routes_and_methods_are_problems_too(client: TestClient) -> None:
    assert_problem(client.get("/v1/nothing"), 404, "GET /v1/nothing is not served; /docs")
    assert_problem(client.get("/v1/identifications"), 405, "GET /v1/identifications is not served")


def test_a_fault_of_ours_is_a_500_that_gives_nothing_away(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("secret path /home/x")

    monkeypatch.setattr("api.http.routes.read_photos", broken)
    response = post(client, PHOTO)
    assert_problem(response, 500, "the log has the details")
    assert "secret" not in response.text


def test_an_overlay_is_the_photo_with_something_drawn_on_it(client: TestClient) -> None:
    response = post(client, PHOTO, route="/v1/overlays")
    assert response.status_code == 200
    assert response.headers["content-type"] == "image/jpeg"
    drawn = Image.open(io.BytesIO(response.content))
    assert drawn.size == (640, 480)
    difference = sum(
        abs(a - b)
        for a, b in zip(drawn.convert("L").tobytes(), blob_photo(BOX, HEAD).convert("L").tobytes(), strict=True)
    )
    assert difference > 100_000
    assert_problem(post(client, PHOTO, OTHER, route="/v1/overlays"), 422, "send one photo")
    assert_problem(post(client, PHOTO[:3000], route="/v1/overlays"), 422, "cut off")


def test_catalogue_health_and_documentation(client: TestClient) -> None:
    assert client.get("/v1/catalogue").json()["pool"]["id"] == "demo-loan-pool"
    assert client.get("/healthz").json() == {"status": "alive"}
    assert client.get("/readyz").json()["model"] == "toy"


def test_the_page_about_the_api_names_every_route_and_fetches_nothing(client: TestClient) -> None:
    page = client.get("/docs")
    assert page.status_code == 200
    assert page.headers["content-type"].startswith("text/html")
    for path in client.get("/openapi.json").json()["paths"]:
        assert f" {path}</code>" in page.text
    assert "photos" in page.text
    assert not any(word in page.text for word in ("<script", "src=", "stylesheet", "//cdn", "@import"))


def test_openapi_describes_form_answer_and_refusals(client: TestClient) -> None:
    document = client.get("/openapi.json").json()
    operation = document["paths"]["/v1/identifications"]["post"]
    form = operation["requestBody"]["content"]["multipart/form-data"]["schema"]["properties"]
    assert set(form) == {"photos", "observations", "role"}
    assert {"200", "413", "415", "422", "429", "503"} <= set(operation["responses"])
    assert operation["responses"]["200"]["content"]["application/json"]["schema"]["$ref"].endswith("Answer")
