"""Figures and traces: what a watcher learns of the server, and that nobody's case is in it."""

import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from prometheus_client.parser import text_string_to_metric_families

from api.app import create_app
from api.cases.store import Said, Who
from api.commands.main import _tracing
from api.gate.rights import RIGHTS
from api.gate.traces import tracing
from api.identification import Resources
from api.settings import Settings
from classifier.errors import SettingsError

pytestmark = pytest.mark.walk

AGENT, ADMINISTRATOR, METRICS = (f"the {who}s' own long token" for who in ("agent", "administrator", "watcher"))
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
ROUTES = {row.split()[1] for row in RIGHTS} | {"none"}


@pytest.fixture
def spans() -> InMemorySpanExporter:
    return InMemorySpanExporter()


@pytest.fixture
def client(
    own_settings: Callable[..., Settings], toy_resources: Resources, spans: InMemorySpanExporter
) -> Iterator[TestClient]:
    settings = own_settings(agent_token=AGENT, administrator_token=ADMINISTRATOR, metrics_token=METRICS)
    provider = TracerProvider()
    provider.add_span_processor(SimpleSpanProcessor(spans))
    app = create_app(settings, toy_resources, provider.get_tracer("test"))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def bearer(token: str) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"}


def walked(client: TestClient) -> list[str]:
    """Requests with everything in them that may not be told; what that is."""
    case_id, token = client.app.state.cases.start("en", Who("caregiver"), NOBODY_UP)
    code = client.app.state.cases.by_id(case_id).code
    client.get(f"/es/c/{token}")
    client.post(f"/en/c/{token}/answers", data={"kind": "symptom", "id": "symptom", "answer": "dead", "version": "1"})
    client.get(f"/v1/cases/{case_id}", headers=bearer(AGENT))
    client.get(f"/en/staff/cases?code={code}", headers=bearer(AGENT))
    client.get("/v1/audit", params={"case": code}, headers=bearer(ADMINISTRATOR))
    client.get(f"/en/u/{token}-guessed")
    client.get("/somebody/else's/address")
    client.request("BREW", "/healthz")
    client.post("/v1/troubleshooting", json={"role": "agent", "symptom": "a secret text"})
    return [case_id, token, code, "a secret text", "guessed", "somebody", "BREW", "testclient", AGENT]


def figures(client: TestClient) -> dict[tuple[str, ...], float]:
    """Requests by method, route and status, as Prometheus' own parser reads them."""
    text = client.get("/metrics", headers=bearer(METRICS)).text
    families = {family.name: family for family in text_string_to_metric_families(text)}
    assert {"hoistlore_requests", "hoistlore_request_seconds", "hoistlore_photo_places"} <= set(families)
    return {
        tuple(sample.labels[name] for name in ("method", "route", "status")): sample.value
        for sample in families["hoistlore_requests"].samples
        if sample.name == "hoistlore_requests_total"
    }


def test_figures_are_counted_by_route_for_prometheus(client: TestClient) -> None:
    walked(client)
    counted = figures(client)
    assert counted["GET", "/c/{token}", "200"] == 1
    assert counted["GET", "/v1/cases/{case_id}", "200"] == 1
    assert counted["GET", "none", "404"] == 1
    assert counted["OTHER", "/healthz", "405"] == 1
    assert {route for _, route, _ in counted} <= ROUTES
    answer = client.get("/metrics", headers=bearer(METRICS))
    assert answer.headers["content-type"].startswith("text/plain; version=")
    assert re.search(r'hoistlore_request_seconds_count\{method="GET",route="/metrics"\} 1', answer.text)


def test_not_a_word_of_a_case_is_in_the_figures(client: TestClient) -> None:
    secrets = walked(client)
    text = client.get("/metrics", headers=bearer(METRICS)).text
    assert [secret for secret in secrets if secret in text] == []


