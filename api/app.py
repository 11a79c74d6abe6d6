"""The web application: made by a function, so that importing it does nothing."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI

from api import problems, troubleshooting
from api.identification import Resources
from api.routes import router
from api.settings import Settings
from api.slots import Rate, Slots


def create_app(settings: Settings, resources: Resources | None = None) -> FastAPI:
    """The application, ready to answer. Loads catalogue and networks unless they are given; refuses altered ones."""
    loaded = resources or Resources.load(settings)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        app.state.slots.close()

    app = FastAPI(
        title="Hoistlore",
        version=loaded.model.info.version,
        description="Identify a patient lift's control box and lowering mechanism from photos, and say what to do now.",
        lifespan=lifespan,
        docs_url=None,  # the framework's own pages fetch their scripts from elsewhere; ours stands alone
        redoc_url=None,
    )
    app.state.settings = settings
    app.state.resources = loaded
    app.state.slots = Slots(settings.slots, settings.queue)
    app.state.rate = Rate(settings.requests_per_minute)
    app.include_router(router)
    app.include_router(troubleshooting.router)
    problems.install(app)
    return app
