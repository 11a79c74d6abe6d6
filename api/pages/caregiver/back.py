"""The browser's own Back: a question as it was asked, to be answered again; what was said since is then taken back."""

from dataclasses import dataclass, replace

from api.cases.events import NO_PHOTO, WENT_ON, CaseEvent, in_force, up_since
from api.cases.store import CaseRow

TAKEN_BACK = ("danger_signs", "symptom", "context", "step", "observation", "could_hurt", NO_PHOTO, WENT_ON)
"""What going back takes back. A photo stays, and so does whatever was said of a person who is up."""


@dataclass(frozen=True)
class Earlier:
    """A case as it stood when something was asked; `given` is the answer, and with what followed it is `since`."""

    row: CaseRow
    since: tuple[CaseEvent, ...]

    @property
    def given(self) -> CaseEvent:
        return self.since[0]


def earlier(row: CaseRow, version: int) -> Earlier | None:
    """The case as it stood at this version; None when that is no question that can be answered again.

    It can be when all that was said since is a caregiver's own answers, and nothing before was taken back meanwhile.
    """
    if not 0 < version < row.version or row.up_since_ms is not None:
        return None
    then = tuple(event for event in row.events if event.version <= version)
    live, was = in_force(row.events), in_force(then)
    since = live[len(was) :]
    if not since or live[: len(was)] != was:
        return None
    if any(event.role != "caregiver" or event.kind not in TAKEN_BACK for event in since):
        return None
    return Earlier(replace(row, version=version, events=then, up_since_ms=up_since(then)), since)
