"""A round's measurement as one row of the experiments; whether it is the first of that round is found, not claimed."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from experiments.runs import Metric, Parent, Pictures, Run, read_runs
from training.card.entry import EntryError

_HOW = (
    "python -m training round, through the served files. Drawn in another renderer by somebody who had seen the "
    "taxonomy and none of our shapes; named blind by another person. What could not be named is not asked."
)
_FIRST = "the round's first measurement"


@dataclass(frozen=True)
class Measured:
    """What a row is made of: the round's name, the run whose weights were measured, the code's commit, the files."""

    name: str
    weights: str
    commit: str
    labels: Path
    pictures: Sequence[Path]


def record_round(measured: Measured, metrics: Sequence[Metric], runs: Path) -> Run:
    """Append the row and read all again; raises `EntryError` where the weights are of no run or were measured so."""
    known = read_runs(runs)
    digest = digest_of([measured.labels, *measured.pictures])
    if measured.weights not in {run.id for run in known}:
        raise EntryError(f"weights {measured.weights!r} are the id of no run in {runs}; name the run that trained them")
    row_id = f"round-{measured.name}-{measured.weights}"
    if row_id in {run.id for run in known}:
        raise EntryError(f"{row_id} stands in {runs}: a round measures the same weights once")
    before = [run.id for run in known if any(each.manifest_sha256 == digest for each in run.data)]
    row = Run(
        id=row_id,
        kind="measurement",
        date=date.today(),
        title=f"Round {measured.name}: {measured.weights} on shapes that somebody else drew",
        commit=measured.commit,
        parents=(Parent(run=measured.weights, network="both", share=1.0),),
        data=(Pictures(role="heldout", pictures=len(measured.pictures), manifest_sha256=digest),),
        how=_HOW,
        metrics=tuple(metrics),
        decision=_FIRST if not before else f"not {_FIRST}, which is {before[0]}",
        seen_before_deciding="" if before else "None of its pictures had been measured before.",
    )  # fmt: skip
    with runs.open("a", encoding="utf-8") as file:
        file.write(row.model_dump_json(exclude_defaults=True) + "\n")
    read_runs(runs)
    return row


def digest_of(files: Sequence[Path]) -> str:
    """SHA-256 of the names and bytes of a round's files, so that it is known again wherever it lies."""
    whole = hashlib.sha256()
    for path in sorted(files, key=lambda path: path.name):
        whole.update(f"{path.name}\n".encode())
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()
