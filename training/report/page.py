"""Figures to the report's page: one HTML text that fetches nothing and runs nothing."""

from collections.abc import Sequence
from html import escape

from training.measure.measures import Share
from training.report.adaptive import PUBLISHED_MEAN_SIZES
from training.report.charts import bins_chart, reliability_chart, risk_chart, sizes_chart
from training.report.figures import FEWEST_IN_BIN, READABLE
from training.report.foreign import PUBLISHED
from training.report.parts import (
    area_interval,
    confusion_table,
    figure_grid,
    interval_words,
    mistakes_page,
    share_words,
    table,
)
from training.report.style import STYLE

FEWEST_FOR_HALVES = 40  # cases to measure on; with fewer than 19 to calibrate on every set holds every value
TOLD_OF_TWO = {
    "undecided": "not seen or undecided",
    "confirmed": "confirmed",
    "confirmed_wrong": "confirmed and wrong",
    "wrong": "decided (confirmed, likely or unlisted) and wrong",
}
TASKS = {
    "alone": "crops of parts against look-alikes and false alarms, alone",
    "joined": "boxes that finder and reader agree on, joined",
    "whole_photos": "photos with a lift part against others, joined",
}
TITLES = {"generation": "generation of the control box", "lowering": "lowering mechanism"}


def page(result: dict) -> str:
    """The whole page."""
    model, trained = result["model"], result["model"]["trained_on"]
    chapters = "".join(_chapter(chapter, number) for number, chapter in enumerate(result["sets"], start=1))
    links = "".join(f'<a href="#set{n}">{escape(c["name"])}</a>' for n, c in enumerate(result["sets"], start=1))
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>How well it reads: model {escape(model["version"])}</title><style>{STYLE}</style></head><body><main>
<header><h1>How well it reads, and where it fails</h1>
<p>Model {escape(model["version"])} (<code>{escape(model["sha256"][:12])}</code>), trained on {trained["synthetic"]}
renders and {trained["owned_photos"]} owned photos. Catalogue {escape(result["catalogue"]["id"])}
{escape(result["catalogue"]["version"])}. Written {escape(result["written"])} by
<code>{escape(result["command"])}</code>.</p>
<p class="note">Shares are followed by their 95&nbsp;% interval (Wilson) and by n, the number of cases. Other figures
carry a 95&nbsp;% bootstrap interval over cases. A figure of few cases proves little: read the interval, not the
share.</p>
<nav>{links}<a href="#foreign">Foreign photographs</a><a href="#yardstick">Yardstick</a></nav></header>
{chapters}{_foreign(result["foreign"])}{_yardstick(result["sets"])}
</main></body></html>
"""


def _chapter(chapter: dict, number: int) -> str:
    found = chapter["figures"]
    sections = [
        ("In short", _short(found)),
        ("Concepts: confusion", _confusions(found)),
        ("Reliability: is it as often right as it is sure?", _reliability(found)),
        ("Risk against coverage", _risk(found)),
        ("Prediction sets", _sets(found) + _kinds_of_sets(chapter["raw"]["kinds_of_sets"])),
        ("How close is close enough?", _distance(found)),
        ("One photo against two of the same lift", _two_photos(chapter["two_photos"])),
        ("Conditions", _conditions(found)),
        ("Look-alikes and pictures without a lift", _look_alikes(found, chapter["raw"])),
        ("Combinations that the catalogue does not list", _unlisted(found)),
        ("The worst mistakes", mistakes_page(chapter["mistakes"], chapter["mistaken_photos"], found["photos"])),
    ]
    body = "".join(f"<section><h3>{escape(title)}</h3>{content}</section>" for title, content in sections if content)
    return (
        f'<article id="set{number}"><h2>{escape(chapter["name"])} <small>n = {found["photos"]}</small></h2>'
        f'<p class="note">{escape(chapter["told"])}</p>{body}</article>'
    )


def _short(found: dict) -> str:
    paths = {
        "confirmed answers that are wrong": ("confirmed", "wrong"),
        "generation right, unlisted counted": ("generation", "right"),
        "generation right where it is listed": ("generation", "right_when_listed"),
        "lowering mechanism right": ("lowering", "right"),
        "parts found (overlap of one half)": ("finder", "all", "recall"),
        "reported parts that are there": ("finder", "all", "precision"),
        "listed boxes confirmed": ("confirmed", "listed_boxes_confirmed"),
        "actuators confirmed": ("confirmed", "actuators_confirmed"),
        "no lift part: nothing seen": ("not_seen_without_a_lift",),
    }
    rows = []
    for name, path in paths.items():
        cells = []
        for group in ("all", "fair"):
            value = found[group]
            for key in path:
                value = value[key]
            cells.append(share_words(value))
        rows.append([name, *cells])
    heads = ["", f"all {found['all']['photos']}", f"fair close {found['fair']['photos']}"]
    return table(heads, rows)


def _confusions(found: dict) -> str:
    blocks = []
    for concept, row in found["all"]["concepts"].items():
        right = share_words(row["accuracy"])
        blocks.append((concept, f"right {right}", confusion_table(row["classes"], row["confusion"])))
    return "<p>Rows are true, columns are answered; parts that were found.</p>" + figure_grid(blocks)


def _reliability(found: dict) -> str:
    blocks = []
    for concept, row in found["reliability"].items():
        error = interval_words(row["error"], row["error_interval"], "%")
        chance = interval_words(row["error_by_chance"], None, "%")
        told = f"calibration error {error}, by chance alone {chance}, n = {row['n']}"
        blocks.append((concept, told, reliability_chart(row["bins"])))
    return (
        "<p>On the dashed line, what is said with 80&nbsp;% is right 8 times in 10. Above it the answers are too "
        "modest, below it too sure. 15 bins.</p>" + figure_grid(blocks)
    )


def _risk(found: dict) -> str:
    blocks = []
    for part, row in found["risk"].items():
        if not row["n"]:
            continue
        cells = [[f"{100 * float(at):g} %", share_words(value)] for at, value in row["at"].items()]
        words = f"mean risk {interval_words(row['area'], row['area_interval'], '%')}, n = {row['n']}"
        blocks.append((TITLES[part], words, risk_chart(row["curve"]) + table(["answered", "wrong"], cells)))
    return (
        "<p>The surest cases are answered first; a part that was not found counts as wrong and least sure, a part seen "
        "where none is as wrong.</p>" + figure_grid(blocks)
    )


def _sets(found: dict) -> str:
    blocks = []
    for concept, row in found["sets"].items():
        size = interval_words(row["mean_size"], row["mean_size_interval"], "")
        cells = [[value, share_words(covered), _band(covered)] for value, covered in row["covered"].items()]
        covered = table(["true value", "in the set", "95 %?"], cells)
        blocks.append((concept, f"mean size {size}, n = {row['n']}", sizes_chart(row["sizes"]) + covered))
    return "<p>A set holds every value that cannot be ruled out.</p>" + figure_grid(blocks)


def _kinds_of_sets(found: dict) -> str:
    rows = []
    for concept, kinds in found.items():
        for kind, row in kinds.items():
            if row["covered"]["n"] >= FEWEST_FOR_HALVES:
                rows.append(
                    [
                        f"{concept}, {kind}",
                        interval_words(row["mean_size"], row["mean_size_interval"], ""),
                        share_words(row["covered"]),
                    ]
                )
    if not rows:
        return ""
    rows += [[f"published, {kind}", f"{size:.2f}", "90 % asked"] for kind, size in PUBLISHED_MEAN_SIZES.items()]
    return (
        "<p>Two kinds of sets on these pictures: one threshold for all values, set on one half of the cases and "
        "measured on the other. Shipped are the least ambiguous ones, with a threshold a value. Published: ImageNet, "
        "ResNet-50 (aangelopoulos/conformal_classification).</p>" + table(["", "mean size", "covered"], rows)
    )


def _band(covered: dict) -> str:
    if not covered["n"]:
        return "–"
    low, high = Share(covered["hits"], covered["n"]).interval
    return "kept" if low <= 0.95 <= high else "more than promised" if low > 0.95 else "BROKEN"


def _distance(found: dict) -> str:
    blocks = []
    for concept, row in found["distance"].items():
        content = ""
        for name, unit in (("evidence", "px"), ("distance", "m")):
            if any(part["n"] for part in row[name]):
                content += bins_chart(row[name], unit, READABLE)
        if content:
            words = f"{100 * READABLE:.0f} % right: {_from_px(row)}, {_to_m(row)}"
            blocks.append((concept, words, content))
    if not blocks:
        return "<p>Nobody measured distance or evidence on these pictures.</p>"
    return (
        "<p>Share right among cases whose evidence is visible, by the pixels that the evidence covers in a photo 500 "
        "pixels wide, and by distance. A part that was not found counts as wrong. Numbers in the bars are cases; the "
        f"words above go by bins of {FEWEST_IN_BIN} cases and more.</p>" + figure_grid(blocks)
    )


def _from_px(row: dict) -> str:
    if row["readable_from_px"] is None:
        return "at no size of evidence with enough cases"
    return f"from {row['readable_from_px']:g} px of evidence"


def _to_m(row: dict) -> str:
    return "at no distance" if row["readable_to_m"] is None else f"up to {row['readable_to_m']:g} m"


def _conditions(found: dict) -> str:
    heads = ["condition", "photos", "generation right", "lowering right", "parts found", "confirmed and wrong"]
    names = ("generation", "lowering", "recall", "confirmed_wrong")
    rows = [
        [name, str(row["photos"]), *(share_words(row[key]) for key in names)]
        for name, row in found["conditions"].items()
    ]
    return table(heads, rows)


def _two_photos(found: dict) -> str:
    if not found["lifts"]:
        return "<p>No lift has two photos among these pictures.</p>"
    rows = []
    for part, title in TITLES.items():
        for figure, told in TOLD_OF_TWO.items():
            one, two = (share_words(found[part][photos][figure]) for photos in ("one", "two"))
            rows.append([f"{title}: {told}", one, two])
        changed = [found[part][key] for key in ("settled_by_the_second", "unsettled_by_the_second")]
        rows.append([f"{title}: the second photo settles, unsettles", "", f"{changed[0]}, {changed[1]} lifts"])
    return (
        f"<p>{found['lifts']} lifts with two photos from sides at least 50 degrees apart where we drew them; the first "
        "photo by itself against both, merged as a user's photos are. Every lift counts once. Elsewhere here its "
        "photos count singly, as if they were independent, so those intervals are a little too narrow.</p>"
        + table(["", "one photo", "two photos"], rows)
    )


def _look_alikes(found: dict, raw: dict) -> str:
    row = found["look_alikes"]
    rows = [
        ["look-alikes taken for a part", share_words(row["taken_for_a_part"])],
        ["pictures without a lift part on which nothing is seen", share_words(row["nothing_seen_where_nothing_is"])],
    ]
    scores = [[told, *_separation(raw["out_of_distribution"][task])] for task, told in TASKS.items()]
    return (
        table(["", ""], rows)
        + "<p>How well parts are told from other things. Joined: with what the finder says, as served.</p>"
        + table(["", "area under ROC", "false positives at 95 % recall"], scores)
    )


def _separation(row: dict) -> tuple[str, str]:
    """Area under ROC and false positives at 95 % recall, with intervals and numbers of cases."""
    inside, outside = row["inside"], row["outside"]
    if not inside or not outside:
        return ("–", share_words(Share(0, 0).as_dict()))
    low, high = area_interval(row["auroc"], inside, outside)
    wrong = Share(round(row["false_positives_at_95_recall"] * outside), outside).as_dict()
    return f"{row['auroc']:.3f} ({low:.3f}–{high:.3f}), n = {inside} and {outside}", share_words(wrong)


def _unlisted(found: dict) -> str:
    rows = []
    for name, row in found["unlisted"].items():
        for decision, count in sorted(row["decisions"].items(), key=lambda item: -item[1]):
            rows.append([f"{name} box", decision, share_words(Share(count, row["n"]).as_dict())])
        wrong = Share(row["confirmed_wrong"], row["n"]).as_dict()
        rows.append([f"{name} box", "confirmed and wrong", share_words(wrong)])
    return table(["true", "decision", "share"], rows) if rows else ""


def _foreign(found: dict) -> str:
    seen = [
        [name, ", ".join(f"{kind} {100 * probability:.0f} %" for kind, probability in subjects)]
        for name, subjects in found["seen"].items()
        if subjects
    ]
    listed = table(["photograph", "wrongly seen"], seen) if seen else "<p>None of them shows a part to the model.</p>"
    return (
        '<article id="foreign"><h2>Foreign photographs</h2><p class="note">Real photographs, scans and instrument '
        "pictures that scikit-image and scikit-learn ship. No lift part is in any of them. They test silence, not "
        "reading: no real photograph of a lift part has been tested.</p>"
        f"<p>Answered with nothing seen: <b>{share_words(found['not_seen'])}</b></p>{listed}</article>"
    )


def _yardstick(chapters: Sequence[dict]) -> str:
    rows = [[f"published: {name}", f"{100 * a:.2f} %", f"{100 * b:.2f} %", ""] for name, a, b in PUBLISHED]
    for chapter in chapters:
        for concept, row in chapter["raw"]["temperature_scaling"].items():
            before, after = (interval_words(row[k]["error"], row[k]["interval"], "%") for k in ("before", "after"))
            rows.append([f"{chapter['name']}: {concept}", before, after, f"{row['temperature']:.2f}, n = {row['n']}"])
    return (
        '<article id="yardstick"><h2>Yardstick: temperature scaling</h2><p class="note">Expected calibration error, '
        "15 bins, before and after dividing the logits by one temperature. Published figures: Guo et al. 2017, Table 1 "
        "(photographs, other tasks, calibration and test pictures alike). Those of this page: with an offset for each "
        "value beside the temperature, both from another style of renders than the pictures they are measured on.</p>"
        + table(["", "before", "after", "temperature"], rows) + "</article>"
    )  # fmt: skip
