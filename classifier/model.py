"""The two networks with their recipe: loaded only when every hash and every name is what the metadata says."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from classifier.errors import WeightsAltered, WeightsMalformed, WeightsMissing
from classifier.finder import Finder
from classifier.reader import Reader
from classifier.taxonomy import CONCEPTS, NOT_VISIBLE, SUBJECTS

METADATA_FILE = "model.json"
SCHEMA_VERSION = "1"


@dataclass(frozen=True)
class ModelInfo:
    """Which model gave an answer. `sha256` is that of its metadata, which in turn holds the hashes of both networks.

    `coverage` is the share of cases in which a prediction set holds the true value.
    """

    version: str
    sha256: str
    trained_on: dict[str, int]
    coverage: float


@dataclass(frozen=True)
class Model:
    """Finder and reader, ready to run, with the metadata that they were exported with."""

    finder: Finder
    reader: Reader
    metadata: Mapping[str, Any]
    info: ModelInfo

    @property
    def concept_priors(self) -> dict[str, dict[str, float]]:
        """P(value | visible) of each concept among the pictures that the reader learned from."""
        return self.metadata["reader"]["concept_priors"]

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
        networks = {part: _verified(directory, metadata[part]) for part in ("finder", "reader")}
        sha256 = hashlib.sha256(raw).hexdigest()
        info = ModelInfo(metadata["version"], sha256, metadata["trained_on"], metadata["reader"]["coverage"])
        finder = Finder(_session(networks["finder"], ["heat", "ltrb"], threads), metadata["finder"])
        reader = Reader(_session(networks["reader"], ["kind", *CONCEPTS], threads), metadata["reader"])
        return cls(finder, reader, metadata, info)


REINSTALL = "Install the project again, or train and export a model into that directory."


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise WeightsMissing(f"{path} cannot be read ({error.strerror}). {REINSTALL}") from error


def _check(metadata: Any, path: Path) -> None:
    """Refuse metadata that speaks another vocabulary than the taxonomy, or that lacks a part of the recipe."""
    wanted = {concept: [*values, NOT_VISIBLE] for concept, values in CONCEPTS.items()}
    try:
        finder, reader = metadata["finder"], metadata["reader"]
        facts = [
            ("schema_version", metadata["schema_version"], SCHEMA_VERSION),
            ("finder.kinds", finder["kinds"], list(SUBJECTS)),
            ("reader.kinds", reader["kinds"], [*SUBJECTS, "other"]),
            ("reader.concepts", reader["concepts"], wanted),
            ("finder.thresholds", set(finder["thresholds"]), set(SUBJECTS)),
            ("reader.temperatures", set(reader["temperatures"]), {"kind", *CONCEPTS}),
            ("reader.set_thresholds", {c: set(t) for c, t in reader["set_thresholds"].items()},
             {c: set(v) for c, v in wanted.items()}),
            ("reader.concept_priors", {c: set(p) for c, p in reader["concept_priors"].items()},
             {c: set(v) for c, v in CONCEPTS.items()}),
        ]  # fmt: skip
        for key in ("file", "sha256", "input_px", "mean", "std"):
            finder[key], reader[key]
        (
            finder["stride"],
            finder["temperature"],
            reader["margin"],
            reader["coverage"],
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
