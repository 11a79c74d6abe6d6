"""The web application: made by a function, so that importing it does nothing."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import FastAPI

from api.cases.changes import Live
from api.cases.learning import Learning
from api.cases.store import CaseStore
from api.gate.entrance import Entrance
from api.gate.metrics import Measured, Metrics
from api.http import audit_routes, case_routes, metrics_route, problems, troubleshooting
from api.http.routes import router
from api.http.sessions import check_reach, check_tokens
from api.http.slots import Slots
from api.identification import Resources
from api.models import Watched
from api.monitor.watching import TOGETHER
from api.pages import installable
from api.pages.caregiver import guided, learning, upload_links, way_down
from api.pages.caregiver import routes as caregiver_pages
from api.pages.environment import SHEET
from api.pages.look import look_of
from api.pages.render import Pages, Phones
from api.pages.staff import about, labelling, link, openid, signing
from api.pages.staff import agent as agent_pages
from api.pages.staff import audit as audit_pages
from api.pages.staff import learning as staff_learning
from api.pages.staff import monitor as monitor_pages
from api.pages.staff import queue as queue_pages
from api.pages.staff import survey as survey_pages
from api.pages.staff import survey_lift as survey_lift_pages
from api.pages.staff.bench import routes as bench_pages
from api.people.passwords import Passwords
from api.people.users import somebody_named
from api.servers.rate import rate_of
from api.servers.shelf import shelf_of
from api.settings import Settings, warn_of_missing
from api.state import AppState
from api.upkeep import Upkeep
from classifier.errors import SettingsError

if TYPE_CHECKING:
    from opentelemetry.trace import Tracer

    from api.people.openid import OpenId

NO_TELEMETRY = dict.fromkeys(("tracing", "metrics", "logs", "operation_spans", "auto_configure"), False)
"""The framework's own would tell the address of every request, and a case's address is its key."""

HINTS_AT_ONCE = 2
"""Frames of guiding cameras that are judged at the same time; a further one is dropped."""

HINTS_PER_MINUTE = 240
"""Frames of one camera, which sends some 150."""


def create_app(settings: Settings, resources: Resources | None = None, tracer: "Tracer | None" = None) -> FastAPI:
    """The application, ready to answer. Opens the cases; loads catalogue and networks unless they are given.

    `tracer`: makes a span of each request; none without.
    """
    check_tokens(settings)
    warn_of_missing(settings)
    loaded = resources or Resources.load(settings)
    app = FastAPI(
        title="Hoistlore",
        version=loaded.model.info.version,
        description="Identify a patient lift's control box and lowering mechanism from photos, and say what to do now.",
        lifespan=_lifespan,
        telemetry=NO_TELEMETRY,
        redirect_slashes=False,  # it would build an address from the Host header; see `problems`
        docs_url=None,  # the framework's own pages fetch their scripts from elsewhere; ours stands alone
        redoc_url=None,
        responses=problems.refusals(500),
    )
    app.state = _opened(settings, loaded)
    known = "" if resources else loaded.model.info.sha256
    app.state.in_use = Watched(Path(settings.weights), settings.threads, known)
    if settings.shadow:
        app.state.waiting = Watched(Path(settings.shadow), settings.threads, "none yet")
    check_reach(settings, somebody_named(app.state.cases))
    app.state.learn(most=TOGETHER)
    _include_routes(app)
    problems.install(app)
    _guard(app, tracer)
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """While the server runs, what is to be done beside answering is done; at its end nothing is left running."""
    app.state.live = Live(app.state.cases)
    upkeep = Upkeep(app.state)
    yield
    await upkeep.end()
    app.state.slots.close()
    app.state.hints.close()
    if app.state.loaded.shadow:
        app.state.loaded.shadow.close()


def _opened(settings: Settings, loaded: Resources) -> AppState:
    """All that the requests share, with the cases opened."""
    slots = Slots(settings.slots, settings.queue)
    phones = Phones(settings.service_phone, settings.emergency_phone)
    store = CaseStore.open(settings.database)
    return AppState(
        settings,
        loaded,
        slots,
        Slots(HINTS_AT_ONCE, 0),
        rate_of(store.engine, "of an address", settings.requests_per_minute),
        rate_of(store.engine, "of a case", settings.requests_per_minute_per_case),
        rate_of(store.engine, "of a camera", HINTS_PER_MINUTE),
        Passwords(),
        _openid(settings),
        store,
        Learning(loaded.catalogue),
        shelf_of(store.engine),
        Live(store),
        Pages.load(loaded.catalogue, phones, look_of(settings, SHEET.read_text("utf-8")), settings.languages),
        Metrics(slots),
    )


def _guard(app: FastAPI, tracer: "Tracer | None") -> None:
    """What every request passes, the outermost last."""
    app.add_middleware(Entrance)
    app.add_middleware(Measured, metrics=app.state.metrics, languages=app.state.pages.languages)
    if tracer is not None:
        from api.gate.traces import Traced

        app.add_middleware(Traced, tracer=tracer, languages=app.state.pages.languages)


def _openid(settings: Settings) -> "OpenId | None":
    """The provider that staff sign in through, if there is one. Raises `SettingsError`."""
    if not settings.openid_issuer:
        return None
    try:
        from api.people.openid import OpenId, check_openid
    except ModuleNotFoundError as error:
        raise SettingsError(
            f"HOISTLORE_OPENID_ISSUER wants the extra `openid` installed ({error.name} is missing)."
        ) from None
    check_openid(settings)
    return OpenId(settings)


def _include_routes(app: FastAPI) -> None:
    """The routes of programs, and the pages under the tag of each language."""
    app.include_router(router)
    app.include_router(troubleshooting.router)
    app.include_router(case_routes.router)
    app.include_router(audit_routes.router)
    app.include_router(metrics_route.router)
    app.include_router(agent_pages.any_language)
    app.include_router(openid.any_language)
    app.include_router(installable.router)
    for tag in app.state.pages.languages:
        app.include_router(installable.of_language, prefix=f"/{tag}")
        app.include_router(caregiver_pages.router, prefix=f"/{tag}")
        app.include_router(way_down.router, prefix=f"/{tag}")
        app.include_router(upload_links.router, prefix=f"/{tag}")
        app.include_router(guided.router, prefix=f"/{tag}")
        app.include_router(learning.router, prefix=f"/{tag}")
        for staff_pages in (
            signing, openid, queue_pages, agent_pages, about, link, bench_pages,
            audit_pages, monitor_pages, staff_learning, labelling, survey_pages, survey_lift_pages,
        ):  # fmt: skip
            app.include_router(staff_pages.router, prefix=f"/{tag}")
