"""Callers who look at an imagined lift and err at the catalogue's stated rates, and how often the answer is right.

`python -m tests.guidance.simulate_callers --count 2000 --seed 1` prints one line for each way to start.
"""

import argparse
import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from classifier.identify import PhotoReading
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONTROL_BOX, CONTROL_BOX_CONCEPTS, NOT_VISIBLE, UNLISTED
from guidance.advise.answer import answer
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.rows import Role
from guidance.documents.answer import Answer, Next
from guidance.identify.sources import Observed
from tests.guidance.lifts import FACTS, MODEL, photo, reading, rows_of, subject

QUESTIONS = 3

Evidence = tuple[list[PhotoReading], list[Observed]]


@dataclass
class Caller:
    """Somebody at a lift whose features the simulation knows; nobody is in the sling."""

    features: Mapping[str, str]
    catalogue: Catalogue
    rng: np.random.Generator

    def tell(self, question: str) -> Observed:
        row = self.catalogue.observations_by_id[question]
        if row.about is None:
            return Observed(question, "no")
        chances = row.reliability[self.features[row.about]]
        return Observed(question, str(self.rng.choice(list(chances), p=list(chances.values()))))

    def photograph(self, view: str) -> PhotoReading:
        """Read what the view shows; a reading names the wrong value as often as the catalogue's accuracy says."""
        row = next(v for v in self.catalogue.views if v.id == view)
        accuracy = self.catalogue.next_step.reading_accuracy
        concepts = {}
        for concept, chance in row.visible.items():
            if self.rng.random() < chance:
                others = [v for v in CONCEPTS[concept] if v != self.features[concept]]
                right = self.rng.random() < accuracy
                named = self.features[concept] if right else str(self.rng.choice(others))
                concepts[concept] = reading(concept, **{named: accuracy, NOT_VISIBLE: 0.0})
        return photo(subject(ACTUATOR_HEAD if "lowering" in row.visible else CONTROL_BOX, concepts))


def nothing(caller: Caller) -> Evidence:
    return [photo()], []


def one_answer(caller: Caller) -> Evidence:
    about_box = [o.id for o in caller.catalogue.questions if o.about not in (None, "lowering")]
    return [], [caller.tell(str(caller.rng.choice(about_box)))]


def box_photo(caller: Caller) -> Evidence:
    return [caller.photograph("box_from_corner")], []


def head_photo(caller: Caller) -> Evidence:
    return [caller.photograph("motor_end_from_side")], []


STARTS: dict[str, Callable[[Caller], Evidence]] = {
    "nothing": nothing,
    "one answer": one_answer,
    "box photo": box_photo,
    "head photo": head_photo,
}


@dataclass(frozen=True)
class Outcome:
    """Of `count` callers: how many had the right generation as favourite, and as a confirmed one a wrong generation."""

    count: int
    right: int
    confirmed_wrong: int
    verdicts: Counter

    def interval(self) -> tuple[float, float]:
        """Wilson's 95 % interval of the share that is right."""
        z, n, p = 1.959964, self.count, self.right / self.count
        centre, half = p + z * z / (2 * n), z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
        return (centre - half) / (1 + z * z / n), (centre + half) / (1 + z * z / n)


def simulate(
    catalogue: Catalogue, start: str, role: Role, photos: bool, listed: bool, count: int, rng: np.random.Generator
) -> Outcome:
    """Let callers answer at most three steps of `next`. Without `photos` they can send none after the start."""
    asking = catalogue if photos else without_views(catalogue)
    right = confirmed_wrong = 0
    verdicts: Counter = Counter()
    for _ in range(count):
        features = draw_lift(catalogue, listed, rng)
        box = converse(asking, Caller(features, catalogue, rng), start, role).control_box
        right += box.favourite == features["generation"]
        confirmed_wrong += box.decision == "confirmed" and box.generation != features["generation"]
        verdicts[box.decision] += 1
    return Outcome(count, right, confirmed_wrong, verdicts)


def converse(catalogue: Catalogue, caller: Caller, start: str, role: Role) -> Answer:
    readings, observed = STARTS[start](caller)
    for _ in range(QUESTIONS):
        wanted: Next | None = answer(readings, observed, catalogue, MODEL, FACTS, role).next
        if wanted is None:
            break
        if wanted.kind == "photo":
            readings = [*readings, caller.photograph(wanted.id)]
        else:
            observed = [*observed, caller.tell(wanted.id)]
    return answer(readings, observed, catalogue, MODEL, FACTS, role)


def draw_lift(catalogue: Catalogue, listed: bool, rng: np.random.Generator) -> dict[str, str]:
    """Draw a listed box by its share of the fleet, or any unlisted combination; every mechanism is equally likely."""
    lowering = str(rng.choice(CONCEPTS["lowering"]))
    if listed:
        shares = [g.fleet_share for g in catalogue.generations]
        row = catalogue.generations[int(rng.choice(len(shares), p=shares))]
        concepts = {c: getattr(row, c) for c in CONTROL_BOX_CONCEPTS}
        return {"generation": row.id, "lowering": lowering, **concepts, **row.traits}
    known = [[getattr(g, c) for c in CONTROL_BOX_CONCEPTS] for g in catalogue.generations]
    while True:
        values = [str(rng.choice(v)) for v in CONTROL_BOX_CONCEPTS.values()]
        if values not in known:
            break
    traits = {t: str(rng.choice(v)) for t, v in catalogue.trait_values.items()}
    concepts = dict(zip(CONTROL_BOX_CONCEPTS, values, strict=True))
    return {"generation": UNLISTED, "lowering": lowering, **concepts, **traits}


def exact_share_right(catalogue: Catalogue, role: Role) -> float:
    """Follow every way that three answers can go, from nothing and without photos, and add up P(right | listed)."""
    hypotheses = catalogue.hypotheses
    prior = hypotheses.prior.sum(axis=1)  # (H,)

    def follow(answers: list[Observed], likelihood: np.ndarray) -> float:
        found = answer([photo()], answers, catalogue, MODEL, FACTS, role)
        if len(answers) == QUESTIONS or found.next is None:
            favourite = hypotheses.group == hypotheses.groups.index(found.control_box.favourite)
            return float((prior * likelihood)[favourite].sum()) if found.control_box.favourite != UNLISTED else 0.0
        row = catalogue.observations_by_id[found.next.id]
        values = hypotheses.features[row.about]
        table = np.array([[row.reliability[v][a] for a in row.options] for v in values])  # (V, A)
        told = table[hypotheses.value_index[row.about]]  # (H, A)
        return sum(
            follow([*answers, Observed(row.id, option)], likelihood * told[:, i])
            for i, option in enumerate(row.options)
        )

    listed = hypotheses.group < len(hypotheses.groups) - 1
    return follow([], np.ones(len(prior))) / float(prior[listed].sum())


def without_views(catalogue: Catalogue) -> Catalogue:
    return Catalogue.model_validate({**rows_of(catalogue), "views": ()})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    catalogue = load(DEMO_CATALOGUE)
    rng = np.random.default_rng(given.seed)
    for listed in (True, False):
        for start in STARTS:
            for role, photos in (("caregiver", True), ("agent", False)):
                found = simulate(catalogue, start, role, photos, listed, given.count, rng)
                low, high = found.interval()
                who = f"{'listed' if listed else 'unlisted'}, {start}, {role}{'' if photos else ' on the telephone'}:"
                print(
                    f"{who} right {found.right / found.count:.4f} [{low:.4f}, {high:.4f}] n={found.count} "
                    f"confirmed wrong {found.confirmed_wrong} {dict(found.verdicts)}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
