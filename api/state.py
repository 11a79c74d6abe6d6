"""What a running server holds, in one typed place."""

import threading
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import Request

from api.cases.changes import Live
from api.cases.learning import Learning
from api.cases.store import CaseStore
from api.gate.metrics import Metrics
from api.http.slots import Slots
from api.identification import Resources, told_alone
from api.models import Shadow, Told, Watched
from api.monitor.held_back import held_now
from api.monitor.watching import look
from api.pages.render import Pages
from api.people.passwords import Passwords
from api.servers.rate import Rate
from api.servers.shelf import Shelf
from api.settings import Settings
from classifier.identify import PhotoReading
from classifier.model import Model
from guidance.identify.held_back import holding_back

if TYPE_CHECKING:  # a server without a provider loads nothing for one
    from api.people.openid import OpenId


@dataclass
class AppState:
    """Settings, catalogue and networks, cases, pages, and the limits on who may ask how often.

    `loaded` is put in place anew whenever closed cases move the catalogue's rates. `shelf`: pictures that are shown
    for minutes. `live`: the open pages. `hints`: threads of the guiding camera alone, in which nothing waits.
    """

    settings: Settings
    loaded: Resources
    slots: Slots
    hints: Slots
    rate: Rate
    case_rate: Rate
    hint_rate: Rate
    passwords: Passwords
    openid: "OpenId | None"
    cases: CaseStore
    learning: Learning
    shelf: Shelf
    live: Live
    pages: Pages
    metrics: Metrics
    in_use: Watched | None = None
    waiting: Watched | None = None
    _changing: threading.Lock = field(default_factory=threading.Lock)
    _answering: tuple[Resources, frozenset[str], Resources] | None = None

    @property
    def resources(self) -> Resources:
        """What is answered from. What is held back is read each time: another server may just have said so."""
        held, loaded, made = frozenset(held_now(self.cases)), self.loaded, self._answering
        if made is None or made[0] is not loaded or made[1] != held:
            made = (loaded, held, replace(loaded, catalogue=holding_back(loaded.catalogue, held)))
            self._answering = made
        return made[2]

    def take_models(self) -> None:
        """Answer by the model that was promoted since, and try the one that waits; requests that run keep theirs."""
        if self.in_use and (model := self.in_use.taken_anew()):
            with self._changing:
                self.loaded = replace(self.loaded, model=model)
        if self.waiting and (model := self.waiting.taken_anew()):
            with self._changing:
                self.loaded = replace(self.loaded, shadow=shadow_of(self.waiting.folder, model, self.loaded))
        elif self.waiting and self.waiting.is_empty and self.loaded.shadow:  # promoted, or thrown away
            with self._changing:
                self.loaded = replace(self.loaded, shadow=None)

    def learn(self, most: int | None = None) -> None:
        """Take into account what was closed or changed since, and confirm only what closed cases bear out.

        `most`: about so many cases at most, so that a server starts at once.
        """
        look(self.cases, self.learning.printed, most)
        self.take_rates()

    def take_rates(self) -> None:
        """Rank by what closed cases teach, as far as a server has labelled them."""
        catalogue = self.learning.catalogue(self.cases)
        with self._changing:
            self.loaded = replace(self.loaded, catalogue=catalogue)


def shadow_of(folder: Path, model: Model, resources: Resources) -> Shadow:
    """A model to be tried on live photos, its answers made as those of the model in use are."""

    def told(reading: PhotoReading, by: Model) -> Told:
        return told_alone(reading, replace(resources, model=by, shadow=None))

    return Shadow(folder, model, resources.limits, told)


def state_of(request: Request) -> AppState:
    """The state of the server that a request came to."""
    return request.app.state


def count_request(request: Request) -> None:
    """Count one request, by the address that it comes from. Raises `TooManyRequests`; may wait for the database."""
    state_of(request).rate.take(request.client.host if request.client else "")
