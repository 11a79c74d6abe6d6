"""How the server fares, in Prometheus' text format: counts and times by route, and not a word of anybody's case."""

import time
from collections.abc import Callable, Mapping

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.gate.rights import template_of
from api.http.slots import Slots

METHODS = ("DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT")
NO_ROUTE = "none"
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30)


class Metrics:
    """The figures of one server. Labels are templates of routes, methods and statuses: a fixed, small number."""

    def __init__(self, slots: Slots) -> None:
        self._registry = CollectorRegistry()
        labels = ("method", "route", "status")
        self._requests = Counter("hoistlore_requests", "Requests answered.", labels, registry=self._registry)
        self._seconds = Histogram(
            "hoistlore_request_seconds",
            "Seconds until an answer began.",
            ("method", "route"),
            buckets=SECONDS,
            registry=self._registry,
        )
        taken = Gauge("hoistlore_photo_places_taken", "Photos that are read or wait.", registry=self._registry)
        taken.set_function(lambda: slots.taken)
        most = Gauge("hoistlore_photo_places", "Photos that can be read or wait.", registry=self._registry)
        most.set(slots.most)

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one answer."""
        self._requests.labels(method, route, str(status)).inc()
        self._seconds.labels(method, route).observe(seconds)

    def text(self) -> bytes:
        """Everything, as a scraper reads it."""
        return generate_latest(self._registry)


class Measured:
    """ASGI: counts every answer by the template of its route."""

    def __init__(self, app: ASGIApp, metrics: Metrics, languages: Mapping[str, object]) -> None:
        self._app, self._metrics, self._languages = app, metrics, languages

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        began = time.perf_counter()

        def counted(status: int) -> None:
            seconds = time.perf_counter() - began
            self._metrics.count(method_of(scope), route_of(scope, self._languages), status, seconds)

        await watched(self._app, scope, receive, send, counted)


async def watched(app: ASGIApp, scope: Scope, receive: Receive, send: Send, tell: Callable[[int], None]) -> None:
    """Pass a request on, and `tell` the status as its answer begins; of an error that nobody caught, 500."""
    begun = False

    async def sent(message: Message) -> None:
        nonlocal begun
        if message["type"] == "http.response.start":
            begun = True
            tell(message["status"])
        await send(message)

    try:
        await app(scope, receive, sent)
    except Exception:
        if not begun:
            tell(500)
        raise


def method_of(scope: Scope) -> str:
    """The method, if it is one that there is."""
    return scope["method"] if scope["method"] in METHODS else "OTHER"


def route_of(scope: Scope, languages: Mapping[str, object]) -> str:
    """The template of the route that was taken; never the address, which may be the key of a case."""
    return template_of(scope, languages) or NO_ROUTE
