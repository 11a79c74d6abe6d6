"""The web application: made by a function, so that importing it does nothing."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from fastapi import FastAPI
from fastapi.concurrency import run_in_threadpool

from api.cases.expiry import delete_expired
from api.cases.learning import Learning, learn
from api.cases.photos import Shelf
from api.cases.store import CaseStore
from api.http import audit_routes, case_routes, problems, troubleshooting
from api.http.routes import router
from api.http.sessions import check_tokens
from api.http.slots import Rate, Slots
from api.identification import Resources
from api.pages import installable
from api.pages.caregiver import routes as caregiver_pages
from api.pages.render import Pages
from api.pages.staff import agent as agent_pages
from api.pages.staff import audit as audit_pages
from api.pages.staff import technician as technician_pages
from api.pages.staff import upload_links
from api.settings import Settings

EXPIRE_EVERY_S = 3600
"""How often pictures and cases whose time is over are looked for."""

SIGN_INS_PER_MINUTE = 10
"""Tries from one address; a token of twenty characters is not guessed at that rate."""


def create_app(settings: Settings, resources: Resources | None = None) -> FastAPI:
    """The application, ready to answer. Opens the cases; loads catalogue and networks unless they are given."""
    check_tokens(settings)
    loaded = resources or Resources.load(settings)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        expiring = asyncio.create_task(_expire(app))
        yield
        expiring.cancel()
        with suppress(asyncio.CancelledError):
            await expiring
        app.state.slots.close()

    app = FastAPI(
        title="Hoistlore",
        version=loaded.model.info.version,
        description="Identify a patient lift's control box and lowering mechanism from photos, and say what to do now.",
        lifespan=lifespan,
        docs_url=None,  # the framework's own pages fetch their scripts from elsewhere; ours stands alone
        redoc_url=None,
        responses=problems.refusals(500),
    )
    app.state.settings = settings
    app.state.resources = loaded
    app.state.slots = Slots(settings.slots, settings.queue)
    app.state.rate = Rate(settings.requests_per_minute)
    app.state.case_rate = Rate(settings.requests_per_minute_per_case)
    app.state.cases = CaseStore.open(settings.database)
    app.state.learning = Learning(loaded.catalogue)
    learn(app.state)
    app.state.sign_in_rate = Rate(SIGN_INS_PER_MINUTE)
    app.state.shelf = Shelf()
    app.state.pages = Pages.load(loaded.catalogue)
    app.include_router(router)
    app.include_router(troubleshooting.router)
    app.include_router(case_routes.router)
    app.include_router(audit_routes.router)
    app.include_router(agent_pages.any_language)
    app.include_router(installable.router)
    for tag in app.state.pages.languages:
        app.include_router(installable.of_language, prefix=f"/{tag}")
        app.include_router(caregiver_pages.router, prefix=f"/{tag}")
        app.include_router(upload_links.router, prefix=f"/{tag}")
        for staff_pages in (agent_pages, technician_pages, audit_pages):
            app.include_router(staff_pages.router, prefix=f"/{tag}")
    problems.install(app)
    return app


async def _expire(app: FastAPI) -> None:
    """Look now, and then every hour, for what is over, and for what was closed through another server."""
    while True:
        await run_in_threadpool(delete_expired, app.state.cases, app.state.settings.case_days)
        await run_in_threadpool(learn, app.state)
        await asyncio.sleep(EXPIRE_EVERY_S)
