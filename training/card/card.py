"""The model card, written from the metadata of the weights and the rows of the experiments: no figure is typed."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jinja2 import Environment, StrictUndefined

from classifier.recipe import Recipe
from classifier.taxonomy import CONCEPTS
from experiments.prose import wrapped
from experiments.runs import Metric, Run, read_runs
from training.card.entry import ALL_PHOTOS, FAIR_PHOTOS, LIFTS

CARD: Final = Path(__file__).parents[1] / "MODEL_CARD.md"
TEMPLATE: Final = Path(__file__).parent / "card.md.jinja"
PERFECT: Final = "perfect-reader-5000"
PHOTOGRAPHS: Final = "19 photographs without a lift (scikit-image, scikit-learn)"
ROUND_FIGURES: Final = (
    "readable heads, favourite right, two views a lift", "readable boxes, favourite right, two views a lift",
    "true value inside the 95 % set, all concepts", "no lift part, taken for one", "confirmed by one picture and wrong",
)  # fmt: skip
"""What the card tells of each round that these weights were measured on."""


class CardError(ValueError):
    """A card that cannot be written; the message says which figure is missing, and where."""


@dataclass(frozen=True)
class Wanted:
    """One requirement: a figure of the evaluation and the least, or the most, that it may be, in per cent."""

    what: str
    split: str
    name: str
    least: float | None = None
    most: float | None = None

    def row(self, metric: Metric) -> dict[str, str]:
        """The requirement beside what was measured; a requirement inside the interval is said to be there."""
        bound = self.least if self.least is not None else self.most
        met = metric.value >= bound if self.least is not None else metric.value <= bound
        inside = metric.interval_95 is not None and metric.interval_95[0] <= bound <= metric.interval_95[1]
        return {
            "what": self.what,
            "wanted": f"{'at least' if self.least is not None else 'at most'} {bound:g} %",
            "measured": str(metric),
            "verdict": ("met" if met else "**missed**") + (", inside the interval" if inside and not met else ""),
        }


OOD = "out-of-distribution, relative_distance, "
WANTED: Final = (
    Wanted("generations right, fair photos", FAIR_PHOTOS, "generation", least=97),
    Wanted("listed generations right, fair photos", FAIR_PHOTOS, "generation, listed ones only", least=97),
    Wanted("lowering mechanisms right, fair photos", FAIR_PHOTOS, "lowering mechanism", least=95),
    Wanted("parts found, fair photos", FAIR_PHOTOS, "finder recall, all", least=98),
    Wanted("listed boxes confirmed, fair photos", FAIR_PHOTOS, "listed boxes that are confirmed", least=85),
    Wanted("actuators confirmed, fair photos", FAIR_PHOTOS, "actuators that are confirmed", least=85),
    Wanted("confirmed answers that are wrong, all photos", ALL_PHOTOS, "confirmed answers that are wrong", most=0.5),
    Wanted("false alarms at 95 % recall, crops", ALL_PHOTOS,
           OOD + "crops, alone: false positives at 95 % recall", most=10),
    Wanted("false alarms at 95 % recall, boxes", ALL_PHOTOS,
           OOD + "proposed boxes, joined with the finder: false positives at 95 % recall", most=10),
    *(Wanted(f"calibration error of {concept}", ALL_PHOTOS, f"{concept}: calibration error", most=3)
      for concept in CONCEPTS),
)  # fmt: skip


def write_card(card: Path, weights: Path, runs: Path) -> None:
    """Write the card of these weights. Raises `CardError` where the experiments lack a figure that it shows."""
    card.write_text(card_text(Recipe.read(weights)[0], read_runs(runs)), encoding="utf-8")


def card_text(recipe: Recipe, runs: Sequence[Run]) -> str:
    """The card of the weights that were evaluated last."""
    by_id = {run.id: run for run in runs}
    evaluations = [run for run in runs if run.kind == "evaluation"]
    if not evaluations:
        raise CardError("no evaluation is among the runs; add one with `python -m training record`")
    served = evaluations[-1]
    weights = served.parents[0].run
    rounds = [run for run in runs if run.id.startswith("round-") and run.parents[0].run == weights]
    rounds.sort(key=lambda run: (len(run.id), run.id))
    heldout = next(pictures for pictures in served.data if pictures.role == "heldout")
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    environment.filters["thousands"] = lambda number: f"{number:,}"
    page = environment.from_string(TEMPLATE.read_text(encoding="utf-8")).render(
        metadata=recipe,
        made=recipe.provenance,
        largest_difference=max(recipe.provenance.parity_max_abs.values()),
        served=served,
        taught=by_id[weights],
        perfect=by_id[PERFECT],
        heldout=heldout.pictures,
        seed=", ".join(map(str, heldout.seeds or ())) or "not kept",
        requirements=[wanted.row(metric_of(served, wanted.split, wanted.name)) for wanted in WANTED],
        concepts=tuple(CONCEPTS),
        at=metric_of,
        all=ALL_PHOTOS,
        lifts=LIFTS,
        rounds=[round_row(run) for run in rounds],
        photographs=PHOTOGRAPHS,
    )
    return wrapped(page)


def round_row(measured: Run) -> list[str]:
    """A round's name and its `ROUND_FIGURES`; a dash where the round had no case of one."""
    figures = {metric.name: str(metric) for metric in measured.metrics}
    name = measured.metrics[0].split.removeprefix("round ")
    return [name, *(figures.get(figure, "–") for figure in ROUND_FIGURES)]


def metric_of(run: Run, split: str, name: str) -> Metric:
    """One figure of a run."""
    for metric in run.metrics:
        if (metric.split, metric.name) == (split, name):
            return metric
    raise CardError(f"{run.id} has no figure {name!r} on {split!r}; measure it, and add it with `training record`")
