"""POST /v1/troubleshooting: the document, what it refuses, and that it keeps nothing."""

import json

import pytest

SAFE = {"person_in_sling": "no", "danger_signs": []}
HUNG = {"decision": "confirmed", "probabilities": {"hung-top": 0.997, "unlisted": 0.003}, "set": ["hung-top"]}


def _post(client, **case):
    return client.post("/v1/troubleshooting", json=case)


def test_an_empty_case_asks_for_the_person_first(client):
    document = _post(client).json()
    assert document["schema_version"] == "1" and document["state"] == "bring_down"
    assert document["next"]["id"] == "person_in_sling"
    assert document["lowering"]["basis"] == "open" and document["faults"] == []


def test_a_case_is_answered_with_ranked_faults_a_step_and_parts(client):
    answered = _post(client, **SAFE, role="technician", symptom="runs_down", control_box=HUNG)
    document = answered.json()
    assert answered.status_code == 200 and document["state"] == "next_step"
    probabilities = [row["probability"] for row in document["faults"]]
    assert probabilities == sorted(probabilities, reverse=True)
    assert sum(o["probability"] for o in document["next"]["outcomes"]) == pytest.approx(1)
    assert document["next"]["why"] and document["assumptions"]
    assert {row["component"] for row in document["parts"]} <= {row["id"] for row in document["components"]}


def test_an_identification_can_be_passed_on_as_it_came(client):
    seen = [{"id": "stop_position", "answer": "top"}, {"id": "battery", "answer": "hung_pack"}]
    identified = client.post("/v1/identifications", files={"observations": (None, json.dumps(seen))}).json()
    case = {"control_box": identified["control_box"], "actuator": identified["actuator"]}
    document = _post(client, **SAFE, role="agent", symptom="dead", **case)
    assert document.status_code == 200
    assert document.json()["components"][0]["id"] == "battery"


def test_nothing_is_kept_between_two_calls(client):
    first = _post(client, **SAFE, symptom="dead").json()
    _post(client, **SAFE, symptom="dead", done=[{"id": "look_stop", "outcome": "pressed"}])
    assert _post(client, **SAFE, symptom="dead").json() == first


@pytest.mark.parametrize(
    ("case", "title", "says"),
    [
        ({**SAFE, "symptom": "ded"}, "Case not understood", "did you mean 'dead'"),
        ({**SAFE, "symptom": "dead", "readings": {"pack_v": 300}}, "Reading not possible", "300"),
        ({**SAFE, "symptom": "dead", "readings": {"pack_v": -5}}, "Reading not possible", "-5"),
        ({**SAFE, "role": "nurse"}, "Request not understood", "role"),
        ({**SAFE, "symptoms": "dead"}, "Request not understood", "symptoms"),
        ({"catalogue": {"id": "x", "version": "1"}}, "Case not understood", "start the case anew"),
        ({"observations": [{"id": "colour", "answer": "red"}]}, "Observation not understood", "colour"),
    ],
)
def test_bad_cases_are_problem_documents(client, case, title, says):
    answered = _post(client, **case)
    assert answered.status_code == 422
    assert answered.headers["content-type"] == "application/problem+json"
    assert answered.json()["title"] == title and says in answered.json()["detail"]


@pytest.mark.parametrize("body", [b"", b"{", b"[1]", b"\xff\xfe", b'{"symptom": NaN}'])
def test_what_is_no_case_is_refused(client, body):
    answered = client.post("/v1/troubleshooting", content=body, headers={"content-type": "application/json"})
    assert answered.status_code == 422
    assert answered.headers["content-type"] == "application/problem+json"


def test_a_body_without_end_is_cut_off(client):
    def endless():
        for _ in range(40):
            yield b" " * 16384

    answered = client.post("/v1/troubleshooting", content=endless(), headers={"content-type": "application/json"})
    assert answered.status_code == 413


def test_the_route_is_documented(client):
    operation = client.get("/openapi.json").json()["paths"]["/v1/troubleshooting"]["post"]
    assert operation["requestBody"]["content"]["application/json"]
    assert "Troubleshooting" in json.dumps(operation["responses"]["200"])
