"""Seeded ways to break a rule: in the catalogue's data after it was checked, or in the code that applies it."""

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.diagnose import planning, troubleshoot
from guidance.identify import identified
from guidance.parts import parts


def rebuilt(catalogue: Catalogue, **sections) -> Catalogue:
    """A catalogue with other sections, past every check; the network is kept, since the mutants change no number."""
    fields = {name: getattr(catalogue, name) for name in type(catalogue).model_fields}
    mutant = type(catalogue).model_construct(**{**fields, **sections})
    mutant.__dict__.update(fault_space=catalogue.fault_space, component_masks=catalogue.component_masks)
    return mutant


def _changed(catalogue: Catalogue, section: str, pick, change) -> Catalogue:
    rows = list(getattr(catalogue, section))
    index = pick([i for i, row in enumerate(rows) if change(row) is not None])
    rows[index] = change(rows[index])
    return rebuilt(catalogue, **{section: tuple(rows)})


def _opened_to(role: str):
    def change(row):
        if row.access == "outside":
            return None
        update = {"minutes": {**row.minutes, role: 5.0}, "roles": (*row.roles, role), "access": "outside"}
        return row.model_copy(update=update)

    return change


def _swap_made_a_caregivers(row):
    if "caregiver" in row.minutes or row.access != "outside" or getattr(row, "kind", "") not in ("swap", "replace"):
        return None
    return row.model_copy(update={"minutes": {**row.minutes, "caregiver": 5.0}, "roles": ("caregiver", *row.roles)})


def _without_source(row):
    return row.model_copy(update={"source": " "})


def _told_to_nobody_but_technicians(row):
    needed = ("occupied-1", "emergency-1", "always-1", "always-3", "out-1", "hand-over-1", "after-repair-2")
    return row.model_copy(update={"roles": ("technician",)}) if row.id in needed else None


def _weaker_signal(row):
    return row.model_copy(update={"signal": "caution"}) if row.signal in ("danger", "warning") else None


def _for_the_wrong_generation(row):
    others = {"sealed-top": "hung-top", "hung-top": "sealed-top", "stacked-front": "sealed-front"}
    if row.component not in ("battery", "hand_control") or row.superseded_by or len(row.generations) > 2:
        return None
    return row.model_copy(update={"generations": tuple(others.get(g, "stacked-front") for g in row.generations)})


def _mechanisms_mixed_up(catalogue: Catalogue, pick) -> Catalogue:
    rows = list(catalogue.mechanisms)
    one, other = pick([(i, j) for i in range(len(rows)) for j in range(i)])
    steps = rows[one].steps, rows[other].steps
    rows[one], rows[other] = (rows[i].model_copy(update={"steps": s}) for i, s in ((one, steps[1]), (other, steps[0])))
    return rebuilt(catalogue, mechanisms=tuple(rows))


def _data(section, change):
    return lambda catalogue, pick, patch: _changed(catalogue, section, pick, change)


def _code(target, name, replacement):
    def apply(catalogue, pick, patch):
        patch.setattr(target, name, replacement(getattr(target, name)))
        return catalogue

    return apply


def _seen_as_confirmed(original):
    def reckless(box, every):
        values, confirmed = original(box, every)
        return values, confirmed or (values[0] if box is not None else None)

    return reckless


def _as_if(**known):
    """The case is taken for another one before it is answered."""
    return lambda original: lambda case, catalogue: original(case.model_copy(update=known), catalogue)


def _unsure_taken_for_no(original):
    def reckless(case, catalogue):
        known = {"person_in_sling": "no"} if case.person_in_sling == "unsure" else {}
        return original(case.model_copy(update=known), catalogue)

    return reckless


def _nothing(_original):
    return lambda *a, **k: ()


def _silent_about(moment):
    """The sentences of one moment are never said."""
    return lambda original: lambda catalogue, asked, role: () if asked == moment else original(catalogue, asked, role)


