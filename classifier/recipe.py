"""The metadata of the weights, `model.json`: one typed schema that is read, filled, checked and written here."""

import hashlib
import json
import os
from pathlib import Path
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from classifier.errors import WeightsMalformed, WeightsMissing
from classifier.taxonomy import CONCEPTS, LEFT_OPEN, NOT_VISIBLE, SUBJECTS

METADATA_FILE: Final = "model.json"
SCHEMA_VERSION: Final = "6"
OTHER: Final = "other"
"""The reader's kind for whatever is out of distribution."""

KINDS: Final = (*SUBJECTS, OTHER)
CLASSES: Final = {concept: (*values, NOT_VISIBLE) for concept, values in CONCEPTS.items()}
"""The classes of the reader's heads, in order."""

REINSTALL: Final = "Install the project again, or train and export a model into that directory."
FILED: Final = ("finder", "reader", "in_distribution")
"""Sections of the recipe that name a file of their own: both networks and the feature space."""


class Section(BaseModel):
    """A section of the recipe: unknown fields are refused, and a filled-in copy is made by `with_`."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    def with_(self, **changes: Any) -> "Section":
        """The same section with these fields changed, checked again. Raises pydantic's `ValidationError`."""
        return type(self).model_validate({name: getattr(self, name) for name in type(self).model_fields} | changes)


class Input(Section):
    """A file with its hash, and what a network is shown: squares of `input_px`, normed as (value - mean) / std."""

    file: str
    sha256: str
    input_px: int = Field(gt=0)
    mean: float
    std: float = Field(gt=0)


class FinderRecipe(Input):
    """Input pixels to a cell, the kinds in order, and what makes its heat a proposal."""

    stride: int = Field(gt=0)
    kinds: tuple[str, ...]
    temperature: float = Field(gt=0)
    thresholds: dict[str, float]

    @model_validator(mode="after")
    def _knows_our_words(self) -> "FinderRecipe":
        _same("kinds", self.kinds, SUBJECTS)
        _same("thresholds", set(self.thresholds), set(SUBJECTS))
        return self


class View(Section):
    """One window of test-time augmentation: the share of the box's longer side beyond it, mirrored or not.

    `to_read`: looked at only where the first view leaves something to be read.
    """

    margin: float
    mirrored: bool
    to_read: bool = False


class Scaling(Section):
    """What turns a concept's logits into probabilities; `pairwise` widens the margin of two values left open."""

    temperature: float = Field(default=1.0, gt=0)
    offsets: dict[str, float]
    pairwise: float = 0.0


class ConceptRecipe(Scaling):
    """All that calibration knows of one concept.

    `priors` are P(value), in view or not; `hidden_shares` P(not visible | value); `set_thresholds` the largest 1 - p at
    which a value stays in the prediction set.
    """

    values: tuple[str, ...]
    set_thresholds: dict[str, float]
    priors: dict[str, float]
    hidden_shares: dict[str, float]

    @classmethod
    def uncalibrated(cls, concept: str) -> "ConceptRecipe":
        """As an export begins: probabilities as they come, every value in every set."""
        values, seen = CLASSES[concept], CONCEPTS[concept]
        return cls(
            values=values,
            offsets=dict.fromkeys(values, 0.0),
            set_thresholds=dict.fromkeys(values, 1.0),
            priors=dict.fromkeys(seen, 1 / len(seen)),
            hidden_shares=dict.fromkeys(seen, 0.5),
        )

    def knows(self, concept: str) -> None:
        """Raise ValueError where its words are not those of the taxonomy."""
        _same(f"concepts.{concept}.values", self.values, CLASSES[concept])
        for name, wanted in (("offsets", CLASSES), ("set_thresholds", CLASSES), ("priors", CONCEPTS),
                             ("hidden_shares", CONCEPTS)):  # fmt: skip
            _same(f"concepts.{concept}.{name}", set(getattr(self, name)), set(wanted[concept]))
        if self.pairwise and concept not in LEFT_OPEN:
            raise ValueError(f"concepts.{concept}.pairwise is {self.pairwise}, but no two of its values are left open")


class ReaderRecipe(Input):
    """The windows it is shown, its heads, and how much of a reading is believed.

    `kind_temperature` scales the kinds' logits; `coverage` is that of the prediction sets; `doubt` the share of every
    reading that is taken to say nothing; `correlation` how alike the errors on two photos of one lift are taken to be.
    """

    views: tuple[View, ...] = Field(min_length=1)
    kinds: tuple[str, ...]
    kind_temperature: float = Field(default=1.0, gt=0)
    concepts: dict[str, ConceptRecipe]
    coverage: float
    doubt: float
    correlation: float

    @model_validator(mode="after")
    def _begins_with_any(self) -> "ReaderRecipe":
        if self.views[0].to_read:
            raise ValueError("the first of views is to_read, but it is what tells whether there is anything to be read")
        return self

    @model_validator(mode="after")
    def _knows_our_words(self) -> "ReaderRecipe":
        _same("kinds", self.kinds, KINDS)
        _same("concepts", set(self.concepts), set(CONCEPTS))
        for concept, recipe in self.concepts.items():
            recipe.knows(concept)
        return self


