"""What closed cases teach: kept beside each of them, counted, and taken into the rates that faults are ranked by."""

import logging
import threading
from collections import Counter
from dataclasses import dataclass, field

from sqlalchemy import Connection, delete, func, insert, select

from api.cases.database import reading
from api.cases.store import CaseRow, CaseStore, NoSuchCase
from api.cases.summary import closed_case
from api.cases.tables import UNJUDGED, case_labels, cases, taught_labels
from guidance.catalogue.catalogue import Catalogue
from guidance.learning.closed_cases import ClosedCase, known_cases
from guidance.learning.learning import learned

LOG = logging.getLogger("hoistlore")

LABEL = tuple(column.name for column in taught_labels.primary_key)
"""The fields of a `ClosedCase` by which cases that teach the same are counted together."""


@dataclass
class Learning:
    """The catalogue as it was printed, and what closed cases made of it so far."""

    printed: Catalogue
    moved: Catalogue = field(init=False)
    cases: int = 0
    _counted: Counter[ClosedCase] = field(default_factory=Counter)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.moved = self.printed

    def catalogue(self, store: CaseStore) -> Catalogue:
        """The catalogue with its rates moved by every closed case; made anew only when their count has changed."""
        with self._lock:
            counted = self._known(counted_labels(store))
            if counted != self._counted:
                self.moved = learned(self.printed, counted)
                self.moved.fault_space  # noqa: B018 - computed here rather than while somebody waits for an answer
                self._counted, self.cases = counted, counted.total()
            return self.moved

    def _known(self, closed: Counter[ClosedCase]) -> Counter[ClosedCase]:
        known = Counter({case: closed[case] for case in known_cases(closed, self.printed)})
        unknown = closed.total() - known.total()
        if self.printed.faults and unknown:
            LOG.warning("%d closed cases teach nothing: this catalogue lacks their fault or their lift", unknown)
        return known


def counted_labels(store: CaseStore) -> Counter[ClosedCase]:
    """How many closed cases teach what, as far as they are labelled; those deleted by their age included."""
    label = [case_labels.c[name] for name in LABEL]
    counted: Counter[ClosedCase] = Counter()
    with reading(store.engine) as connection:
        for wanted in (select(*label, func.count()).group_by(*label), select(taught_labels)):
            for *fields, number in connection.execute(wanted):
                counted[ClosedCase(*fields)] += number
    return counted


def keep_label(connection: Connection, row: CaseRow) -> None:
    """Write down what a case teaches as it stands, in place of what it taught before."""
    connection.execute(delete(case_labels).where(case_labels.c.case_id == row.id))
    taught = closed_case(row)
    if taught is not None:
        label = {name: getattr(taught, name) for name in LABEL}
        connection.execute(insert(case_labels).values(case_id=row.id, **label))


def closed_cases(store: CaseStore) -> list[ClosedCase]:
    """Every case that was closed with a confirmed fault, those deleted since by their age included.

    Writes nothing: of what no server has labelled yet the events are read.
    """
    label = [case_labels.c[name] for name in LABEL]
    kept = select(*label, case_labels.c.case_id).where(case_labels.c.case_id.not_in(select(cases.c.id).where(UNJUDGED)))
    with reading(store.engine) as connection:
        gone = [
            case
            for *fields, number in connection.execute(select(taught_labels))
            for case in [ClosedCase(*fields)] * number
        ]
        labelled = [ClosedCase(*fields) for fields in connection.execute(kept.order_by(case_labels.c.case_id))]
        behind = list(connection.scalars(select(cases.c.id).where(UNJUDGED)))
    found = (_taught_by(store, case_id) for case_id in behind)
    return [*gone, *labelled, *(case for case in found if case is not None)]


def _taught_by(store: CaseStore, case_id: str) -> ClosedCase | None:
    try:
        return closed_case(store.by_id(case_id))
    except NoSuchCase:  # deleted meanwhile
        return None
