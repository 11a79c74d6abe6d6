"""Metadata of schema version 5, which the shipped weights still have, brought up to date.

It may go when weights of version 6 ship. What version 5 did not hold stays unknown: see `Provenance.unknown`.
"""

from typing import Any, Final

SCHEMA_BEFORE: Final = "5"
SERVED: Final = "relative_distance"
"""The one out-of-distribution score that is still served; metadata that names another has to be calibrated again."""


def brought_up_to_date(told: dict[str, Any]) -> dict[str, Any]:
    """The same metadata in the form of today. Raises KeyError for a part that is missing."""
    return {
        "version": told["version"],
        "finder": told["finder"],
        "reader": _reader(told["reader"]),
        "in_distribution": _in_distribution(told["ours"]),
        "trained_on": told["trained_on"],
        "provenance": _provenance(told["provenance"]),
        "metrics": told["metrics"],
    }


def _reader(told: dict[str, Any]) -> dict[str, Any]:
    kept = ("file", "sha256", "input_px", "mean", "std", "kinds", "coverage", "doubt", "correlation")
    concepts = {
        concept: {
            "values": values,
            "temperature": told["temperatures"][concept],
            "offsets": told["offsets"][concept],
            "pairwise": told["apart"].get(concept, 0.0),
            "set_thresholds": told["set_thresholds"][concept],
            "priors": told["concept_priors"][concept],
            "hidden_shares": told["hidden_shares"][concept],
        }
        for concept, values in told["concepts"].items()
    }
    return {name: told[name] for name in kept} | {
        "views": told["looks"],
        "kind_temperature": told["temperatures"]["kind"],
        "concepts": concepts,
    }


def _in_distribution(told: dict[str, Any]) -> dict[str, Any]:
    if told["score"] != SERVED:
        raise KeyError(f"{SERVED}: {told['score']} told what is out of distribution; calibrate again")
    return {name: told[name] for name in ("file", "sha256", "thresholds")} | {"weights": told["weights"][SERVED]}


def _provenance(told: dict[str, Any]) -> dict[str, Any]:
    kept = ("seed", "git_revision", "backbone", "created", "parity_max_abs", "went_on_from", "fine_tuned_from")
    known = told["manifest_sha256"] != "not kept"
    pictures = {"training": {"manifest_sha256": told["manifest_sha256"]}} if known else {}
    return {name: told[name] for name in kept if name in told} | {"pictures": pictures}