class DistributionRecipe(Section):
    """The feature space, and the joint in-distribution probability of both networks.

    `weights` are offset, that of the finder's log odds and that of the relative distance; `thresholds` the probability
    from which on a kind is answered.
    """

    file: str
    sha256: str
    weights: tuple[float, float, float]
    thresholds: dict[str, float]

    @model_validator(mode="after")
    def _knows_our_words(self) -> "DistributionRecipe":
        _same("thresholds", set(self.thresholds), set(SUBJECTS))
        return self


class Constituent(Section):
    """A checkpoint that was averaged into a network, by the hash of its file, and its share."""

    checkpoint: str
    sha256: str
    share: float


class Pictures(Section):
    """Pictures by the hash over their manifests."""

    manifest_sha256: str
    pictures: int | None = None


class Provenance(Section):
    """Where the weights come from. None says that nobody wrote it down.

    `learned_from` are the owner's photos, by the names that their store gives them; `step` what was last learned by.
    """

    seed: int
    git_revision: str
    backbone: str
    created: str
    parity_max_abs: dict[str, float]
    constituents: dict[str, tuple[Constituent, ...]] | None = None
    went_on_from: dict[str, str | None] | None = None
    pictures: dict[Literal["training", "calibration", "evaluation"], Pictures] = {}
    commands: dict[Literal["train", "export", "calibrate", "evaluate"], str] | None = None
    fine_tuned_from: str | None = None
    step: Literal["recalibrate", "heads", "finetune"] | None = None
    learned_from: tuple[str, ...] = ()
    promoted_by: str | None = None
    promoted_at: str | None = None

    @property
    def unknown(self) -> tuple[str, ...]:
        """What is not known of these weights, by name."""
        told: dict[str, object] = {"constituents": self.constituents, "command lines": self.commands}
        told |= {f"{which} pictures": self.pictures.get(which) for which in ("training", "calibration", "evaluation")}
        return tuple(name for name, value in told.items() if value is None)


class TrainedOn(Section):
    """How many pictures the weights learned from."""

    synthetic: int
    owned_photos: int


class Recipe(Section):
    """Everything that serving needs beside the networks, where they come from, and what was measured."""

    schema_version: Literal["6"] = SCHEMA_VERSION
    version: str
    finder: FinderRecipe
    reader: ReaderRecipe
    in_distribution: DistributionRecipe
    trained_on: TrainedOn
    provenance: Provenance
    metrics: dict[str, Any] = {}

    @classmethod
    def read(cls, directory: Path) -> tuple["Recipe", str]:
        """The recipe in a directory and the SHA-256 of its file. Raises a `ModelError` that says what is wrong."""
        path = directory / METADATA_FILE
        raw = read_whole(path)
        return cls.parse(raw, path), hashlib.sha256(raw).hexdigest()

    @classmethod
    def parse(cls, raw: bytes, path: Path) -> "Recipe":
        """The recipe of a file's bytes; metadata of another version are refused."""
        try:
            told = json.loads(raw)
        except ValueError as error:
            raise WeightsMalformed(f"{path} is no JSON ({error}). {REINSTALL}") from error
        form = told.get("schema_version") if isinstance(told, dict) else None
        if form != SCHEMA_VERSION:
            raise WeightsMalformed(
                f"{path}: schema_version is {form}, {SCHEMA_VERSION} is wanted: another version of this project wrote "
                f"it. {REINSTALL}"
            )
        try:
            return cls.model_validate(told)
        except ValidationError as problem:
            first = problem.errors()[0]
            place = ".".join(str(step) for step in first["loc"])
            raise WeightsMalformed(f"{path}: {place}: {first['msg']}. {REINSTALL}") from None

    def write(self, directory: Path) -> None:
        """model.json, written whole or not at all."""
        write_whole(directory / METADATA_FILE, (self.model_dump_json(indent=1) + "\n").encode())

    def files(self) -> dict[str, tuple[str, str]]:
        """For each of `FILED` the name of its file and its SHA-256."""
        return {part: (getattr(self, part).file, getattr(self, part).sha256) for part in FILED}


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole and to the disk, or not at all: what was there before stays until then. Raises `OSError`."""
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("wb") as written:
            written.write(data)
            written.flush()
            os.fsync(written.fileno())
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def read_whole(path: Path) -> bytes:
    """A file of the model. Raises `WeightsMissing` where it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise WeightsMissing(f"{path} cannot be read ({error.strerror}). {REINSTALL}") from error


def _same(name: str, came: object, wanted: object) -> None:
    if came != wanted:
        raise ValueError(f"{name} is {came}, {wanted} is wanted")
