"""How often each fault is expected as the label of a closed case, whatever rates are tried.

A label names one of the faults that the lift has, each alike. So P(label i | setting s, generation g, complaint y) is
the sum over combinations of faults that hold i of P(combination | s, g, y) / number of its faults. The circumstances
that a closed case does not keep (age of the battery and the like) are averaged by the catalogue's shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_network import GENERATION
from guidance.network.network import Scaled

HIGHEST = 0.9
"""Rates that would make a fault more probable than this in some circumstance are cut there."""


@dataclass(frozen=True)
class Rates:
    """`shares` (S, F): of 1 in each setting; `times` (G, F): what each listed generation multiplies them by."""

    shares: np.ndarray
    times: np.ndarray


@dataclass(frozen=True, eq=False)
class ExpectedLabels:
    """The catalogue's model as learning needs it.

    S settings, G listed generations, Y complaints, F faults, H combinations with a fault, C contexts. After the listed
    generations come the unlisted box and "not known", after the complaints "not known".
    """

    catalogue: Catalogue

    @cached_property
    def settings(self) -> tuple[str, ...]:
        return tuple(self.catalogue.contexts_by_id[self.catalogue.fault_model.setting].options)

    @cached_property
    def listed(self) -> tuple[str, ...]:
        return tuple(self.catalogue.generations_by_id)

    @cached_property
    def generations(self) -> tuple[str, ...]:
        return (*self.listed, UNLISTED, "")

    @cached_property
    def complaints(self) -> tuple[str, ...]:
        return (*self.catalogue.symptoms_by_id, "")

    @cached_property
    def faults(self) -> tuple[str, ...]:
        return tuple(node.id for node in self.catalogue.fault_space.cause_nodes)

    @cached_property
    def printed(self) -> Rates:
        """The catalogue's own rates."""
        rows = [self.catalogue.faults_by_id[fault] for fault in self.faults]
        calls = np.array([[row.calls_per_1000.get(setting, 0.0) for row in rows] for setting in self.settings])
        times = [[row.by_generation.get(g, 1.0) for row in rows] for g in self.listed]
        return Rates(calls / calls.sum(axis=1, keepdims=True), np.array(times))

    @cached_property
    def can(self) -> np.ndarray:
        """Which listed generation can have which fault, (G, F) flags."""
        rows = [self.catalogue.faults_by_id[fault] for fault in self.faults]
        fits = [[not row.generations or g in row.generations for row in rows] for g in self.listed]
        return np.array(fits) & (self.printed.times > 0)

    def masses(self, rates: Rates) -> tuple[np.ndarray, np.ndarray]:
        """Joint masses of (setting, generation, complaint), (S, G + 2, Y + 1), and with each label, (…, F)."""
        present = self._present(rates)  # (C, F)
        odds = np.vstack([(present / (1.0 - present)).T, np.ones(len(present))])  # (F + 1, C)
        nothing = np.prod(1.0 - present, axis=1) * self._context_shares
        faulty = np.stack([self._combined(odds[:, own]) @ nothing[own] for own in self._places])
        faulty = faulty.reshape(len(self.settings), len(self._complained), 1, -1) * self._complained
        labelled = faulty @ self._label_shares  # (S, G + 1, Y + 1, F)
        mass = faulty.sum(axis=-1)
        mass = np.concatenate([mass, mass.sum(axis=1, keepdims=True)], axis=1)
        return mass, np.concatenate([labelled, labelled.sum(axis=1, keepdims=True)], axis=1)

    def _combined(self, odds: np.ndarray) -> np.ndarray:
        """The odds of each combination, (H, contexts), from those of each fault (F + 1, contexts)."""
        first, *others = self._members.T
        joint = odds[first]
        for member in others:
            joint *= odds[member]
        return joint

    def shares_of_labels(self, rates: Rates) -> np.ndarray:
        """P(label | setting, generation, complaint), (S, G + 2, Y + 1, F)."""
        mass, labelled = self.masses(rates)
        return labelled / np.maximum(mass, 1e-300)[..., None]

    def bounded(self, rates: Rates) -> Rates:
        """The rates with `times` cut where they would make a fault certain."""
        other = [self._effects[:, f].max() for f in range(len(self.faults))]
        most = HIGHEST / np.maximum(rates.shares.max(axis=0) * np.array(other), 1e-300)
        return Rates(rates.shares, np.minimum(rates.times, most))

    def _present(self, rates: Rates) -> np.ndarray:
        """P(fault | context), (C, F): share times what the generation and the other circumstances multiply."""
        space = self.catalogue.fault_space
        fleet = np.array([row.fleet_share for row in self.catalogue.generations])
        times = rates.times * self.can
        times = np.vstack([times, fleet @ times / fleet.sum()])  # (G + 1, F): last the unlisted box
        setting = space.contexts[:, self._position(self.catalogue.fault_model.setting)]
        generation = space.contexts[:, self._position(GENERATION)]
        return rates.shares[setting] * times[generation] * self._effects

    def _position(self, context: str) -> int:
        return [node.id for node in self.catalogue.fault_space.context_nodes].index(context)

    @cached_property
    def _effects(self) -> np.ndarray:
        """What everything but the setting and the generation multiplies by, (C, F)."""
        space = self.catalogue.fault_space
        apart = (self.catalogue.fault_model.setting, GENERATION)
        columns = []
        for node in space.cause_nodes:
            if not isinstance(node.distribution, Scaled):
                raise TypeError(f"{node.id}: a fault's rate is learned where circumstances multiply it, and not else")
            column = np.full(len(space.contexts), node.distribution.rate)
            for parent, factor in zip(node.parents, node.distribution.factors, strict=True):
                if parent not in apart:
                    column = column * factor[space.contexts[:, self._position(parent)]]
            columns.append(column)
        return np.stack(columns, axis=1)

    @cached_property
    def _context_shares(self) -> np.ndarray:
        """P(context), (C,): contexts are independent before anything is known."""
        space = self.catalogue.fault_space
        states = [node.distribution.rows(np.empty((1, 0), dtype=int))[0] for node in space.context_nodes]
        return np.prod([state[space.contexts[:, i]] for i, state in enumerate(states)], axis=0)

    @cached_property
    def _members(self) -> np.ndarray:
        """The faults of each combination that has one, (H, most at once); F stands for no further one."""
        combinations = self._faulty
        members = np.full((len(combinations), int(combinations.sum(axis=1).max())), len(self.faults))
        for row, combination in zip(members, combinations, strict=True):
            row[: combination.sum()] = np.flatnonzero(combination)
        return members

    @cached_property
    def _faulty(self) -> np.ndarray:
        combinations = self.catalogue.fault_space.combinations
        return combinations[combinations.any(axis=1)]

    @cached_property
    def _label_shares(self) -> np.ndarray:
        """P(label | combination), (H, F)."""
        return self._faulty / self._faulty.sum(axis=1, keepdims=True)

    @cached_property
    def _places(self) -> tuple[np.ndarray, ...]:
        """The contexts of each setting and generation, S * (G + 1) in all: few enough at a time for a core's cache."""
        contexts = self.catalogue.fault_space.contexts
        setting = contexts[:, self._position(self.catalogue.fault_model.setting)]
        generation = contexts[:, self._position(GENERATION)]
        place = setting * (len(self.listed) + 1) + generation
        return tuple(np.flatnonzero(place == at) for at in range(len(self.settings) * (len(self.listed) + 1)))

    @cached_property
    def _complained(self) -> np.ndarray:
        """P(the complaint's findings | combination) of each generation, (G + 1, Y + 1, H); 1 for one not known."""
        space = self.catalogue.fault_space
        rows = [np.ones(len(space.hypotheses))]
        for symptom in reversed(self.catalogue.symptoms):
            columns = [space.column(finding, outcome) for finding, outcome in symptom.findings.items()]
            rows.insert(0, np.prod(columns, axis=0))
        by_group = space.by_group(np.stack(rows))[..., space.combinations.any(axis=1)]  # (Y + 1, K, H)
        generation = space.contexts[:, self._position(GENERATION)]
        group_of = {int(g): k for k, own in enumerate(space.groups) for g in generation[own]}
        return np.stack([by_group[:, group_of[g]] for g in range(len(self.listed) + 1)])
