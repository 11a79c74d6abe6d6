"""One self-contained HTML page that a sceptic may read: every figure with its number of cases and its interval."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from classifier.model import Model
from guidance.catalogue.catalogue import Catalogue
from training.calibrate.merging import readings_of
from training.evaluate.evaluate import judge_readings
from training.evaluate.two_photos import lifts_of, two_photo_figures
from training.measure.collect import collect_raw
from training.report.figures import report_figures
from training.report.foreign import foreign_figures, raw_figures
from training.report.mistakes import count_mistakes, worst_mistakes
from training.report.page import page
from training.report.sets import PictureSet

MOST_MISTAKES = 24
SEED = 20_261_101  # of the bootstrap, so that the same pictures give the same page


def write_report(
    out: Path, weights: Path, sets: Sequence[PictureSet], catalogue: Catalogue, workers: int, command: str
) -> dict:
    """Measure every set and write the page; the same figures as JSON lie beside it. Returns the figures."""
    model = Model.load(weights)
    result = {
        "model": {"version": model.info.version, "sha256": model.info.sha256, "trained_on": model.info.trained_on},
        "catalogue": {"id": catalogue.pool.id, "version": catalogue.pool.version},
        "command": command,
        "written": datetime.now(UTC).isoformat(timespec="seconds"),
        "coverage": model.info.coverage,
        "sets": [_chapter(chosen, weights, model, catalogue, workers) for chosen in sets],
        "foreign": foreign_figures(weights),
    }
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(page(result), encoding="utf-8")
    for chapter in result["sets"]:
        for mistake in chapter["mistakes"]:
            del mistake["picture"]
    out.with_suffix(".json").write_text(json.dumps(result, indent=1, default=str) + "\n")
    return result


def _chapter(chosen: PictureSet, weights: Path, model: Model, catalogue: Catalogue, workers: int) -> dict:
    rng = np.random.default_rng(SEED)
    raw = collect_raw(weights, chosen.records, workers)
    photos = judge_readings(chosen.records, readings_of(raw, chosen.records, model), catalogue, model)
    lifts = lifts_of(photos, catalogue, model)
    return {
        "name": chosen.name,
        "told": chosen.told,
        "figures": report_figures(photos, catalogue, rng),
        "two_photos": two_photo_figures(lifts, catalogue),
        "raw": raw_figures(raw, chosen.records, model, rng),
        "mistaken_photos": count_mistakes(photos, catalogue),
        "mistakes": worst_mistakes(photos, catalogue, MOST_MISTAKES),
    }
