"""The owner's photos as the networks see them, checked before anything runs."""

from dataclasses import dataclass
from pathlib import Path

from training.data.manifest import DatasetError, Record, read_manifests
from training.measure.collect import RawPhoto, collect_proposed
from training.owned.photos import photo_id, read_entries

FEWEST = {"recalibrate": 30, "heads": 100}
"""Photos from which a step is worth its while; with fewer it says so and does not start."""


@dataclass(frozen=True)
class Own:
    """Own photos with their truths and what the networks say; `ids` name them in a model's metadata."""

    ids: tuple[str, ...]
    records: tuple[Record, ...]
    raw: tuple[RawPhoto, ...]

    def of(self, styles: tuple[str, ...]) -> "Own":
        """The photos of some splits."""
        chosen = [n for n, record in enumerate(self.records) if record.style in styles]
        return Own(*(tuple(each[n] for n in chosen) for each in (self.ids, self.records, self.raw)))


def check_store(store: Path, step: str) -> list[dict]:
    """The entries of a store. Raises `DatasetError` for too few photos, lacking splits or pictures that are gone."""
    entries = check_pictures(store)
    if len(entries) < FEWEST[step]:
        raise DatasetError(
            f"{store}: {len(entries)} photos; {step} wants {FEWEST[step]} at least. Add more: add-photos"
        )
    styles = {entry["style"] for entry in entries}
    if lacking := {"train", "heldout"} - styles:
        raise DatasetError(
            f"{store}: no photo for {', '.join(sorted(lacking))}; photos of one lift never lie in two splits, "
            "so add photos of more lifts with add-photos"
        )
    return entries


def check_pictures(store: Path) -> list[dict]:
    """The entries of a store. Raises `DatasetError` where a picture is gone."""
    entries = read_entries(store)
    if gone := [entry["file"] for entry in entries if not (store / entry["file"]).is_file()]:
        raise DatasetError(
            f"{store}: {len(gone)} of {len(entries)} pictures are gone, the first {gone[0]}; add the same folder "
            "again with add-photos, bring them back from a backup, or take their lines out with forget --lost"
        )
    return entries


def read_own(store: Path, weights: Path, workers: int) -> Own:
    """Every photo of a store run through the served networks; a fifth of a second each."""
    entries = read_entries(store)
    records = read_manifests([store])
    return Own(
        tuple(photo_id(entry) for entry in entries), tuple(records), tuple(collect_proposed(weights, records, workers))
    )


def boxed_by_owner(store: Path) -> set[Path]:
    """The photos all of whose boxes a person drew (none counts as all): only they judge the finder."""
    return {
        store / entry["file"]
        for entry in read_entries(store)
        if all(subject["box_from"] == "owner" for subject in entry["subjects"])
    }