def _case_forgotten(**known):
    """A function of (catalogue, case, …) is given another case."""
    return lambda original: lambda catalogue, case, *rest: original(catalogue, case.model_copy(update=known), *rest)


def _access_ignored(catalogue, pick, patch):
    """A row lists an agent for work on the housing, and the code that should refuse it looks at the list alone."""

    def listed(row):
        if row.access == "outside":
            return None
        return row.model_copy(update={"minutes": {**row.minutes, "agent": 5.0}, "roles": (*row.roles, "agent")})

    patch.setattr(planning, "may_do", lambda step, role: role in step.minutes)
    return _changed(catalogue, "checks", pick, listed)


def _guessed_parts(original):
    def guess(catalogue, component, generation, lowering, role):
        return original(catalogue, component, generation or "hung-top", lowering or "twist_knob", role)

    return guess


MUTATIONS = [
    ("a technician's check given to a caregiver", _data("checks", _opened_to("caregiver"))),
    ("a technician's check given to an agent", _data("checks", _opened_to("agent"))),
    ("a technician's repair given to a caregiver", _data("repairs", _opened_to("caregiver"))),
    ("a technician's repair given to an agent", _data("repairs", _opened_to("agent"))),
    ("a swap given to a caregiver", _data("checks", _swap_made_a_caregivers)),
    ("a replacement given to a caregiver", _data("repairs", _swap_made_a_caregivers)),
    ("a check without source", _data("checks", _without_source)),
    ("a repair without source", _data("repairs", _without_source)),
    ("a caution without source", _data("cautions", _without_source)),
    ("a stop sign without source", _data("stop_signs", _without_source)),
    ("a caution kept from those who need it", _data("cautions", _told_to_nobody_but_technicians)),
    ("a caution with too weak a signal word", _data("cautions", _weaker_signal)),
    ("a stop sign with too weak a signal word", _data("stop_signs", _weaker_signal)),
    ("a part said to fit another generation", _data("parts", _for_the_wrong_generation)),
    ("two mechanisms mixed up", lambda catalogue, pick, patch: _mechanisms_mixed_up(catalogue, pick)),
    ("unsure taken for nobody in the sling", _code(troubleshoot, "troubleshoot", _unsure_taken_for_no)),
    ("the sling never asked about", _code(troubleshoot, "troubleshoot", _as_if(person_in_sling="no"))),
    ("danger signs forgotten", _code(troubleshoot, "troubleshoot", _as_if(danger_signs=()))),
    ("an injury forgotten", _code(troubleshoot, "complaint", _case_forgotten(could_hurt=False, danger_signs=()))),
    ("likely taken for confirmed", _code(identified, "_component", _seen_as_confirmed)),
    ("failed lowering tried again", _code(troubleshoot, "bring_down", _case_forgotten(danger_signs=()))),
    ("nothing said that always holds", _code(troubleshoot, "first_lines", _nothing)),
    ("no trial after a repair", _code(troubleshoot, "say", _silent_about("after_repair"))),
    ("handed over without a word", _code(troubleshoot, "say", _silent_about("hand_over"))),
    ("no word on taking it out of use", _code(troubleshoot, "say", _silent_about("out_of_use"))),
    ("old batteries in the bin", _code(troubleshoot, "say", _silent_about("disposal"))),
    ("access ignored", _access_ignored),
    ("caregivers shown parts", _code(parts, "ORDERING_ROLES", lambda _: ("caregiver", "agent", "technician"))),
    ("a part number guessed", _code(parts, "part_for", _guessed_parts)),
    ("parts of every box named", _code(parts, "_fits", lambda _: lambda *a: True)),
]
"""Thirty ways; where a way has several places, the seed chooses one."""


def mutate(catalogue: Catalogue, number: int, seed: int, patch) -> Catalogue:
    """Break one rule; `patch` is pytest's MonkeyPatch, which mends the code again."""
    rng = np.random.default_rng((seed, number))
    return MUTATIONS[number][1](catalogue, lambda places: places[int(rng.integers(len(places)))], patch)
