"""The page of an audit: one file with everything in it, as long for a million lifts as for a hundred."""

from __future__ import annotations

import base64
import heapq
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any

from api.audit.grouping import ALONE, BY_TIME, DOUBTS
from api.audit.tables import rows_of
from api.audit.words import DECISION_WORDS, FAILURE_WORDS, MISSING_WORDS, WAY_WORDS
from api.audit.worker import Picture
from api.pages.environment import SHEET, environment
from api.pages.languages import Language, load_languages
from api.pages.wording import percent
from classifier.errors import InputError
from classifier.quality import ADVICE
from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from workers.dispatch import Workers, results

LOOKED_AT, PICTURES_OF_ONE, LISTED = 40, 3, 300
"""Lifts to look at first, pictures of each, and rows of the longer tables; the rest stands in the tables beside."""

COMPONENTS = {"control_box": "Control box", "actuator": "Lowering by hand"}


@dataclass
class Chosen:
    """What the page shows, picked while the tables go by."""

    lifts: list[dict[str, Any]] = field(default_factory=list)
    bad: list[dict[str, Any]] = field(default_factory=list)
    failures: Counter[str] = field(default_factory=Counter)
    ways: Counter[str] = field(default_factory=Counter)
    doubts: Counter[str] = field(default_factory=Counter)
    decided: dict[str, dict[str, Counter[str]]] = field(
        default_factory=lambda: {n: defaultdict(Counter) for n in COMPONENTS}
    )
    number: int = 0
    _first: list[tuple] = field(default_factory=list)
    _order: count = field(default_factory=count)

    def add_lift(self, row: dict[str, Any], piece: str) -> None:
        """Count a lift; keep it when it is among those to look at first."""
        self.number += 1
        self.ways.update(row["grouped_by"])
        self.doubts.update(row["grouping_doubts"])
        for name in COMPONENTS:
            part = row[name]
            settled = part["decision"] in ("confirmed", "likely")
            self.decided[name][part["favourite"] if settled else part["decision"]][part["decision"]] += 1
        if len(self.lifts) < LISTED:
            self.lifts.append(row)
        entry = (*_urgency(row), -next(self._order), row | {"piece": piece})
        (heapq.heappush if len(self._first) < LOOKED_AT else heapq.heappushpop)(self._first, entry)

    def add_bad(self, row: dict[str, Any]) -> None:
        """Count a photo that could not be read; keep it while there is room."""
        self.failures.update([row["failure"]] if row["failure"] else row["problems"])
        if len(self.bad) < LISTED:
            self.bad.append(row)

    @property
    def first(self) -> list[dict[str, Any]]:
        """Lifts with something open, those to look at first in front."""
        return [entry[-1] for entry in sorted(self._first, reverse=True) if _open(entry[-1])]


def _urgency(row: dict[str, Any]) -> tuple[bool, bool, float]:
    """Nothing to answer from, then photos that may be of several lifts, then the most doubt."""
    return row["views"] == 0, bool(set(row["grouping_doubts"]) - {ALONE, BY_TIME}), row["doubt_bits"]


def _open(row: dict[str, Any]) -> bool:
    settled = all(row[name]["decision"] == "confirmed" for name in COMPONENTS)
    return not settled or bool(set(row["grouping_doubts"]) - {ALONE, BY_TIME})


def language_of(tag: str, further: str) -> Language:
    """A language of the page. Raises `InputError` for one that there is not, `SettingsError` as `load_languages`."""
    known = load_languages(further)
    if tag not in known:
        raise InputError(f"--language {tag!r} came. One of {', '.join(known)} is wanted.")
    return known[tag]


def report(
    chosen: Chosen, of_lifts: Path, workers: Workers, catalogue: Catalogue, about: dict[str, str], language: Language
) -> str:
    """The page in a language. `about`: `source`, `day`, `model`, `learned`, `photos`."""
    pictures = _pictures(chosen.first, of_lifts, workers)
    names = _names(catalogue)
    return (
        environment()
        .get_template("pool_report.html")
        .render(
            language=language, _=language.say, fill=language.fill, sheet=SHEET.read_text("utf-8"),
            chosen=chosen, pictures=pictures, names=names, about=about, catalogue=catalogue.pool, percent=percent,
            components=COMPONENTS, decisions=DECISION_WORDS, doubts=DOUBTS, ways=WAY_WORDS, missing=MISSING_WORDS,
            failures=FAILURE_WORDS | ADVICE, order=(*_order(catalogue), "undecided", UNLISTED, "not_seen"),
        )
    )  # fmt: skip


def _order(catalogue: Catalogue) -> tuple[str, ...]:
    return (*catalogue.generations_by_id, *catalogue.mechanisms_by_id)


def _names(catalogue: Catalogue) -> dict[str, str]:
    rows = (*catalogue.generations, *catalogue.mechanisms)
    return {row.id: row.name for row in rows} | {UNLISTED: "of no listed generation"}


def _pictures(lifts: list[dict[str, Any]], of_lifts: Path, workers: Workers) -> dict[str, list[tuple[str, str]]]:
    """Of each lift the name and the address (`data:`) of its first pictures; those that came out."""
    wanted = {lift["lift"]: list(_views(of_lifts / lift["piece"], lift["lift"])) for lift in lifts}
    pieces = [Picture(name) for names in wanted.values() for name in names]
    made = {r.piece.name: r.value for r in results(workers, pieces, lambda piece: piece.halves()) if r.value}
    return {
        lift: [(n, "data:image/jpeg;base64," + base64.b64encode(made[n]).decode()) for n in names if n in made]
        for lift, names in wanted.items()
    }


def _views(piece: Path, lift: str) -> list[str]:
    rows = [row for row in rows_of(piece, ["lift", "photo", "view"]) if row["lift"] == lift and row["view"]]
    return [row["photo"] for row in sorted(rows, key=lambda row: row["view"])][:PICTURES_OF_ONE]
