"""The runs hold together, and every figure that a page quotes stands among them."""

import json
import re
from pathlib import Path

import pytest

from experiments.drawn import figure, page
from experiments.runs import RUNS_FILE, Metric, RunsError, read_runs

ROOT = Path(__file__).parents[2]
OF_GUIDANCE = {"guidance.md", "troubleshooting.md", "catalogue.md", "pool.md"}
"""Pages whose figures are the catalogue's, or are measured by the command that stands beside them."""

OF_DOCS = sorted(path for path in (ROOT / "docs").glob("*.md") if path.name not in OF_GUIDANCE)
QUOTING = ("README.md", "CHANGELOG.md", "training/MODEL_CARD.md", *(f"docs/{path.name}" for path in OF_DOCS))
FIGURE = re.compile(r"(\d+\.\d) % \((\d+\.\d)–(\d+\.\d)(?:, n=(\d+))?\)")
COUNTED = re.compile(r"(\d+\.\d) % \(n=(\d+)\)")
LOG_LOSS = re.compile(r"\b0\.\d{3,4}\b")


@pytest.fixture(scope="module")
def metrics() -> list[Metric]:
    return [metric for run in read_runs() for metric in run.metrics]


def unknown_figures(text: str, metrics: list[Metric]) -> list[str]:
    """The figures of a page that no run holds: shares with an interval or n, and losses of three digits and more."""
    shares = {(m.value, m.interval_95, m.n) for m in metrics}
    without_n = {(value, interval) for value, interval, _ in shares}
    counted = {(value, n) for value, _, n in shares}
    losses = {m.value for m in metrics if m.unit is None}
    found = []
    for match in FIGURE.finditer(text):
        value, interval = float(match[1]), (float(match[2]), float(match[3]))
        known = (value, interval, int(match[4])) in shares if match[4] else (value, interval) in without_n
        found += [] if known else [match[0]]
    found += [m[0] for m in COUNTED.finditer(text) if (float(m[1]), int(m[2])) not in counted]
    return found + [m[0] for m in LOG_LOSS.finditer(text) if float(m[0]) not in losses]


@pytest.mark.parametrize("name", QUOTING)
def test_every_figure_that_a_page_quotes_is_a_run_s(name: str, metrics: list[Metric]) -> None:
    assert unknown_figures((ROOT / name).read_text("utf-8"), metrics) == []


def test_a_figure_that_was_never_measured_is_found(metrics: list[Metric]) -> None:
    card = (ROOT / "training/MODEL_CARD.md").read_text("utf-8")
    quoted = FIGURE.search(card)
    assert quoted and unknown_figures(quoted[0], metrics) == []
    for invented in (
        quoted[0].replace(quoted[1], "12.3"),
        quoted[0].replace(f"–{quoted[3]}", "–99.9"),
        "12.3 % (n=77)",
    ):
        assert unknown_figures(invented, metrics) == [invented]


def test_the_pages_of_the_experiments_are_drawn_from_the_runs() -> None:
    runs = read_runs()
    assert (RUNS_FILE.parent / "README.md").read_text("utf-8") == page(runs), "run `python -m experiments`"
    assert (RUNS_FILE.parent / "served.svg").read_text("utf-8") == figure(runs), "run `python -m experiments`"
    assert all(run.id in page(runs) for run in runs if run.kind != "evaluation")


def test_every_training_says_what_was_decided_and_what_was_learned() -> None:
    trainings = [run for run in read_runs() if run.kind == "training"]
    assert trainings and all(run.decision and run.learned and run.data for run in trainings)
    assert all(run.seen_before_deciding for run in trainings)


def changed(tmp_path: Path, change) -> Path:
    """The file of runs with one change made to its rows."""
    rows = [json.loads(line) for line in RUNS_FILE.read_text("utf-8").splitlines()]
    change(rows)
    path = tmp_path / "runs.jsonl"
    path.write_text("\n".join(json.dumps(row) for row in rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda rows: rows.append(rows[0]), "was given before"),
        (lambda rows: rows[1].update(parents=[{"run": "nobody", "network": "both", "share": 0}]), "no runs"),
        (lambda rows: rows[0].update(trained=[{"what": "it", "share": 0.5}]), "add up to 0.5"),
        (lambda rows: rows[0]["metrics"][0].update(value=99.0), "outside of its interval"),
        (lambda rows: rows[0].update(nonsense=1), "nonsense"),
    ],
)
def test_runs_that_do_not_hold_together_are_refused(change, says: str, tmp_path: Path) -> None:
    with pytest.raises(RunsError, match=says):
        read_runs(changed(tmp_path, change))
