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


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b'{"person_in_sling": "yes", "person_in_sling": "no"}', "'person_in_sling' comes twice"),
        (b'{"readings": {"pack_v": 25, "pack_v": 12}}', "'pack_v' comes twice"),
        (b'{"readings": {"pack_v": NaN}}', "NaN is no number"),
        (b'{"readings": {"pack_v": -Infinity}}', "-Infinity is no number"),
        (b'{"readings": {"pack_v": 1e999}}', "1e999 is larger"),
    ],
)
def test_a_key_that_comes_twice_and_what_is_no_number_are_named(client, body, says):
    answered = client.post("/v1/troubleshooting", content=body, headers={"content-type": "application/json"})
    assert answered.status_code == 422 and says in answered.json()["detail"]
    assert answered.json()["title"] == "Request not understood"


def test_observations_with_a_key_twice_are_refused(client):
    twice = '[{"id": "battery", "id": "stop_position", "answer": "top"}]'
    answered = client.post("/v1/identifications", files={"observations": (None, twice)})
    assert answered.status_code == 422 and "'id' comes twice" in answered.json()["detail"]


def test_what_is_not_understood_never_stands_before_the_way_down(client):
    strange = {
        "symptom": "ded",
        "context": {"weather": "wet", "wet": "damp"},
        "done": [{"id": "look_stopp", "outcome": "pressed"}, {"id": "look_stop", "outcome": "odd"}],
        "danger_signs": ["smok"],
        "lowered": [{"id": "no-such-step", "outcome": "still"}],
    }
    for occupied in ("yes", "unsure"):
        answered = _post(client, **strange, person_in_sling=occupied)
        document = answered.json()
        assert answered.status_code == 200 and document["state"] == "bring_down" and document["lowering"]["steps"]
        assert len(document["passed_over"]) == 7
        assert any("did you mean 'dead'" in text for text in document["passed_over"])
    assert _post(client, **strange, person_in_sling="no").status_code == 422


def test_while_somebody_is_up_the_mechanism_can_be_found_out(client):
    document = _post(client, person_in_sling="yes").json()
    kinds = {row["kind"]: row for row in document["find_out"]}
    assert set(kinds) == {"photo", "question"}
    assert set(kinds["question"]["answers"]) == {"none", "squeeze_tabs", "twist_knob", "pull_twist_knob"}
    assert all("actuator" not in row["id"] for row in document["find_out"])
    head = {"decision": "confirmed", "set": ["squeeze_tabs"]}
    assert _post(client, person_in_sling="yes", actuator=head).json()["find_out"] == []


def test_every_step_of_the_way_down_can_be_answered(client):
    head = {"decision": "confirmed", "set": ["squeeze_tabs"]}
    first = _post(client, person_in_sling="yes", actuator=head).json()["lowering"]
    ids = [step["id"] for step in first["steps"]]
    assert set(first["outcomes"]) == {"down", "still", "worse"} and first["current"] == ids[0]
    still = [{"id": ids[0], "outcome": "still"}]
    assert _post(client, person_in_sling="yes", actuator=head, lowered=still).json()["lowering"]["current"] == ids[1]
    worse = [*still, {"id": "lower-tabs-1", "outcome": "worse"}]
    document = _post(client, person_in_sling="yes", actuator=head, lowered=worse).json()
    assert "call:emergency" in [act for line in document["safety"][:3] for act in line["acts"]]
    assert document["lowering"]["basis"] == "open"
    assert "lower:by_hand" not in [act for step in document["lowering"]["steps"] for act in step["acts"]]


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
