"""Closed cases with a confirmed fault turn the printed rates into the pool's own: counts, shown and reversible.

For each setting the shares of the faults have a Dirichlet distribution. The catalogue's rates are its mean, worth
`prior_cases` cases; every closed case adds one. The counts are kept apart from the catalogue, so that taking a case out
of its file takes its effect out as well.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import CaseError
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import nearest


@dataclass(frozen=True)
class ClosedCase:
    """One case whose fault was confirmed, and the setting of the lift."""

    setting: str
    fault: str


@dataclass(frozen=True)
class Learned:
    """One fault in one setting: share by the catalogue, cases counted, share now with its standard deviation."""

    setting: str
    fault: str
    share_before: float
    cases: int
    share_now: float
    deviation: float


Counts = Mapping[str, Mapping[str, int]]
"""Closed cases by setting and fault."""


def load_cases(path: Path) -> list[ClosedCase]:
    """Read one JSON object a line with `setting` and `fault`. Raises `CaseError` with the line."""
    cases = []
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CaseError(f"{path}: cannot be read: {error}. Name a file with one JSON object a line.") from None
    for number, line in enumerate(lines, 1):
        if line.strip():
            try:
                row = json.loads(line)
                cases.append(ClosedCase(str(row["setting"]), str(row["fault"])))
            except (ValueError, KeyError, TypeError):
                want = '{"setting": …, "fault": …}'
                raise CaseError(f"{path}, line {number}: want {want}, got {line[:60]!r}") from None
    return cases


def count_cases(cases: Iterable[ClosedCase], catalogue: Catalogue) -> dict[str, dict[str, int]]:
    """Count closed cases; refuses a setting or a fault that the catalogue does not know."""
    settings = catalogue.contexts_by_id[catalogue.fault_settings.setting].options
    counts: dict[str, dict[str, int]] = {setting: {} for setting in settings}
    for case in cases:
        for what, given, known in (("setting", case.setting, settings), ("fault", case.fault, catalogue.faults_by_id)):
            if given not in known:
                raise CaseError(f"closed case with unknown {what} {given!r}{nearest(given, list(known))}")
        counts[case.setting][case.fault] = counts[case.setting].get(case.fault, 0) + 1
    return counts


def shares(catalogue: Catalogue, counts: Counts) -> list[Learned]:
    """Every fault's share before and after, by setting, likeliest first."""
    rows = []
    strength = catalogue.fault_settings.prior_cases
    for setting, counted in counts.items():
        rates = {fault.id: fault.calls_per_1000.get(setting, 0.0) for fault in catalogue.faults}
        total, cases = sum(rates.values()), sum(counted.values())
        found = []
        for fault, rate in rates.items():
            alpha = strength * rate / total + counted.get(fault, 0)
            everything = strength + cases
            now = alpha / everything
            deviation = (now * (1 - now) / (everything + 1)) ** 0.5
            found.append(Learned(setting, fault, rate / total, counted.get(fault, 0), now, deviation))
        rows += sorted(found, key=lambda row: -row.share_now)
    return rows


def learned(catalogue: Catalogue, counts: Counts) -> Catalogue:
    """The same catalogue with its rates moved by the counted cases; the given one stays as it is."""
    now = {(row.setting, row.fault): row.share_now for row in shares(catalogue, counts)}
    faults = tuple(
        fault.model_copy(
            update={
                "calls_per_1000": {
                    setting: 1000 * now[setting, fault.id] for setting in counts if (setting, fault.id) in now
                }
            }
        )
        for fault in catalogue.faults
    )
    return with_faults(catalogue, faults, sum(sum(counted.values()) for counted in counts.values()))


def with_faults(catalogue: Catalogue, faults: Sequence, cases: int) -> Catalogue:
    """A catalogue with other faults, without what was computed from the old ones, and a note of the rates' origin."""
    note = f"{catalogue.fault_settings.rates_note} Moved by {cases} closed cases."
    settings = catalogue.fault_settings.model_copy(update={"rates_note": note})
    fields = {name: getattr(catalogue, name) for name in type(catalogue).model_fields}
    return type(catalogue).model_construct(**{**fields, "faults": tuple(faults), "fault_settings": settings})
