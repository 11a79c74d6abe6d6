"""How right it is here: shares with intervals, over all closed cases and by month, and what the unchecked could change.

Shares are of what people checked. What nobody checked may differ: `least` and `most` are the share right if all of
that were wrong, and if all of it were right.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from guidance.monitor.checked import CONFIRMED, HIDDEN, SURE, ClosedFacts, Shown
from guidance.monitor.shares import Share

BIN_EDGES = (0.0, 0.5, 0.8, 0.95, 0.99, 1.0)
"""Of stated probabilities: 0.99 is where the demo pool's answers can be confirmed."""

VERDICTS = (CONFIRMED, "held_back", "likely", "undecided", "unlisted", "not_seen", "sure", "open", HIDDEN)
"""The order in which verdicts are listed."""

Told = Callable[[ClosedFacts], bool]

FEW = 100
"""With fewer checked than this, a page says what so few prove."""


@dataclass(frozen=True)
class VerdictLine:
    """How often something was shown with one verdict, and what people found."""

    about: str
    verdict: str
    shown: int
    right: Share

    @property
    def least(self) -> float:
        """The share right if everything unchecked were wrong."""
        return self.right.hits / self.shown

    @property
    def most(self) -> float:
        """The share right if everything unchecked were right."""
        return 1 - (self.right.n - self.right.hits) / self.shown


@dataclass(frozen=True)
class MonthLine:
    """Confirmed answers about one component, or sure readings of one concept, in the cases closed in one month."""

    month: str
    about: str
    shown: int
    wrong: Share


@dataclass(frozen=True)
class BinLine:
    """Checked things whose stated probability lay in one range: what was stated in the mean, and the share right."""

    low: float
    high: float
    stated: float
    right: Share

    @property
    def as_stated(self) -> bool:
        """Whether the stated mean lies in the interval of the share right."""
        low, high = self.right.interval
        return low <= self.stated <= high


@dataclass(frozen=True)
class Confusion:
    """One value taken for another, so many times. `truth` is empty when it is only known to be another."""

    about: str
    value: str
    truth: str
    times: int


@dataclass(frozen=True)
class Figures:
    """Everything that is counted. `checked_cases`: those in which a person checked something."""

    cases: int
    checked_cases: int
    verdicts: tuple[VerdictLine, ...]
    months: tuple[MonthLine, ...]
    reading_months: tuple[MonthLine, ...]
    answers_as_stated: tuple[BinLine, ...]
    readings_as_stated: tuple[BinLine, ...]
    confirmed_corrected: Share
    came_back: Share
    second_visit: Share
    nothing_found: Share
    confusions: tuple[Confusion, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON: every share with its interval, every line with what follows from it."""
        return {name: _plain(getattr(self, name)) for name in asdict(self)}


def figures(cases: Sequence[ClosedFacts], components: Collection[str]) -> Figures:
    """Count closed cases. `components` are what answers are about; anything else that was shown is a reading."""
    shown = [each for case in cases for each in case.shown]
    answers = [each for each in shown if each.about in components]
    readings = [each for each in shown if each.about not in components]
    confirmed = [each for each in answers if each.verdict == CONFIRMED]
    return Figures(
        cases=len(cases),
        checked_cases=sum(case.checked for case in cases),
        verdicts=_verdicts(shown, components),
        months=_months(cases, components, CONFIRMED),
        reading_months=_months(cases, sorted({each.about for each in readings}), SURE),
        answers_as_stated=_bins(answers),
        readings_as_stated=_bins(readings),
        confirmed_corrected=_wrong(confirmed),
        came_back=_of(cases, lambda case: case.ordered > 0, lambda case: case.returned > 0),
        second_visit=_of(cases, lambda case: case.days > 0, lambda case: case.days > 1),
        nothing_found=_of(cases, lambda case: case.photos > 0, lambda case: case.nothing_found),
        confusions=_confusions(shown),
    )


def _verdicts(shown: Iterable[Shown], components: Collection[str]) -> tuple[VerdictLine, ...]:
    by_verdict: dict[tuple[str, str], list[Shown]] = {}
    for each in shown:
        by_verdict.setdefault((each.about, each.verdict), []).append(each)
    lines = [VerdictLine(about, verdict, len(own), _right(own)) for (about, verdict), own in by_verdict.items()]
    order = {about: number for number, about in enumerate(components)}
    return tuple(
        sorted(lines, key=lambda line: (order.get(line.about, len(order)), line.about, VERDICTS.index(line.verdict)))
    )


def _months(cases: Iterable[ClosedFacts], abouts: Iterable[str], verdict: str) -> tuple[MonthLine, ...]:
    months: dict[str, list[Shown]] = {}
    for case in cases:
        months.setdefault(case.month, []).extend(each for each in case.shown if each.verdict == verdict)
    return tuple(
        MonthLine(month, about, len(own), _wrong(own))
        for month, shown in sorted(months.items())
        for about in abouts
        for own in [[each for each in shown if each.about == about]]
    )


def _bins(shown: Iterable[Shown]) -> tuple[BinLine, ...]:
    checked = [
        (each.probability, each.right) for each in shown if each.probability is not None and each.right is not None
    ]
    lines = []
    for low, high in zip(BIN_EDGES, BIN_EDGES[1:], strict=False):
        last = high == BIN_EDGES[-1]
        own = [(stated, right) for stated, right in checked if low <= stated < high or (last and stated >= high)]
        if own:
            mean = sum(stated for stated, _ in own) / len(own)
            lines.append(BinLine(low, high, mean, Share(sum(right for _, right in own), len(own))))
    return tuple(lines)


def _confusions(shown: Iterable[Shown]) -> tuple[Confusion, ...]:
    wrong = Counter((each.about, each.value, each.truth) for each in shown if each.right is False)
    return tuple(Confusion(*what, times) for what, times in sorted(wrong.items(), key=lambda item: (-item[1], item[0])))


def _right(shown: Sequence[Shown]) -> Share:
    checked = [each.right for each in shown if each.right is not None]
    return Share(sum(checked), len(checked))


def _wrong(shown: Sequence[Shown]) -> Share:
    right = _right(shown)
    return Share(right.n - right.hits, right.n)


def _of(cases: Iterable[ClosedFacts], among: Told, counted: Told) -> Share:
    own = [case for case in cases if among(case)]
    return Share(sum(map(counted, own)), len(own))


def _plain(value: Any) -> Any:
    if isinstance(value, Share):
        return value.as_dict()
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    if isinstance(value, VerdictLine):
        return _fields(value) | {"least": value.least, "most": value.most}
    if isinstance(value, BinLine):
        return _fields(value) | {"as_stated": value.as_stated}
    return _fields(value) if hasattr(value, "__dataclass_fields__") else value


def _fields(line: Any) -> dict[str, Any]:
    return {name: _plain(getattr(line, name)) for name in line.__dataclass_fields__}
