"""What must hold between the rows of the fault model; each problem has a path to its row and a reason."""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np

from classifier.errors import NetworkError
from guidance.catalogue.fault_network import GENERATION, fault_network
from guidance.catalogue.fault_rows import LAST_RESORT, Context, FaultSettings, Finding, Step
from guidance.catalogue.rows import ROLES, meant
from guidance.catalogue.sections import Sections
from guidance.network.inference import compile_space

Path = tuple[str | int, ...]
Found = tuple[Path, str]

SECTIONS = (
    "components", "contexts", "faults", "findings", "checks", "repairs", "symptoms", "stop_signs", "cautions", "parts",
    "options", "sockets", "aftercare", "not_this_tool",
)  # fmt: skip

WITHOUT_FAULTS = ("stop_signs", "cautions", "options", "sockets", "aftercare", "not_this_tool")
"""Sections that a catalogue may have without a fault model, too."""

SUM_TOLERANCE = 1e-9

NEVER = "is zero in every setting, so that nothing can lead to this fault; give a rate, or leave the fault out"
HIDDEN = "no symptom is likelier with it than without; it can never be found. Give it effects on a finding of a symptom"
ALIKE = "comes out alike whatever is wrong; it tells nothing apart. Give the finding effects, or leave the check out"
"""What is said of a fault that is never the cause, of one that shows nowhere, of a check that helps nobody."""


def fault_problems(catalogue: Sections) -> Iterator[Found]:
    """Yield every problem of the fault model; a catalogue without one has none."""
    if not any(getattr(catalogue, section) for section in SECTIONS if section not in WITHOUT_FAULTS):
        yield from _what_goes_with_it(catalogue)
        return
    empty = [section for section in ("faults", "findings", "symptoms", "repairs") if not getattr(catalogue, section)]
    if catalogue.fault_settings is None or empty:
        missing = "fault_settings" if catalogue.fault_settings is None else empty[0]
        yield (missing,), "is missing or empty; want fault_settings, faults, findings, symptoms and repairs together"
        return
    found = [
        *_references(catalogue),
        *_parts(catalogue),
        *_what_goes_with_it(catalogue),
        *_probabilities(catalogue),
        *_who_may(catalogue),
    ]
    yield from found
    if not found:
        yield from _meaning(catalogue)


def _unknown(path: Path, given: str, known: Collection[str], what: str) -> Iterator[Found]:
    if given not in known:
        yield path, f"'{given}' is no {what}{meant(given, list(known))}"


def _references(catalogue: Sections) -> Iterator[Found]:
    settings, contexts = catalogue.fault_model, catalogue.contexts_by_id
    for i, row in enumerate(catalogue.contexts):
        if row.id == GENERATION:
            yield ("contexts", i, "id"), f"the id '{GENERATION}' is the control box's; choose another"
    yield from _unknown(("fault_settings", "setting"), settings.setting, contexts, "context")
    if settings.setting not in contexts:
        return
    if settings.set_up is not None:
        known = contexts[settings.setting].options
        yield from _unknown(("fault_settings", "set_up"), settings.set_up, known, "answer of the setting")
    yield from _of_faults(catalogue)
    yield from _of_findings(catalogue)
    yield from _of_steps(catalogue, settings)
    yield from _symptoms(catalogue)
    yield from _electrics(catalogue)


def _of_faults(catalogue: Sections) -> Iterator[Found]:
    contexts, setting = catalogue.contexts_by_id, catalogue.fault_model.setting
    for i, row in enumerate(catalogue.faults):
        at = ("faults", i)
        yield from _unknown((*at, "component"), row.component, catalogue.components_by_id, "component")
        for given in row.calls_per_1000:
            yield from _unknown((*at, "calls_per_1000", given), given, contexts[setting].options, "setting")
        for context, by_answer in row.factors.items():
            yield from _unknown((*at, "factors", context), context, contexts.keys() - {setting}, "further context")
            for answer in by_answer if context in contexts else ():
                yield from _unknown(
                    (*at, "factors", context, answer), answer, contexts[context].options, "answer of it"
                )
        yield from _generations(at, row.generations, catalogue)
        for generation in row.by_generation:
            known = row.generations or catalogue.generations_by_id
            yield from _unknown((*at, "by_generation", generation), generation, known, "generation that can have it")


def _of_findings(catalogue: Sections) -> Iterator[Found]:
    for i, row in enumerate(catalogue.findings):
        for fault in row.effects:
            yield from _unknown(("findings", i, "effects", fault), fault, catalogue.faults_by_id, "fault")
        for proven, outcome in row.by_meter.items():
            yield from _unknown(("findings", i, "by_meter", proven), outcome, row.outcomes, "outcome of it")
        for generation, effects in row.effects_of.items():
            at = ("findings", i, "effects_of", generation)
            yield from _unknown(at, generation, catalogue.generations_by_id, "generation")
            for fault in effects:
                yield from _unknown((*at, fault), fault, catalogue.faults_by_id, "fault")


