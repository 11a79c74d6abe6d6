"""The two networks with their recipe: loaded only when every hash and every name is what the metadata says."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from classifier.errors import WeightsAltered, WeightsMalformed, WeightsMissing
from classifier.finder import Finder
from classifier.ours import NEED_FEATURES, SCORES, FeatureSpace, Ours
from classifier.reader import FEATURES, Reader
from classifier.taxonomy import CONCEPTS, LEFT_OPEN, NOT_VISIBLE, SUBJECTS

METADATA_FILE = "model.json"
FILED = ("finder", "reader", "ours")
"""Parts of the metadata that name a file of their own: both networks and the feature space."""

SCHEMA_VERSION = "5"


@dataclass(frozen=True)
class ModelInfo:
    """Which model gave an answer. `sha256` is that of its metadata, which in turn holds the hashes of its other files.

    `coverage` is the share of cases in which a prediction set holds the true value.
    """

    version: str
    sha256: str
    trained_on: dict[str, int]
    coverage: float


@dataclass(frozen=True)
class ReadingFacts:
    """What has to be known of a reader to weigh its readings.

    `priors[concept][value]` is P(value), in view or not, as calibration counted it; `hidden` is P(not visible | value)
    in its pictures; `doubt` the share of every reading that is taken to say nothing; `correlation` how alike the errors
    on two photos of one lift are taken to be (0: independent, 1: a second photo adds nothing).
    """

    priors: Mapping[str, Mapping[str, float]]
    hidden: Mapping[str, Mapping[str, float]]
    doubt: float
    correlation: float


@dataclass(frozen=True)
class Model:
    """Finder and reader, ready to run, what tells ours from others, and the metadata that they were exported with."""

    finder: Finder
    reader: Reader
    ours: Ours
    metadata: Mapping[str, Any]
    info: ModelInfo

    @property
    def facts(self) -> ReadingFacts:
        """What guidance has to know of the reader."""
        recipe = self.reader.recipe
        return ReadingFacts(recipe["concept_priors"], recipe["hidden_shares"], recipe["doubt"], recipe["correlation"])

    @classmethod
    def load(cls, directory: Path, threads: int = 1) -> "Model":
        """Load a model from its directory. Raises a `ModelError` that names the file which is missing or altered.

        `threads` is the number of processor threads that one photo may use.
        """
        raw = _read(directory / METADATA_FILE)
        try:
            metadata = json.loads(raw)
        except ValueError as error:
            raise WeightsMalformed(f"{directory / METADATA_FILE} is no JSON ({error}). {REINSTALL}") from error
        _check(metadata, directory / METADATA_FILE)
        files = {part: _verified(directory, metadata[part]) for part in FILED}
        sha256 = hashlib.sha256(raw).hexdigest()
        info = ModelInfo(metadata["version"], sha256, metadata["trained_on"], metadata["reader"]["coverage"])
        finder = Finder(_session(files["finder"], ["heat", "ltrb"], threads), metadata["finder"])
        reader = Reader(_session(files["reader"], ["kind", *CONCEPTS, FEATURES], threads), metadata["reader"])
        space = _space(files["ours"], metadata["ours"], directory)
        ours = Ours(metadata["ours"], metadata["reader"]["temperatures"]["kind"], space)
        return cls(finder, reader, ours, metadata, info)


REINSTALL = "Install the project again, or train and export a model into that directory."


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise WeightsMissing(f"{path} cannot be read ({error.strerror}). {REINSTALL}") from error


def _check(metadata: Any, path: Path) -> None:
    """Refuse metadata of another form or vocabulary than ours, or that lacks a part of the recipe."""
    form = metadata.get("schema_version") if isinstance(metadata, dict) else None
    if form != SCHEMA_VERSION:
        raise WeightsMalformed(
            f"{path}: schema_version is {form}, {SCHEMA_VERSION} is wanted: another version of this project wrote it. "
            f"{REINSTALL}"
        )
    wanted = {concept: [*values, NOT_VISIBLE] for concept, values in CONCEPTS.items()}
    try:
        finder, reader, ours = (metadata[part] for part in FILED)
        facts = [
            ("finder.kinds", finder["kinds"], list(SUBJECTS)),
            ("reader.kinds", reader["kinds"], [*SUBJECTS, "other"]),
            ("reader.concepts", reader["concepts"], wanted),
            ("finder.thresholds", set(finder["thresholds"]), set(SUBJECTS)),
            ("reader.temperatures", set(reader["temperatures"]), {"kind", *CONCEPTS}),
            ("reader.offsets", {c: set(o) for c, o in reader["offsets"].items()},
             {c: set(v) for c, v in wanted.items()}),
            ("reader.apart", set(reader["apart"]), set(LEFT_OPEN)),
            ("reader.set_thresholds", {c: set(t) for c, t in reader["set_thresholds"].items()},
             {c: set(v) for c, v in wanted.items()}),
            ("reader.concept_priors", {c: set(p) for c, p in reader["concept_priors"].items()},
             {c: set(v) for c, v in CONCEPTS.items()}),
            ("reader.hidden_shares", {c: set(p) for c, p in reader["hidden_shares"].items()},
             {c: set(v) for c, v in CONCEPTS.items()}),
            ("reader.looks", [sorted(look) for look in reader["looks"]],
             [["margin", "mirrored"]] * max(1, len(reader["looks"]))),
            ("ours.weights", {name: len(weights) for name, weights in ours["weights"].items()},
             {name: 3 for name in SCORES if name in ours["weights"]}),
            ("ours.thresholds", set(ours["thresholds"]), set(SUBJECTS)),
        ]  # fmt: skip
        for key in ("file", "sha256", "input_px", "mean", "std"):
            finder[key], reader[key]
        (
            finder["stride"],
            finder["temperature"],
            reader["coverage"],
            reader["doubt"],
            reader["correlation"],
            ours["weights"][ours["score"]],
            metadata["version"],
            metadata["trained_on"],
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise WeightsMalformed(f"{path} lacks {error}. {REINSTALL}") from error
    for name, came, want in facts:
        if came != want:
            raise WeightsMalformed(f"{path}: {name} is {came}, {want} is wanted. {REINSTALL}")


def _verified(directory: Path, part: Mapping[str, Any]) -> bytes:
    path = directory / part["file"]
    network = _read(path)
    came = hashlib.sha256(network).hexdigest()
    if came != part["sha256"]:
        raise WeightsAltered(f"{path} has SHA-256 {came}, {METADATA_FILE} says {part['sha256']}. {REINSTALL}")
    return network


def _space(data: bytes, recipe: Mapping[str, Any], directory: Path) -> FeatureSpace:
    try:
        space = FeatureSpace.from_bytes(data)
    except ValueError as error:
        raise WeightsMalformed(f"{directory / recipe['file']} holds no feature space ({error}). {REINSTALL}") from error
    if not space.fitted and recipe["score"] in NEED_FEATURES:
        raise WeightsMalformed(f"{directory / recipe['file']} was never fitted, but ours.score needs it. {REINSTALL}")
    return space


def _session(network: bytes, outputs: list[str], threads: int) -> Any:
    import onnxruntime  # the heaviest import of the serving part: only a model that is loaded pays for it

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    try:
        session = onnxruntime.InferenceSession(network, options, providers=["CPUExecutionProvider"])
    except Exception as error:  # onnxruntime's own exception classes are private
        raise WeightsMalformed(f"a network could not be loaded ({error}). {REINSTALL}") from error
    missing = set(outputs) - {output.name for output in session.get_outputs()}
    if missing:
        raise WeightsMalformed(f"a network lacks the outputs {sorted(missing)}. {REINSTALL}")
    return session
