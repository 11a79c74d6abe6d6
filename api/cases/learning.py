"""What closed cases teach: counted by setting and fault, and taken into the rates that the server ranks faults by."""

import logging
import threading
from collections import Counter
from dataclasses import dataclass, field, replace

from sqlalchemy import select
from starlette.datastructures import State

from api.cases.database import reading
from api.cases.store import CaseStore, NoSuchCase
from api.cases.summary import closed_case, settings_of
from api.cases.tables import cases, events, taught
from api.cases.view import CLOSED
from guidance.catalogue.catalogue import Catalogue
from guidance.diagnose.learning import ClosedCase, count_cases, learned

Folded = dict[str, tuple[int, ClosedCase | None]]
"""By the id of a case: the version that was looked at, and what it teaches."""

LOG = logging.getLogger("hoistlore")


@dataclass
class Learning:
    """The catalogue as it was printed, and what closed cases made of it so far."""

    printed: Catalogue
    moved: Catalogue = field(init=False)
    cases: int = 0
    _counted: Counter[ClosedCase] = field(default_factory=Counter)
    _folded: Folded = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.moved = self.printed

    def catalogue(self, store: CaseStore) -> Catalogue:
        """The catalogue with its rates moved by every closed case; made anew only when their count has changed."""
        with self._lock:
            counted = Counter(self._known(closed_cases(store, self._folded)))
            if counted != self._counted:
                counts = count_cases(counted.elements(), self.printed)
                self.moved = learned(self.printed, counts) if counted else self.printed
                self.moved.fault_space  # noqa: B018 - computed here rather than while somebody waits for an answer
                self._counted, self.cases = counted, counted.total()
            return self.moved

    def _known(self, closed: list[ClosedCase]) -> list[ClosedCase]:
        """Those that the catalogue knows: a catalogue may have lost a fault since a case was closed."""
        if not self.printed.faults:
            return []
        settings, faults = settings_of(self.printed), self.printed.faults_by_id
        known = [case for case in closed if case.setting in settings and case.fault in faults]
        if len(known) < len(closed):
            LOG.warning("%d closed cases teach nothing: this catalogue lacks their fault", len(closed) - len(known))
        return known


def learn(state: State) -> None:
    """Let the server rank by what closed cases teach as they stand now."""
    state.resources = replace(state.resources, catalogue=state.learning.catalogue(state.cases))


def closed_cases(store: CaseStore, folded: Folded) -> list[ClosedCase]:
    """Every case that was closed with a confirmed fault, those deleted since by their age included.

    `folded` is what an earlier call found, and is brought up to date: only cases that changed since are read again.
    """
    closing = cases.c.id.in_(select(events.c.case_id).where(events.c.kind == CLOSED))
    with reading(store.engine) as connection:
        gone = [case for row in connection.execute(select(taught)) for case in [ClosedCase(*row[:2])] * row.cases]
        rows = connection.execute(select(cases.c.id, cases.c.version).where(closing))
        versions = {row.id: row.version for row in rows}
    for case_id in folded.keys() - versions.keys():
        del folded[case_id]
    for case_id, version in versions.items():
        if case_id not in folded or folded[case_id][0] != version:
            folded[case_id] = (version, _taught_by(store, case_id))
    return [*gone, *(case for _version, case in folded.values() if case is not None)]


def _taught_by(store: CaseStore, case_id: str) -> ClosedCase | None:
    try:
        counted = closed_case(store.by_id(case_id))
    except NoSuchCase:  # deleted meanwhile
        return None
    return ClosedCase(**counted) if counted else None
