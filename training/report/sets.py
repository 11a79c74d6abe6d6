"""Which pictures a report measures, and what it may say of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from classifier.model import Model
from guidance.catalogue.catalogue import Catalogue
from training.data.manifest import DatasetError, Record, read_manifests
from training.owned.labels import read_labels
from training.owned.photos import add_photos
from training.owned.proposals import proposals_of

LEARNED = ("train", "calibration")
NAMES = {
    "heldout": (
        "Renders of held-out styles",
        "Drawn by the renderer that also drew the training pictures, with shapes, surroundings and cameras that "
        "training never saw. Not photographs.",
    ),
    "standin": (
        "Stand-ins from another renderer",
        "Drawn by another renderer, with other geometry, materials, rooms and another camera pipeline. Not "
        "photographs: they show whether anything holds beyond the first renderer.",
    ),
}


@dataclass(frozen=True)
class PictureSet:
    """One set of pictures that is measured by itself. `told` says in a sentence what they are and are not."""

    name: str
    told: str
    records: Sequence[Record]


def sets_of(folders: Sequence[Path]) -> list[PictureSet]:
    """One set a style. Pictures that the model learned from or was calibrated on are refused."""
    by_style: dict[str, list[Record]] = {}
    for record in read_manifests(folders) if folders else ():
        by_style.setdefault(record.style, []).append(record)
    if learned := [style for style in by_style if style in LEARNED]:
        raise DatasetError(
            f"{', '.join(map(str, folders))}: pictures of style {', '.join(learned)} were learned from, so figures "
            "on them say nothing; name folders of style heldout"
        )
    return [PictureSet(*NAMES.get(style, (f"Style {style}", "")), records) for style, records in by_style.items()]


def own_set(folder: Path, labels: Path | None, catalogue: Catalogue, weights: Path, passing: Path) -> PictureSet:
    """Anybody's own photos; copies without metadata lie in `passing` only as long as the caller keeps that folder."""
    photos, _ = read_labels(folder, labels, catalogue, "measured only, not kept", "not kept")
    added = add_photos(photos, passing / "photos", proposals_of(Model.load(weights)), only_split="heldout")
    told = f"{len(added.stored)} photos of your own, {len(added.refused)} left out (unreadable, or there twice). This "
    told += "page holds small copies of those with the worst mistakes: mind to whom you give it."
    return PictureSet("Your photos", " ".join([told, *added.remarks]), read_manifests([passing / "photos"]))
