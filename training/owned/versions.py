"""What a model learned from own photos, by which step and who promoted it: signed in its metadata, told in one list."""

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import ModelError
from classifier.lineage import DIFFERENCES_FILE, withdrawn_since
from classifier.recipe import METADATA_FILE, Recipe
from training.owned.promote import HISTORY_FILE, PREVIOUS, SHADOW

IN_USE, WAITS = "in use", "waits as shadow"


@dataclass(frozen=True)
class Version:
    """One model of a folder of weights: where it stands, and its recipe or why it cannot be read.

    `withdrawn`: how many of the photos that it learned from were withdrawn since. `tried`: what a server noted of live
    photos, one entry each, of a model that waits.
    """

    place: str
    recipe: Recipe | None
    problem: str = ""
    withdrawn: int = 0
    tried: tuple[dict, ...] = ()

    def as_text(self) -> str:
        """One line for a terminal."""
        if self.recipe is None:
            return f"{self.place:<16}{self.problem}"
        told = self.recipe.provenance
        step = f"{told.step} of {told.fine_tuned_from}" if told.step else "as delivered"
        learned = f"{len(told.learned_from)} own photos" if told.learned_from else "no own photo"
        who = f", promoted by {told.promoted_by} {told.promoted_at}" if told.promoted_by else ""
        gone = f", {self.withdrawn} of them withdrawn since" if self.withdrawn else ""
        return f"{self.place:<16}{self.recipe.version:<36}{step}, learned from {learned}{gone}{who}{self._trial()}"

    def differences(self) -> list[str]:
        """One line for each live photo and part of which it would have answered otherwise."""
        return [
            f"{one['at']} {part}: shown {_said(one['shown'][part])}, tried {_said(one['tried'][part])}"
            for one in self.tried
            for part in one["differs"]
        ]

    def _trial(self) -> str:
        if self.place != WAITS:
            return ""
        apart = Counter(part for one in self.tried for part in one["differs"])
        parts = "".join(f", of the {part} it differs in {n}" for part, n in sorted(apart.items()))
        return f", tried on {len(self.tried)} live photos{parts}"


def signed(recipe: Recipe, before: Recipe, step: str, own: Sequence[str]) -> Recipe:
    """The recipe as of a model that learned from these own photos by this step, beginning with the model before.

    What the model before had learned from stays listed: it is still in the weights.
    """
    digest = hashlib.sha256("\n".join(sorted(own)).encode()).hexdigest()
    learned = tuple(dict.fromkeys([*before.provenance.learned_from, *own]))
    provenance = recipe.provenance.with_(
        step=step, learned_from=learned, fine_tuned_from=before.version, promoted_by=None, promoted_at=None
    )
    return recipe.with_(
        version=f"{before.version.partition('+')[0]}+{step}.{digest[:8]}",
        trained_on=before.trained_on.with_(owned_photos=len(learned)),
        provenance=provenance,
    )


def versions(served: Path) -> list[Version]:
    """The models of a folder of weights: the one that waits, the one in use, and those before, latest first."""
    places = [(WAITS, served / SHADOW / METADATA_FILE), (IN_USE, served / METADATA_FILE)]
    before = sorted((served / PREVIOUS).glob("*.json"), reverse=True)
    places += [(f"{n} before", path) for n, path in enumerate(before, 1)]
    return [_version(place, path, served) for place, path in places if path.is_file() or place == IN_USE]


def history(served: Path) -> list[str]:
    """Every promotion and return in this folder, the latest first, and who decided it."""
    lines = [f"{one['at']} {one['did']} {one['version']}, by {one['by'] or 'nobody named'}"
             for one in _lines(served / HISTORY_FILE)]  # fmt: skip
    return lines[::-1]


def _version(place: str, path: Path, served: Path) -> Version:
    try:
        recipe = Recipe.parse(path.read_bytes(), path)
        withdrawn = len(withdrawn_since(recipe.provenance.learned_from, served))
        lines = _lines(path.with_name(DIFFERENCES_FILE)) if place == WAITS else ()
        tried = tuple(one for one in lines if one["shadow"] == recipe.version)
        return Version(place, recipe, withdrawn=withdrawn, tried=tried)
    except (ModelError, OSError) as problem:
        return Version(place, None, str(problem))


def _lines(path: Path) -> list[dict]:
    """The JSON lines of a file, none where there is none; one that was cut off says nothing."""
    found = []
    for line in path.read_text("utf-8").splitlines() if path.is_file() else ():
        with suppress(ValueError):
            found.append(json.loads(line))
    return found


def _said(part: dict) -> str:
    return f"{part['decision']} {part['value'] or ''}".strip()