def _of_steps(catalogue: Sections, settings: FaultSettings) -> Iterator[Found]:
    steps: tuple[tuple[str, tuple[Step, ...]], ...] = (("checks", catalogue.checks), ("repairs", catalogue.repairs))
    for section, rows in steps:
        for i, step in enumerate(rows):
            yield from _generations((section, i), step.generations, catalogue)
            if step.area is not None:
                yield from _unknown((section, i, "area"), step.area, settings.opening_min, "area of opening_min")
    for i, check in enumerate(catalogue.checks):
        yield from _unknown(("checks", i, "finding"), check.finding, catalogue.findings_by_id, "finding")
        for j, symptom in enumerate(check.symptoms):
            yield from _unknown(("checks", i, "symptoms", j), symptom, catalogue.symptoms_by_id, "symptom")
    for i, repair in enumerate(catalogue.repairs):
        for fault in repair.mends:
            yield from _unknown(("repairs", i, "mends", fault), fault, catalogue.faults_by_id, "fault")
        if repair.component is not None:
            yield from _unknown(("repairs", i, "component"), repair.component, catalogue.components_by_id, "component")


def _electrics(catalogue: Sections) -> Iterator[Found]:
    pack = catalogue.pack_electrics
    if pack is None:
        return
    if pack.age is not None:
        yield from _unknown(("pack_electrics", "age"), pack.age, catalogue.contexts_by_id, "context")
    answers = catalogue.contexts_by_id[pack.age].options if pack.age in catalogue.contexts_by_id else ()
    for answer in pack.health_by_age:
        yield from _unknown(("pack_electrics", "health_by_age", answer), answer, answers, "answer of the context `age`")
    spans = {name: value for name, value in pack if isinstance(value, tuple)} | pack.health_by_age
    for name, (least, most) in spans.items():
        if least > most:
            yield ("pack_electrics", name), f"got from {least:g} to {most:g}; want the least first"


def _symptoms(catalogue: Sections) -> Iterator[Found]:
    for i, row in enumerate(catalogue.symptoms):
        for finding, outcome in row.findings.items():
            yield from _unknown(("symptoms", i, "findings", finding), finding, catalogue.findings_by_id, "finding")
            if finding in catalogue.findings_by_id:
                known = catalogue.findings_by_id[finding].outcomes
                yield from _unknown(("symptoms", i, "findings", finding), outcome, known, "outcome of it")
        yield from _unknown(("symptoms", i, "gone"), row.gone, row.findings, "finding of this symptom")
        for role, check in row.first.items():
            at: Path = ("symptoms", i, "first", role)
            yield from _unknown(at, check, catalogue.checks_by_id, "check")
            if check in catalogue.checks_by_id and role not in catalogue.checks_by_id[check].roles:
                yield at, f"'{check}' is no step of the role {role}; choose one whose minutes list it"
        for j, printed in enumerate(row.printed):
            at = ("symptoms", i, "printed", j)
            yield from _unknown((*at, "repair"), printed.repair, catalogue.repairs_by_id, "repair")
            if printed.check is not None:
                yield from _unknown((*at, "check"), printed.check, catalogue.checks_by_id, "check")


def _generations(at: Path, given: tuple[str, ...], catalogue: Sections) -> Iterator[Found]:
    for j, generation in enumerate(given):
        yield from _unknown((*at, "generations", j), generation, catalogue.generations_by_id, "generation")


def _what_goes_with_it(catalogue: Sections) -> Iterator[Found]:
    """Options, sockets and care of generations that there are; other aids by answers that there are."""
    for section in ("options", "sockets", "aftercare"):
        for i, row in enumerate(getattr(catalogue, section)):
            yield from _generations((section, i), row.generations, catalogue)
    for i, row in enumerate(catalogue.options):
        for j, part in enumerate(row.parts):
            yield from _unknown(("options", i, "parts", j), part, catalogue.parts_by_id, "part")
    questions = {row.id: row.options for row in catalogue.observations}
    for i, row in enumerate(catalogue.not_this_tool):
        for observation, answer in row.when.items():
            at = ("not_this_tool", i, "when", observation)
            yield from _unknown(at, observation, questions, "observation")
            yield from _unknown(at, answer, questions.get(observation, (answer,)), "answer of it")


