"""The card is what the experiments and the metadata say, and an evaluation becomes a row of the experiments."""

import json
import shutil
from pathlib import Path

import pytest

from classifier.identify import WEIGHTS_DIR
from classifier.recipe import Recipe
from experiments.runs import RUNS_FILE, Metric, Run, read_runs
from training.card.card import CARD, CardError, Wanted, card_text, metric_of, round_row
from training.card.entry import ALL_PHOTOS, EntryError, metrics_of, record
from training.data.manifest import read_manifests

RECIPE, _ = Recipe.read(WEIGHTS_DIR)


def test_the_committed_card_is_what_the_data_say():
    assert CARD.read_text("utf-8") == card_text(RECIPE, read_runs()), "run `python -m training card`"


def test_the_card_takes_two_pages_at_most():
    assert len(CARD.read_text("utf-8").splitlines()) <= 110


def test_a_card_without_a_figure_says_which():
    runs = read_runs()
    bare = [run.model_copy(update={"metrics": ()}) if run.kind == "evaluation" else run for run in runs]
    with pytest.raises(CardError, match="has no figure 'generation'"):
        card_text(RECIPE, bare)


def test_the_card_tells_of_each_round_that_these_weights_were_measured_on():
    weights = last_evaluation().parents[0].run
    measured = [run for run in read_runs() if run.id.startswith("round-") and run.parents[0].run == weights]
    assert len(measured) >= 4
    for run in measured:
        name = run.id.split("-")[1]
        heads = metric_of(run, f"round {name}", "readable heads, favourite right, two views a lift")
        assert f"| {name} | {heads} | " in CARD.read_text("utf-8")


def test_a_round_of_any_name_and_without_a_case_of_a_figure_has_its_row():
    run = next(run for run in read_runs() if run.id.startswith("round-"))
    few = tuple(
        metric.model_copy(update={"split": "round our own"}) for metric in run.metrics if "boxes" in metric.name
    )
    name, heads, boxes, *_ = round_row(run.model_copy(update={"id": "round-our own-w", "metrics": few}))
    assert (name, heads) == ("our own", "–") and boxes.endswith(")")


@pytest.mark.parametrize(
    ("value", "interval", "verdict"),
    [(96.0, (94.0, 98.0), "met"), (94.0, (92.0, 96.0), "**missed**, inside the interval"),
     (90.0, (88.0, 92.0), "**missed**")],
)  # fmt: skip
def test_a_requirement_is_met_or_missed_by_its_value(value, interval, verdict):
    metric = Metric(split=ALL_PHOTOS, name="it", value=value, unit="%", interval_95=interval, n=100)
    assert Wanted("it", ALL_PHOTOS, "it", least=95).row(metric)["verdict"] == verdict


def entry(folder: Path, **told: str) -> Path:
    path = folder / "entry.json"
    path.write_text(
        json.dumps({"id": "served-small", "title": "t", "weights": "weights-330742", "decision": "d"} | told)
    )
    return path


def test_an_evaluation_becomes_a_row_with_every_figure(small_run: Path, drawn: dict[str, Path], tmp_path: Path):
    runs = Path(shutil.copy(RUNS_FILE, tmp_path / "runs.jsonl"))
    report = json.loads((small_run / "evaluation" / "evaluation.json").read_text())
    records = read_manifests([drawn["heldout"]], "heldout")
    row = record(report, records, entry(tmp_path), runs)
    assert read_runs(runs)[-1].model_dump() == row.model_dump()
    found = report["all photos"]["finder"]["all"]["recall"]
    told = metric_of(row, ALL_PHOTOS, "finder recall, all")
    assert told.n == found["n"] > 0 and told.value == round(100 * found["share"], 1)
    assert row.data[0].pictures == len(records)
    shipped = {metric.name.split(" (")[0] for metric in last_evaluation().metrics}
    assert {metric.name.split(" (")[0] for metric in metrics_of(report)} <= shipped


def last_evaluation() -> Run:
    return [run for run in read_runs() if run.kind == "evaluation"][-1]


@pytest.mark.parametrize("told", [{"weights": "nobody"}, {"id": "weights-8286"}, {"nonsense": "x"}])
def test_an_entry_that_fits_no_run_is_refused(told: dict, tmp_path: Path):
    with pytest.raises(EntryError):
        record({}, [], entry(tmp_path, **told), RUNS_FILE)