def test_the_figures_want_a_token_of_their_own_or_an_administrator_s(client: TestClient) -> None:
    assert client.get("/metrics").status_code == 401
    assert client.get("/metrics", headers=bearer(AGENT)).status_code == 403
    assert client.get("/metrics", headers=bearer(ADMINISTRATOR)).status_code == 200


def test_the_token_of_the_figures_opens_nothing_else(client: TestClient) -> None:
    for path in ("/v1/cases", "/v1/audit", "/en/staff/cases", "/en/staff/monitor"):
        assert client.get(path, headers=bearer(METRICS)).status_code == 403
    page = client.post("/en/staff/sign-in", data={"name": "Eve", "token": METRICS})
    assert page.status_code == 403


def test_a_span_of_each_request_names_its_route_and_nothing_of_a_case(client: TestClient, spans) -> None:
    secrets = walked(client)
    told = [(span.name, dict(span.attributes)) for span in spans.get_finished_spans()]
    assert ("GET /c/{token}", {
        "http.request.method": "GET", "http.route": "/c/{token}", "http.response.status_code": 200,
    }) in told  # fmt: skip
    assert {attributes["http.route"] for _, attributes in told} <= ROUTES
    everything = "\n".join(span.to_json() for span in spans.get_finished_spans())
    assert [secret for secret in secrets if secret in everything] == []


def test_a_fault_is_a_failed_span_without_what_the_error_says(client: TestClient, spans, monkeypatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a secret text")

    monkeypatch.setattr(client.app.state.cases.__class__, "listed", broken)
    assert client.get("/v1/cases", headers=bearer(AGENT)).status_code == 500
    assert figures(client)["GET", "/v1/cases", "500"] == 1
    span = spans.get_finished_spans()[0]
    assert span.status.status_code.name == "ERROR" and "a secret text" not in span.to_json()


def test_a_span_belongs_to_the_trace_that_the_proxy_began(client: TestClient, spans) -> None:
    trace, parent = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"
    client.get("/healthz", headers={"traceparent": f"00-{trace}-{parent}-01", "baggage": "case=secret"})
    (span,) = spans.get_finished_spans()
    assert f"{span.context.trace_id:032x}" == trace and f"{span.parent.span_id:016x}" == parent


def test_the_framework_tells_no_collector_of_its_own_accord(tmp_path: Path, toy_model_dir: Path) -> None:
    """With a provider for the whole process the framework would write each address into a span."""
    code = f"""
from opentelemetry import trace
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from fastapi.testclient import TestClient
from api.app import create_app
from api.settings import Settings
spans = InMemorySpanExporter()
provider = TracerProvider()
provider.add_span_processor(SimpleSpanProcessor(spans))
trace.set_tracer_provider(provider)
settings = Settings(weights={str(toy_model_dir)!r}, database={f"sqlite:///{tmp_path}/cases.db"!r})
TestClient(create_app(settings)).get("/en/c/a-key")
assert not spans.get_finished_spans(), spans.get_finished_spans()[0].to_json()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr


def test_nothing_is_traced_unless_the_standard_variables_ask_for_it(monkeypatch) -> None:
    for name in ("OTEL_TRACES_EXPORTER", "OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT"):
        monkeypatch.delenv(name, raising=False)
    assert _tracing() is None
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:9")
    monkeypatch.setenv("OTEL_SDK_DISABLED", "true")
    assert _tracing() is None
    monkeypatch.delenv("OTEL_SDK_DISABLED")
    monkeypatch.setenv("OTEL_TRACES_EXPORTER", "none")
    assert _tracing() is None
    monkeypatch.setenv("OTEL_TRACES_EXPORTER", "console")
    traced = _tracing()
    assert traced is not None
    traced.close()


@pytest.mark.parametrize("given", [{"OTEL_TRACES_EXPORTER": "zipkin"}, {"OTEL_EXPORTER_OTLP_PROTOCOL": "grpc"}])
def test_an_exporter_that_there_is_not_is_named(given: dict[str, str]) -> None:
    with pytest.raises(SettingsError, match="otlp by http/protobuf, or console"):
        tracing(given)
