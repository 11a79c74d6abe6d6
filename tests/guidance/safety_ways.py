"""How a rule is broken: in the catalogue's data after it was checked, or in the code that applies it."""

from classifier.errors import CaseError
from guidance.catalogue.catalogue import Catalogue
from guidance.diagnose import planning
from guidance.safety.orders import advised
from tests.guidance.safety_rules import LEAST_SIGNAL


def rebuilt(catalogue: Catalogue, **sections) -> Catalogue:
    """A catalogue with other sections, past every check; the network is kept, since the mutants change no number."""
    fields = {name: getattr(catalogue, name) for name in type(catalogue).model_fields}
    mutant = type(catalogue).model_construct(**{**fields, **sections})
    mutant.__dict__.update(fault_space=catalogue.fault_space, component_masks=catalogue.component_masks)
    return mutant


def changed(catalogue: Catalogue, section: str, pick, change) -> Catalogue:
    rows = list(getattr(catalogue, section))
    index = pick([i for i, row in enumerate(rows) if change(row) is not None])
    rows[index] = change(rows[index])
    return rebuilt(catalogue, **{section: tuple(rows)})


def opened_to(role: str):
    def change(row):
        if row.access == "outside":
            return None
        update = {"minutes": {**row.minutes, role: 5.0}, "roles": (*row.roles, role), "access": "outside"}
        return row.model_copy(update=update)

    return change


def swap_made_a_caregivers(row):
    if "caregiver" in row.minutes or row.access != "outside" or getattr(row, "kind", "") not in ("swap", "replace"):
        return None
    return row.model_copy(update={"minutes": {**row.minutes, "caregiver": 5.0}, "roles": ("caregiver", *row.roles)})


def without_source(row):
    return row.model_copy(update={"source": " "})


def told_to_nobody_but_technicians(row):
    needed = ("occupied-1", "emergency-1", "always-1", "always-3", "out-1", "hand-over-1", "after-repair-2")
    return row.model_copy(update={"roles": ("technician",)}) if row.id in needed else None


def weaker_signal(row):
    if row.signal not in ("danger", "warning") or row.id not in LEAST_SIGNAL:
        return None
    return row.model_copy(update={"signal": "caution"})


def for_the_wrong_generation(row):
    others = {"sealed-top": "hung-top", "hung-top": "sealed-top", "stacked-front": "sealed-front"}
    if row.component not in ("battery", "hand_control") or row.superseded_by or len(row.generations) > 2:
        return None
    return row.model_copy(update={"generations": tuple(others.get(g, "stacked-front") for g in row.generations)})


def mechanisms_mixed_up(catalogue: Catalogue, pick) -> Catalogue:
    rows = list(catalogue.mechanisms)
    one, other = pick([(i, j) for i in range(len(rows)) for j in range(i)])
    steps = rows[one].steps, rows[other].steps
    rows[one], rows[other] = (rows[i].model_copy(update={"steps": s}) for i, s in ((one, steps[1]), (other, steps[0])))
    return rebuilt(catalogue, mechanisms=tuple(rows))


def data(section, change):
    return lambda catalogue, pick, patch: changed(catalogue, section, pick, change)


def code(target, name, replacement):
    def apply(catalogue, pick, patch):
        patch.setattr(target, name, replacement(getattr(target, name)))
        return catalogue

    return apply


def seen_as_confirmed(original):
    def reckless(box, every, *more):
        values, confirmed = original(box, every, *more)
        return values, confirmed or (values[0] if box is not None else None)

    return reckless


def as_if(**known):
    """The case is taken for another one before it is answered."""
    return lambda original: lambda case, catalogue: original(case.model_copy(update=known), catalogue)


def unsure_taken_for_no(original):
    def reckless(case, catalogue):
        known = {"person_in_sling": "no"} if case.person_in_sling == "unsure" else {}
        return original(case.model_copy(update=known), catalogue)

    return reckless


def nothing(_original):
    return lambda *a, **k: ()


def silent_about(moment):
    """The sentences of one moment are never said."""
    return lambda original: lambda catalogue, asked, role: () if asked == moment else original(catalogue, asked, role)


def case_forgotten(**known):
    """A function of (catalogue, case, …) is given another case."""
    return lambda original: lambda catalogue, case, *rest: original(catalogue, case.model_copy(update=known), *rest)


def access_ignored(catalogue, pick, patch):
    """A row lists an agent for work on the housing, and the code that should refuse it looks at the list alone."""

    def listed(row):
        if row.access == "outside":
            return None
        return row.model_copy(update={"minutes": {**row.minutes, "agent": 5.0}, "roles": (*row.roles, "agent")})

    patch.setattr(planning, "may_do", lambda step, role: role in step.minutes)
    return changed(catalogue, "checks", pick, listed)


def guessed_parts(original):
    def guess(catalogue, component, generation, lowering, role):
        return original(catalogue, component, generation or "hung-top", lowering or "twist_knob", role)

    return guess


def row(section, row_id, **update):
    """One row with other fields."""
    return data(section, lambda row: row.model_copy(update=update) if row.id == row_id else None)


def reworded(section, row_id, old, new):
    """One row with other words."""

    def change(row):
        return row.model_copy(update={"text": row.text.replace(old, new)}) if row.id == row_id else None

    return data(section, change)


def plan(sign, change):
    """The plan of one danger sign while somebody is up, changed."""

    def changed(row):
        return row.model_copy(update={"occupied": change(row.occupied)}) if row.id == sign else None

    return data("stop_signs", changed)


def steps(mechanism, change):
    """The steps of one mechanism, changed."""

    def changed(row):
        return row.model_copy(update={"steps": change(row.steps)}) if row.id == mechanism else None

    return data("mechanisms", changed)


def way_down_backwards(catalogue, pick, patch):
    return rebuilt(catalogue, sentences=tuple(reversed(catalogue.sentences)))


def without_sentence(row_id):
    def apply(catalogue, pick, patch):
        return rebuilt(catalogue, sentences=tuple(row for row in catalogue.sentences if row.id != row_id))

    return apply


def later_said_of_now(rows):
    """What holds once the person is down is said as if it held now."""
    last = rows[-1]
    return (*rows[:-1], last.model_copy(update={"text": last.text.replace("Once the person is down, leave", "Leave")}))


def person_first(original):
    """Signs come after the person instead of before."""

    def reckless(catalogue, case, signs):
        yield from original(catalogue, case, ())
        for sign in signs:
            yield from sign.occupied

    return reckless


def first_word_counts(original):
    return lambda case: case.person_in_sling


def own_whatever(original):
    return lambda catalogue, confirmed, orders: catalogue.mechanisms_by_id[confirmed].steps


def backwards(original):
    return lambda catalogue, signs: original(catalogue, signs)[::-1]


def refused(original):
    def refuse(case, catalogue):
        known, over = original(case, catalogue)
        if over:
            raise CaseError(over[0])
        return known, over

    return refuse


def for_every_role(original):
    return lambda rows, role: tuple(advised(row) for row in rows)


def pair(apply):
    return lambda catalogue, pick, patch: apply(catalogue, rebuilt, patch)
