"""Traces by OpenTelemetry, when the standard variables ask for them: one span a request, named by its route alone."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor, ConsoleSpanExporter, SpanExporter
from opentelemetry.trace import SpanKind, StatusCode, Tracer
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator
from starlette.types import ASGIApp, Receive, Scope, Send

from api.gate.metrics import method_of, route_of, watched
from classifier.errors import SettingsError

HTTP = "http/protobuf"


@dataclass(frozen=True)
class Tracing:
    """Where spans are made, and what is called at the end so that none is lost."""

    tracer: Tracer
    close: Callable[[], None]


def tracing(environ: Mapping[str, str]) -> Tracing:
    """What the variables `OTEL_…` of the specification ask for; the exporter reads its own. Raises `SettingsError`."""
    named = "service.name" in environ.get("OTEL_RESOURCE_ATTRIBUTES", "") or "OTEL_SERVICE_NAME" in environ
    provider = TracerProvider(resource=Resource.create({} if named else {"service.name": "hoistlore"}))
    provider.add_span_processor(BatchSpanProcessor(_exporter(environ)))
    return Tracing(provider.get_tracer("hoistlore"), provider.shutdown)


def _exporter(environ: Mapping[str, str]) -> SpanExporter:
    wanted = environ.get("OTEL_TRACES_EXPORTER", "otlp")
    if wanted == "console":
        return ConsoleSpanExporter()
    protocol = environ.get("OTEL_EXPORTER_OTLP_TRACES_PROTOCOL") or environ.get("OTEL_EXPORTER_OTLP_PROTOCOL") or HTTP
    if wanted != "otlp" or protocol != HTTP:
        raise SettingsError(
            f"OTEL_TRACES_EXPORTER is {wanted!r} with the protocol {protocol!r}; otlp by {HTTP}, or console."
        )
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter

    return OTLPSpanExporter()


class Traced:
    """ASGI: a span for each request. Its address, its text and what an error says stay out of it."""

    def __init__(self, app: ASGIApp, tracer: Tracer, languages: Mapping[str, object]) -> None:
        self._app, self._tracer, self._languages = app, tracer, languages

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        method = method_of(scope)
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        parent = TraceContextTextMapPropagator().extract(headers)
        with self._tracer.start_as_current_span(
            method, parent, SpanKind.SERVER, record_exception=False, set_status_on_exception=False
        ) as span:

            def told(status: int) -> None:
                route = route_of(scope, self._languages)
                span.update_name(f"{method} {route}")
                span.set_attribute("http.request.method", method)
                span.set_attribute("http.route", route)
                span.set_attribute("http.response.status_code", status)
                if status >= 500:
                    span.set_status(StatusCode.ERROR)

            await watched(self._app, scope, receive, send, told)
