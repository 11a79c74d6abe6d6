"""The description of the API, judged by two validators that are not ours, and every kind of answer judged by it."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from rfc3986_validator import validate_rfc3986

from api.app import create_app
from api.identification import Resources
from api.settings import Settings
from tests.api.described import Described
from tests.support.toy_networks import blob_photo, encoded

AGENT, ADMINISTRATOR = "an agent's long token", "an administrator's token"
PHOTO = encoded(blob_photo(("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})))
FILES = {"photos": ("a.jpg", PHOTO, "image/jpeg")}


@pytest.fixture
def desk(own_settings: Callable[..., Settings], toy_resources: Resources, described: Described) -> Iterator[TestClient]:
    tokens = {"agent_token": AGENT, "administrator_token": ADMINISTRATOR}
    settings = own_settings(**tokens)
    with TestClient(create_app(settings, toy_resources), raise_server_exceptions=False) as client:
        described.watch(client)
        yield client


@pytest.fixture
def document(client: TestClient) -> dict[str, Any]:
    return client.get("/openapi.json").json()


def bearer(token: str) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"}


def test_the_description_is_valid_openapi(document: dict[str, Any]) -> None:
    """By openapi-spec-validator, whose schema of OpenAPI 3.1 is the one that its makers publish."""
    assert document["openapi"].startswith("3.1.")
    assert [error.message for error in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_every_schema_in_it_is_json_schema(document: dict[str, Any]) -> None:
    """By jsonschema, against the metaschema of 2020-12."""
    schemas = document["components"]["schemas"]
    assert {"Answer", "Catalogue", "Troubleshooting", "CaseDocument", "Problem"} <= set(schemas)
    for schema in schemas.values():
        Draft202012Validator.check_schema(schema)


def test_every_operation_says_what_it_answers_with(document: dict[str, Any]) -> None:
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            assert operation["description"], path
            for status, response in operation["responses"].items():
                told = f"{method} {path}: {status}"
                if status != "204":
                    assert all("schema" in content for content in response["content"].values()), told
                if status >= "400":
                    assert list(response["content"]) == ["application/problem+json"], told
            if path.startswith("/v1/cases"):
                assert operation["security"] and {"401", "403"} <= set(operation["responses"])


def test_documents_of_the_lift_are_as_described(client: TestClient) -> None:
    for role in ("caregiver", "agent", "technician"):
        answer = client.post("/v1/identifications", files=FILES, data={"role": role})
        assert answer.status_code == 200
        box, head = answer.json()["control_box"], answer.json()["actuator"]
        for more in (
            {},
            {"symptom": "dead", "person_in_sling": "no", "danger_signs": []},
            {"person_in_sling": "no", "danger_signs": ["smoke"]},
            {"person_in_sling": "no", "danger_signs": [], "symptom": "dead", "readings": {"blocks_v": [12.65, 10.2]}},
        ):
            case = {"role": role, "control_box": box, "actuator": head, **more}
            assert client.post("/v1/troubleshooting", json=case).status_code == 200
    observed = json.dumps([{"id": "where_is_stop", "answer": "front"}])
    seen = client.post("/v1/identifications", files={"observations": (None, observed), "role": (None, "agent")})
    assert seen.status_code == 200
    assert client.post("/v1/overlays", files=FILES).headers["content-type"] == "image/jpeg"
    for path in ("/v1/catalogue", "/healthz", "/readyz"):
        assert client.get(path).status_code == 200


def test_documents_of_a_case_are_as_described(desk: TestClient) -> None:
    here = desk.post("/en/now", data={"kind": "person_in_sling", "answer": "no"}).url.path
    assert desk.post(f"{here}/photos", files=FILES, data={"keep": "yes"}).is_success
    listed = desk.get("/v1/cases", headers=bearer(AGENT)).json()
    whole = desk.get(f"/v1/cases/{listed[0]['id']}", headers=bearer(AGENT)).json()
    assert len(whole["case"]["events"]) == 2 and whole["photos"][0]["picture_jpeg_base64"] and whole["audit"]
    log = desk.get("/v1/audit", headers=bearer(ADMINISTRATOR))
    assert log.status_code == 200 and log.json()["lines"]
    changed = desk.get(f"/v1/cases/{listed[0]['id']}/changes?after=0", headers=bearer(AGENT))
    assert changed.headers["content-type"].startswith("text/event-stream") and "event: changed" in changed.text
    assert desk.delete(f"/v1/cases/{listed[0]['id']}", headers=bearer(ADMINISTRATOR)).status_code == 204


@pytest.mark.parametrize(
    ("method", "path", "given", "status"),
    [
        ("POST", "/v1/identifications", {"json": {}}, 415),
        ("POST", "/v1/identifications", {"files": {"photos": ("a.jpg", b"no photo")}}, 415),
        ("POST", "/v1/identifications", {"files": {"photos": ("a.jpg", PHOTO[:3000])}}, 422),
        ("POST", "/v1/identifications", {"files": {"observations": (None, "[]")}}, 422),
        ("POST", "/v1/overlays", {"files": {"photos": (None, "text")}}, 422),
        ("POST", "/v1/troubleshooting", {"content": b"\xff\xfe{"}, 422),
        ("POST", "/v1/troubleshooting", {"content": b"{"}, 422),
        ("POST", "/v1/troubleshooting", {"json": {"could_hurt": 1}}, 422),
        ("POST", "/v1/troubleshooting", {"json": {"readings": {"blocks_v": [True, "12.6"]}}}, 422),
        ("POST", "/v1/troubleshooting", {"content": b'{"readings": {"pack_v": NaN}}'}, 422),
        ("POST", "/v1/troubleshooting", {"content": b" " * 300_000}, 413),
        ("GET", "/v1/cases", {}, 401),
        ("GET", "/v1/cases", {"headers": bearer("wrong")}, 401),
        ("GET", "/v1/cases/none", {"headers": bearer(AGENT)}, 404),
        ("DELETE", "/v1/cases/none", {"headers": bearer(AGENT)}, 403),
        ("GET", "/v1/cases/none/changes?after=x", {"headers": bearer(AGENT)}, 422),
        ("GET", "/v1/nothing/ü \"<>[]|%00", {}, 404),
        ("PUT", "/v1/catalogue", {}, 405),
    ],
)  # fmt: skip
def test_every_refusal_is_a_problem_document(desk: TestClient, method: str, path: str, given, status: int) -> None:
    """RFC 9457: the media type, `status` as it was sent, `type` an absolute URI, `instance` a reference (RFC 3986)."""
    refused = desk.request(method, path, **given)
    assert (refused.status_code, refused.headers["content-type"]) == (status, "application/problem+json")
    told = refused.json()
    assert told["status"] == status and told["title"] and told["detail"]
    assert validate_rfc3986(told["type"], "URI") and validate_rfc3986(told["instance"], "URI_reference")


def test_an_address_is_told_every_method_that_it_takes(desk: TestClient) -> None:
    """RFC 9110, 15.5.6: a 405 names the methods of the resource."""
    assert desk.put("/v1/cases/none").headers["allow"] == "DELETE, GET"


def test_the_description_is_the_same_whoever_may_sign_in(desk: TestClient, described: Described) -> None:
    assert desk.app.openapi() == described.document


def test_the_validators_would_notice(client: TestClient, described: Described) -> None:
    good = client.get("/healthz").json()
    assert described.faults("GET", "/healthz", 200, "application/json", good) == []
    assert described.faults("GET", "/healthz", 200, "application/json", {"status": 1})
    assert described.faults("GET", "/healthz", 200, "text/html", good)
    assert described.faults("GET", "/healthz", 418, "application/json", good)
    assert described.problem_faults({"type": "no uri", "title": "", "status": 1, "detail": "", "instance": "a b"})
