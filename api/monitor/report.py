"""The report that page and command show: figures, the alarm, what is held back, and which lifts confused it."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import RowMapping, select

from api.cases.database import reading
from api.cases.store import CaseStore, spoken_code
from api.cases.tables import cases, judged_answers, judged_cases, learning_photos, photos
from api.monitor.held_back import HeldBack, held_now
from api.monitor.judged import month_of
from api.monitor.watching import watched
from guidance.identify.held_back import COMPONENTS
from guidance.monitor.alarm import CONFIRMED_WRONG, Alarm, Watched
from guidance.monitor.checked import ClosedFacts, Shown
from guidance.monitor.figures import Figures, figures
from guidance.monitor.shares import Share

MOST_MISTAKES = 60
"""Mistakes whose lifts are named; the newest first."""


@dataclass(frozen=True)
class Mistake:
    """One thing that was shown of a lift and was wrong."""

    about: str
    verdict: str
    value: str
    truth: str


@dataclass(frozen=True)
class Confusing:
    """One case in which something that was shown was wrong. `code` is empty once the case is deleted.

    `photo_ids`: of the photos that were read wrongly, or where that was no reading all of the case; while their
    pictures are kept, for the case or to learn from.
    """

    case_id: str
    code: str
    month: str
    mistakes: tuple[Mistake, ...]
    photo_ids: tuple[str, ...]


@dataclass(frozen=True)
class Report:
    """How right it is here. `watch` says of each component what the alarm has seen since it was last set back."""

    figures: Figures
    watch: Mapping[str, Watched]
    held_back: Mapping[str, HeldBack]
    confusing: tuple[Confusing, ...]
    alarm: Alarm = CONFIRMED_WRONG

    def proven(self, component: str) -> Share:
        """How many confirmed answers were wrong of those checked since the alarm was last set back."""
        seen = self.watch[component]
        return Share(seen.wrong, seen.answers)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; times are in UTC."""
        held = {
            name: asdict(one) | {"since": f"{datetime.fromtimestamp(one.since_ms / 1000, UTC):%Y-%m-%dT%H:%M:%SZ}"}
            for name, one in self.held_back.items()
        }
        return {
            "schema_version": "1",
            "figures": self.figures.as_dict(),
            "alarm": asdict(self.alarm),
            "watch": {name: asdict(seen) for name, seen in self.watch.items()},
            "held_back": held,
            "confusing": [asdict(one) for one in self.confusing],
        }


def report(store: CaseStore) -> Report:
    """Everything that was judged so far."""
    return Report(
        figures=figures(_facts(store), COMPONENTS),
        watch={component: watched(store, component) for component in COMPONENTS},
        held_back=held_now(store),
        confusing=_confusing(store),
    )


def _facts(store: CaseStore) -> list[ClosedFacts]:
    with reading(store.engine) as connection:
        answers = connection.execute(select(judged_answers)).mappings().all()
        closed = connection.execute(select(judged_cases).order_by(judged_cases.c.closed_ms)).mappings().all()
    shown: dict[str, list[Shown]] = {}
    for row in answers:
        one = Shown(row["about"], row["verdict"], row["value"], row["probability"], row["truth"], row["is_right"])
        shown.setdefault(row["case_id"], []).append(one)
    return [
        ClosedFacts(
            month=month_of(row["closed_ms"]),
            shown=tuple(shown.get(row["case_id"], ())),
            photos=row["photos"],
            nothing_found=row["nothing_found"],
            days=row["days"],
            ordered=row["ordered"],
            returned=row["returned"],
        )
        for row in closed
    ]


def _confusing(store: CaseStore) -> tuple[Confusing, ...]:
    wanted = (
        select(judged_answers, judged_cases.c.closed_ms, cases.c.code)
        .join(judged_cases, judged_cases.c.case_id == judged_answers.c.case_id)
        .join(cases, cases.c.id == judged_answers.c.case_id, isouter=True)
        .where(judged_answers.c.is_right.is_(False))
        .order_by(judged_cases.c.closed_ms.desc(), judged_answers.c.case_id, judged_answers.c.about)
        .limit(MOST_MISTAKES)
    )
    with reading(store.engine) as connection:
        rows = connection.execute(wanted).mappings().all()
    by_case: dict[str, list[RowMapping]] = {}
    for row in rows:
        by_case.setdefault(row["case_id"], []).append(row)
    kept = _kept_photos(store, list(by_case))
    return tuple(
        Confusing(
            case_id=case_id,
            code=spoken_code(own[0]["code"]) if own[0]["code"] else "",
            month=month_of(own[0]["closed_ms"]),
            mistakes=tuple(Mistake(row["about"], row["verdict"], row["value"], row["truth"]) for row in own),
            photo_ids=_shown_photos({row["photo_id"] for row in own}, kept.get(case_id, [])),
        )
        for case_id, own in by_case.items()
    )


def _kept_photos(store: CaseStore, case_ids: list[str]) -> dict[str, list[str]]:
    """Of each case the photos that there is still a picture of, in the order of their arrival."""
    learned = learning_photos.c.photo_id == photos.c.id
    kept = (
        select(photos.c.case_id, photos.c.id)
        .join(learning_photos, learned, isouter=True)
        .where(photos.c.case_id.in_(case_ids))
        .where(photos.c.picture.is_not(None) | learning_photos.c.picture.is_not(None))
        .order_by(photos.c.received_ms)
    )
    found: dict[str, list[str]] = {}
    with reading(store.engine) as connection:
        for row in connection.execute(kept):
            found.setdefault(row.case_id, []).append(row.id)
    return found


def _shown_photos(misread: set[str], kept: list[str]) -> tuple[str, ...]:
    return tuple(photo for photo in kept if photo in misread or not misread - {""})