def _parts(catalogue: Sections) -> Iterator[Found]:
    numbers: dict[str, str] = {}
    for i, row in enumerate(catalogue.parts):
        if row.accessory and any(row.id in other.substitutes for other in catalogue.parts):
            yield ("parts", i, "accessory"), "an accessory is no substitute; take it out of `substitutes`"
    for i, row in enumerate(catalogue.parts):
        at = ("parts", i)
        yield from _unknown((*at, "component"), row.component, catalogue.components_by_id, "component")
        yield from _generations(at, row.generations, catalogue)
        for j, mechanism in enumerate(row.mechanisms):
            yield from _unknown((*at, "mechanisms", j), mechanism, catalogue.mechanisms_by_id, "mechanism")
        for field in ("substitutes", "order_with"):
            for j, part in enumerate(getattr(row, field)):
                yield from _unknown((*at, field, j), part, catalogue.parts_by_id.keys() - {row.id}, "other part")
        if row.superseded_by is not None:
            yield from _unknown((*at, "superseded_by"), row.superseded_by, catalogue.parts_by_id, "part")
        if (first := numbers.setdefault(row.number, row.id)) != row.id:
            said = f"came '{row.number}', the number of '{first}'; give its own, or list in one row all that it fits"
            yield (*at, "number"), said
        seen, part = [row.id], row
        while part.superseded_by in catalogue.parts_by_id:
            part = catalogue.parts_by_id[part.superseded_by]
            if part.id in seen:
                yield (*at, "superseded_by"), f"cycle: {' -> '.join((*seen, part.id))}; one of them must be supplied"
                break
            seen.append(part.id)


def _probabilities(catalogue: Sections) -> Iterator[Found]:
    sound = True
    for i, row in enumerate(catalogue.contexts):
        if set(row.shares) != set(row.options) or abs(sum(row.shares.values()) - 1) > SUM_TOLERANCE:
            sound = False
            yield ("contexts", i, "shares"), _wrong_shares(row)
    for i, finding in enumerate(catalogue.findings):
        for name, values in _distributions(finding):
            if len(values) != len(finding.outcomes) or abs(sum(values) - 1) > SUM_TOLERANCE:
                sound = False
                outcomes = ", ".join(finding.outcomes)
                want = f"{len(finding.outcomes)} probabilities that add up to 1, one for each of {outcomes}"
                yield ("findings", i, *name), f"came {list(values)}, together {sum(values):.6g}; wanted {want}"
    if sound and not list(_references(catalogue)):
        try:
            fault_network(catalogue)
        except NetworkError as error:
            fault, _, said = str(error).partition(": ")
            rows = [i for i, row in enumerate(catalogue.faults) if row.id == fault]
            told = f"{said}; lower a factor, or other_faults of fault_settings"
            yield ("faults", *rows), told if rows else str(error)


def _wrong_shares(row: Context) -> str:
    wanted = f"one for each of {', '.join(row.options)}, adding up to 1"
    return f"came shares of {', '.join(row.shares)}, together {sum(row.shares.values()):.6g}; wanted {wanted}"


def _distributions(row: Finding) -> Iterator[tuple[tuple[str, ...], tuple[float, ...]]]:
    """Every distribution of a finding, each with the path to it."""
    yield ("background",), row.background
    yield from ((("effects", fault), values) for fault, values in row.effects.items())
    for generation, effects in row.effects_of.items():
        yield from ((("effects_of", generation, fault), values) for fault, values in effects.items())


def _who_may(catalogue: Sections) -> Iterator[Found]:
    for section in ("checks", "repairs"):
        for i, row in enumerate(getattr(catalogue, section)):
            if row.access != "outside" and row.roles != ("technician",):
                got = ", ".join(row.roles)
                yield (section, i, "minutes"), f"a step on '{row.access}' is a technician's alone; got {got}"
    for role in ROLES:
        if not any(row.kind == LAST_RESORT and role in row.roles for row in catalogue.repairs):
            yield ("repairs",), f"no last_resort for the role {role}; add one, so that every case has an end"


def _meaning(catalogue: Sections) -> Iterator[Found]:
    """Faults that no symptom points to or no step ends, and checks that tell nothing apart."""
    space = compile_space(fault_network(catalogue), at_most=1)
    # Indices of hypotheses, one a group of generations: with no fault, and with one alone.
    healthy = np.flatnonzero(space.without_cause)
    single = {node.id: np.flatnonzero(space.hypotheses[:, i]) for i, node in enumerate(space.cause_nodes)}
    mended = {fault for row in catalogue.repairs for fault in row.mends}
    for i, row in enumerate(catalogue.faults):
        if not any(row.calls_per_1000.values()):
            yield ("faults", i, "calls_per_1000"), NEVER
        likelier = []
        for symptom in catalogue.symptoms:
            shown = np.prod([space.column(f, o) for f, o in symptom.findings.items()], axis=0)
            likelier.append((shown[single[row.id]] > shown[healthy] * (1 + SUM_TOLERANCE)).any())
        if not any(likelier):
            yield ("faults", i), HIDDEN
        if row.id not in mended and row.component in {r.component for r in catalogue.repairs}:
            yield ("faults", i), f"no repair of the component '{row.component}' mends it; add it to one"
    for i, check in enumerate(catalogue.checks):
        column = space.columns[check.finding][:, np.concatenate([healthy, *single.values()])]
        if np.ptp(column, axis=1).max() <= SUM_TOLERANCE:
            yield ("checks", i), f"'{check.finding}' {ALIKE}"
