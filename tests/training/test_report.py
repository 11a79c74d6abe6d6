"""The report: figures from photos whose right answers are known by hand, and a page that needs nothing else."""

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.support.judged import BOX, NO_GENERATION, SEALED_TOP, photo, said, truth
from tests.support.standin_photos import STANDINS, as_csv, standins
from training.command import main
from training.evaluate.scores import Judged
from training.report.figures import (
    FEWEST_IN_BIN,
    bootstrap_interval,
    mean_risk,
    reliability_bins,
    report_figures,
    risk_coverage,
)
from training.report.mistakes import worst_mistakes

TITLES = ("In short", "Concepts: confusion", "Reliability", "Risk against coverage", "Prediction sets", "How close",
          "Conditions", "Look-alikes", "Combinations that the catalogue", "The worst mistakes")  # fmt: skip


@pytest.fixture(scope="module")
def report(small_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of twelve stand-ins given as somebody's own photos, and of all 48 as a set."""
    root = tmp_path_factory.mktemp("report")
    photos = as_csv(root / "photos", standins(12))
    main(["report", "--data", str(STANDINS), "--photos", str(photos), "--labels", str(photos / "labels.csv"),
          "--weights", str(small_run / "weights"), "--out", str(root / "report.html"), "--workers", "1"])  # fmt: skip
    return root / "report.html"


class Fetches(HTMLParser):
    """Everything that a page would fetch, and the ids that it defines."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses, self.ids, self.tags = [], [], []

    def handle_starttag(self, tag, attrs) -> None:
        facts = dict(attrs)
        self.tags.append(tag)
        self.ids.append(facts.get("id"))
        self.addresses += [facts[name] for name in ("src", "href") if name in facts]


def test_the_page_needs_nothing_from_outside(report: Path):
    page = Fetches()
    page.feed(report.read_text())
    assert "script" not in page.tags and "link" not in page.tags
    assert all(address.startswith(("data:image/jpeg;base64,", "#")) for address in page.addresses)
    assert {address[1:] for address in page.addresses if address.startswith("#")} <= set(page.ids)
    assert "url(" not in report.read_text() and "@import" not in report.read_text()


def test_every_chapter_shows_every_part(report: Path):
    text = report.read_text()
    for title in TITLES:
        assert text.count(f"<section><h3>{title}") == 2, title
    assert "Foreign photographs" in text and "Guo et al. 2017, Table 1" in text
    assert "16.53 %" in text and "1.26 %" in text, "Source: Guo et al. 2017, Table 1, CIFAR-100 (read)"
    assert "Not photographs" in text and "no real photograph" in text


def test_every_share_on_the_page_has_its_number_of_cases(report: Path):
    """Whatever stands in a table's cell as a percentage with an interval is followed by n."""
    cells = re.findall(r"<td>([^<]*%[^<]*\([^<]*\)[^<]*)</td>", report.read_text().split('id="yardstick"')[0])
    assert cells and all("n\u00a0=\u00a0" in cell for cell in cells)


def test_anyones_photos_are_measured_and_not_kept(report: Path):
    figures = json.loads(report.with_suffix(".json").read_text())
    own = next(chapter for chapter in figures["sets"] if chapter["name"] == "Your photos")
    assert own["figures"]["photos"] == 12 and own["told"].startswith("12 photos of your own, 0 left out")
    assert {path.name for path in report.parent.iterdir()} == {"photos", "report.html", "report.json"}
    assert all("picture" not in mistake for mistake in own["mistakes"])


def test_pictures_that_were_learned_from_are_refused(drawn: dict[str, Path], small_run: Path, tmp_path: Path, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["report", "--data", str(drawn["train"]), "--weights", str(small_run / "weights"), "--out",
              str(tmp_path / "r.html")])  # fmt: skip
    assert stopped.value.code == 2 and "style train were learned from" in capsys.readouterr().err


def test_risk_against_coverage_by_hand():
    """Right, right, wrong, right in order of sureness: risks 0, 0, 1/3, 1/4."""
    found = risk_coverage([(0.9, True), (0.4, True), (0.6, False), (0.8, True)])
    assert [round(point[1], 6) for point in found["curve"]] == [0, 0, round(1 / 3, 6), 0.25]
    assert (found["at"]["0.5"]["hits"], found["at"]["0.5"]["n"]) == (0, 2)
    assert found["area"] == pytest.approx((1 / 3 + 1 / 4) / 4)
    sure, right = np.array([0.9, 0.4, 0.6, 0.8]), np.array([True, True, False, True])
    assert mean_risk(sure, right) == pytest.approx(found["area"])
    assert risk_coverage([]) == {"n": 0, "curve": [], "at": {}, "area": None}


def test_reliability_bins_add_up_to_the_calibration_error():
    from training.measure.measures import calibration_error

    rng = np.random.default_rng(0)
    sure = rng.random(500)
    right = rng.random(500) < sure**2
    bins = reliability_bins(sure, right)
    gap = sum(row["n"] * abs(row["share"] - row["confidence"]) for row in bins) / 500
    assert gap == pytest.approx(calibration_error(sure, right)) and sum(row["n"] for row in bins) == 500


def test_the_bootstrap_interval_of_a_mean_is_the_normal_one():
    """For many cases the interval of a mean is mean ± 1.96 s/√n."""
    values = np.random.default_rng(1).normal(3, 2, 1000)
    low, high = bootstrap_interval(1000, lambda rows: float(values[rows].mean()), np.random.default_rng(2))
    half = 1.96 * values.std() / 1000**0.5
    assert (low, high) == pytest.approx((values.mean() - half, values.mean() + half), abs=0.03)


def at(judged: Judged, distance_m: float, conditions: tuple[str, ...] = ()) -> Judged:
    return replace(judged, record=replace(judged.record, distance_m=distance_m, conditions=conditions))


def test_distance_counts_a_part_that_was_not_found_as_wrong():
    head = truth("actuator_head", {"lowering": "squeeze_tabs"})
    read = said("actuator_head", {"lowering": "squeeze_tabs"})
    near, far = at(photo((head,), (read,)), 0.5), at(photo((head,), ()), 2.5, ("far",))
    photos = [*[near] * FEWEST_IN_BIN, far]
    found = report_figures(photos, load(DEMO_CATALOGUE), np.random.default_rng(0))
    by_distance = {row["from"]: (row["hits"], row["n"]) for row in found["distance"]["lowering"]["distance"]}
    assert by_distance[0.4] == (10, 10) and by_distance[2.0] == (0, 1)
    assert found["distance"]["lowering"]["readable_to_m"] == 0.6
    assert (found["conditions"]["far"]["photos"], found["conditions"]["none of these"]["photos"]) == (1, 10)


def test_decisions_on_unlisted_boxes_are_counted_apart():
    photos = [
        photo((truth("control_box", NO_GENERATION),), (said("control_box", SEALED_TOP),)),
        photo((truth("control_box", SEALED_TOP),), (said("control_box", SEALED_TOP),)),
    ]
    found = report_figures(photos, load(DEMO_CATALOGUE), np.random.default_rng(0))["unlisted"]
    assert found["unlisted"] == {"n": 1, "decisions": {"confirmed": 1}, "confirmed_wrong": 1}
    assert found["listed"] == {"n": 1, "decisions": {"confirmed": 1}, "confirmed_wrong": 0}


def test_a_look_alike_taken_for_a_part_is_counted():
    alarm = said("charger", {}, BOX)
    taken, spared = (
        replace(judged, record=replace(judged.record, look_alikes=(BOX,)))
        for judged in (photo((), (alarm,)), photo((), ()))
    )
    found = report_figures([taken, spared], load(DEMO_CATALOGUE), np.random.default_rng(0))["look_alikes"]
    assert (found["taken_for_a_part"]["hits"], found["taken_for_a_part"]["n"]) == (1, 2)


def test_the_worst_mistake_comes_first(tmp_path: Path):
    picture = STANDINS / standins(1)[0]["file"]
    doubtful = photo((truth("control_box", NO_GENERATION),), (said("control_box", SEALED_TOP, sure=0.5),))
    confirmed = photo((truth("control_box", NO_GENERATION),), (said("control_box", SEALED_TOP),))
    right = photo((truth("control_box", SEALED_TOP),), (said("control_box", SEALED_TOP),))
    photos = [replace(p, record=replace(p.record, path=picture)) for p in (right, doubtful, confirmed)]
    found = worst_mistakes(photos, load(DEMO_CATALOGUE), 10)
    assert [mistake["rank"] for mistake in found][:1] == [3] and len(found) <= 2
    assert "true: unlisted" in found[0]["what"] and found[0]["picture"].startswith("data:image/jpeg;base64,")
