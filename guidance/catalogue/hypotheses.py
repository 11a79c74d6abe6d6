"""Every box and actuator that a lift could have, with how probable each is before anything is seen.

A hypothesis is one value for every feature of the control box: the concepts of the taxonomy and the catalogue's traits.
Those of a listed generation share its part of the fleet; all the others are `unlisted`, share `pool.unlisted_share` and
are equally probable. Mechanisms are paired with a generation by its `lowering_shares`, or by the fleet's.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.catalogue.rows import Generation
from guidance.catalogue.sections import Sections


@dataclass(frozen=True)
class Hypotheses:
    """H hypotheses of the box by M mechanisms.

    `features`: every feature with its values, `generation` and `lowering` among them. `group`: (H,) index into
    `groups`: the generations and `unlisted`. `value_index[feature]`: (H,) index of each one's value. `prior` (H, M)
    sums to 1.
    """

    features: dict[str, tuple[str, ...]]
    groups: tuple[str, ...]
    group: np.ndarray
    value_index: dict[str, np.ndarray]
    prior: np.ndarray

    def marginals(self, weights: np.ndarray) -> tuple[dict[str, float], dict[str, float]]:
        """Sum (H, M) weights into probabilities of the generations and of the mechanisms."""
        generation = np.bincount(self.group, weights=weights.sum(axis=1), minlength=len(self.groups))
        return (
            dict(zip(self.groups, generation.tolist(), strict=True)),
            dict(zip(self.features["lowering"], weights.sum(axis=0).tolist(), strict=True)),
        )


def hypotheses_of(catalogue: Sections) -> Hypotheses:
    """Enumerate the hypotheses of a catalogue with their prior."""
    box_features = {**CONTROL_BOX_CONCEPTS, **catalogue.trait_values}
    groups = (*catalogue.generations_by_id, UNLISTED)
    rows = [(g, c, w) for g, row in enumerate(catalogue.generations) for c, w in _listed(row, catalogue)]
    listed = {tuple(getattr(g, c) for c in CONTROL_BOX_CONCEPTS) for g in catalogue.generations}
    others = [c for c in product(*box_features.values()) if c[: len(CONTROL_BOX_CONCEPTS)] not in listed]
    rows += [(len(groups) - 1, c, catalogue.pool.unlisted_share / len(others)) for c in others]
    group = np.array([g for g, _, _ in rows])
    shares = np.array([_mechanism_shares(groups[g], catalogue) for g in group])  # (H, M)
    prior = np.array([w for _, _, w in rows])[:, np.newaxis] * shares
    index = {
        feature: np.array([values.index(c[i]) for _, c, _ in rows])
        for i, (feature, values) in enumerate(box_features.items())
    }
    index["generation"] = group
    features = {**box_features, "generation": groups, "lowering": CONCEPTS["lowering"]}
    return Hypotheses(features, groups, group, index, prior / prior.sum())


def _listed(row: Generation, catalogue: Sections) -> list[tuple[tuple[str, ...], float]]:
    """Give the combinations of one generation; a trait that its row leaves out may have any of its values."""
    concepts = [(getattr(row, c),) for c in CONTROL_BOX_CONCEPTS]
    traits = [(row.traits[t],) if t in row.traits else values for t, values in catalogue.trait_values.items()]
    combinations = list(product(*concepts, *traits))
    share = (1.0 - catalogue.pool.unlisted_share) * row.fleet_share
    return [(c, share / len(combinations)) for c in combinations]


def _mechanism_shares(group: str, catalogue: Sections) -> list[float]:
    own = catalogue.generations_by_id[group].lowering_shares if group != UNLISTED else None
    fleet = {m.id: m.fleet_share for m in catalogue.mechanisms}
    shares = own if own is not None else fleet
    return [shares.get(v, 0.0) for v in CONCEPTS["lowering"]]
