"""One line of `runs.jsonl` as a checked object: a run, a calibration, an ablation, an evaluation or a measurement."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

RUNS_FILE: Final = Path(__file__).parent / "runs.jsonl"
IMAGENET: Final = "imagenet"
"""The parent of whatever began with ImageNet weights."""

Kind = Literal["training", "calibration", "evaluation", "ablation", "measurement"]
Fraction = Annotated[float, Field(ge=0, le=1)]


class RunsError(ValueError):
    """Runs that do not hold together; the message says which line and why."""


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Metric(_Row):
    """One figure: what was measured, on which pictures, and over how many cases. Shares are in per cent."""

    split: str
    name: str
    value: float
    unit: Literal["%"] | None = None
    interval_95: tuple[float, float] | None = None
    n: int | None = Field(default=None, gt=0)
    of_them: tuple[int, int] | None = None  # how many of `n` are in, how many out of distribution

    @model_validator(mode="after")
    def _value_lies_in_its_interval(self) -> "Metric":
        if self.interval_95 and not self.interval_95[0] <= self.value <= self.interval_95[1]:
            raise ValueError(f"{self.name}: {self.value} lies outside of its interval {self.interval_95}")
        return self

    def __str__(self) -> str:
        unit = " %" if self.unit else ""
        inside = (
            [f"{low:.1f}–{high:.1f}" for low, high in [self.interval_95 or ()] if self.unit] if self.interval_95 else []
        )
        inside += [f"n={self.n}"] if self.n else []
        return f"{self.value:.1f}{unit} ({', '.join(inside)})" if inside and self.unit else f"{self.value:g}{unit}"


class Pictures(_Row):
    """Pictures that were learned, calibrated or measured on. What is absent was not written down at the time."""

    role: Literal["training", "calibration", "heldout", "in style"]
    pictures: int = Field(gt=0)
    kind: Literal["ordinary", "dense"] | None = None
    seeds: tuple[int, ...] | None = None
    commit: str | None = None
    manifest_sha256: str | None = None


class Parent(_Row):
    """A run whose weights went in: measured as they are (share 1), begun from (0), or averaged in."""

    run: str
    network: Literal["finder", "reader", "both"]
    share: Fraction


class Trained(_Row):
    """Weights that this run trained, and their share of what came out."""

    what: str
    share: Fraction


class Run(_Row):
    """One thing that was tried. `commit` is the code that drew, trained or measured."""

    id: str
    kind: Kind
    date: date
    title: str
    commit: str | None = None
    preset: str | None = None
    parents: tuple[Parent, ...] = ()
    trained: tuple[Trained, ...] = ()
    data: tuple[Pictures, ...] = ()
    how: str = ""
    metrics: tuple[Metric, ...] = ()
    decision: str
    seen_before_deciding: str = ""
    learned: str = ""

    @model_validator(mode="after")
    def _shares_are_whole(self) -> "Run":
        if self.kind == "training":
            averaged = sum(
                parent.share for parent in self.parents if parent.network != "finder" or len(self.parents) == 1
            )
            total = averaged + sum(each.share for each in self.trained)
            if abs(total - 1) > 1e-9:
                raise ValueError(f"the shares of parents and own training add up to {total:g}, not to 1")
        return self


def read_runs(path: Path = RUNS_FILE) -> list[Run]:
    """All runs, oldest first. Raises `RunsError` for a line that is none, an id given twice or an unknown parent."""
    runs: list[Run] = []
    known = {IMAGENET}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        try:
            run = Run.model_validate_json(line)
        except ValidationError as problem:
            raise RunsError(f"{path.name}, line {number}: {problem}") from None
        if run.id in known:
            raise RunsError(f"{path.name}, line {number}: the id {run.id!r} was given before; give each run its own")
        known.add(run.id)
        runs.append(run)
    _check_parents(runs, known, path)
    return runs


def _check_parents(runs: Sequence[Run], known: set[str], path: Path) -> None:
    for run in runs:
        strangers = [parent.run for parent in run.parents if parent.run not in known]
        if strangers:
            raise RunsError(f"{path.name}: {run.id} has the parents {strangers}, which are no runs; add these first")
