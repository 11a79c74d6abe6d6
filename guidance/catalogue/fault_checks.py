"""What must hold between the rows of the fault model; each problem has a path to its row and a reason."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

import numpy as np

from classifier.errors import NetworkError
from guidance.catalogue.fault_rows import LAST_RESORT
from guidance.catalogue.rows import ROLES, nearest
from guidance.diagnose.fault_network import GENERATION, fault_network
from guidance.diagnose.inference import compile_space

if TYPE_CHECKING:
    from guidance.catalogue.catalogue import Catalogue

Found = tuple[tuple[str | int, ...], str]

SECTIONS = (
    "components", "contexts", "faults", "findings", "checks", "repairs", "symptoms", "stop_signs", "cautions", "parts",
)  # fmt: skip

SUM_TOLERANCE = 1e-9


def fault_problems(catalogue: Catalogue) -> Iterator[Found]:
    """Yield every problem of the fault model; a catalogue without one has none."""
    if not any(getattr(catalogue, section) for section in SECTIONS):
        return
    empty = [section for section in ("faults", "findings", "symptoms", "repairs") if not getattr(catalogue, section)]
    if catalogue.fault_settings is None or empty:
        missing = "fault_settings" if catalogue.fault_settings is None else empty[0]
        yield (missing,), "is missing or empty; want fault_settings, faults, findings, symptoms and repairs together"
        return
    found = [*_references(catalogue), *_parts(catalogue), *_probabilities(catalogue), *_who_may(catalogue)]
    yield from found
    if not found:
        yield from _meaning(catalogue)


def _unknown(path: tuple, given: str, known: Collection[str], what: str) -> Iterator[Found]:
    if given not in known:
        yield path, f"'{given}' is no {what}{nearest(given, list(known))}"


def _references(catalogue: Catalogue) -> Iterator[Found]:
    settings, contexts = catalogue.fault_settings, catalogue.contexts_by_id
    yield from _unknown(("fault_settings", "setting"), settings.setting, contexts, "context")
    if settings.setting not in contexts:
        return
    for i, row in enumerate(catalogue.faults):
        at = ("faults", i)
        yield from _unknown((*at, "component"), row.component, catalogue.components_by_id, "component")
        for setting in row.calls_per_1000:
            yield from _unknown((*at, "calls_per_1000"), setting, contexts[settings.setting].options, "setting")
        for context, by_answer in row.factors.items():
            yield from _unknown((*at, "factors"), context, contexts.keys() - {settings.setting}, "further context")
            for answer in by_answer if context in contexts else ():
                yield from _unknown((*at, "factors", context), answer, contexts[context].options, "answer of it")
        yield from _generations(at, row.generations, catalogue)
    for i, row in enumerate(catalogue.findings):
        for fault in row.effects:
            yield from _unknown(("findings", i, "effects"), fault, catalogue.faults_by_id, "fault")
    for section in ("checks", "repairs"):
        for i, row in enumerate(getattr(catalogue, section)):
            yield from _generations((section, i), row.generations, catalogue)
            if row.area is not None:
                yield from _unknown((section, i, "area"), row.area, settings.opening_min, "area of opening_min")
    for i, row in enumerate(catalogue.checks):
        yield from _unknown(("checks", i, "finding"), row.finding, catalogue.findings_by_id, "finding")
        for symptom in row.symptoms:
            yield from _unknown(("checks", i, "symptoms"), symptom, catalogue.symptoms_by_id, "symptom")
    for i, row in enumerate(catalogue.repairs):
        for fault in row.mends:
            yield from _unknown(("repairs", i, "mends"), fault, catalogue.faults_by_id, "fault")
        if row.component is not None:
            yield from _unknown(("repairs", i, "component"), row.component, catalogue.components_by_id, "component")
    yield from _symptoms(catalogue)


def _symptoms(catalogue: Catalogue) -> Iterator[Found]:
    for i, row in enumerate(catalogue.symptoms):
        for finding, outcome in row.findings.items():
            yield from _unknown(("symptoms", i, "findings"), finding, catalogue.findings_by_id, "finding")
            if finding in catalogue.findings_by_id:
                known = catalogue.findings_by_id[finding].outcomes
                yield from _unknown(("symptoms", i, "findings", finding), outcome, known, "outcome of it")
        yield from _unknown(("symptoms", i, "gone"), row.gone, row.findings, "finding of this symptom")
        for printed in row.printed:
            yield from _unknown(("symptoms", i, "printed"), printed.repair, catalogue.repairs_by_id, "repair")
            if printed.check is not None:
                yield from _unknown(("symptoms", i, "printed"), printed.check, catalogue.checks_by_id, "check")


def _generations(at: tuple, given: tuple[str, ...], catalogue: Catalogue) -> Iterator[Found]:
    for j, generation in enumerate(given):
        yield from _unknown((*at, "generations", j), generation, catalogue.generations_by_id, "generation")


def _parts(catalogue: Catalogue) -> Iterator[Found]:
    for i, row in enumerate(catalogue.parts):
        at = ("parts", i)
        yield from _unknown((*at, "component"), row.component, catalogue.components_by_id, "component")
        yield from _generations(at, row.generations, catalogue)
        for mechanism in row.mechanisms:
            yield from _unknown((*at, "mechanisms"), mechanism, catalogue.mechanisms_by_id, "mechanism")
        for field in ("substitutes", "order_with"):
            for part in getattr(row, field):
                yield from _unknown((*at, field), part, catalogue.parts_by_id.keys() - {row.id}, "other part")
        if row.superseded_by is not None:
            yield from _unknown((*at, "superseded_by"), row.superseded_by, catalogue.parts_by_id, "part")
        seen, part = [row.id], row
        while part.superseded_by in catalogue.parts_by_id:
            part = catalogue.parts_by_id[part.superseded_by]
            if part.id in seen:
                yield (*at, "superseded_by"), f"cycle: {' -> '.join((*seen, part.id))}; one of them must be supplied"
                break
            seen.append(part.id)


def _probabilities(catalogue: Catalogue) -> Iterator[Found]:
    sound = True
    for i, row in enumerate(catalogue.contexts):
        if set(row.shares) != set(row.options) or abs(sum(row.shares.values()) - 1) > SUM_TOLERANCE:
            sound = False
            yield ("contexts", i, "shares"), f"want one share an option, adding up to 1; got {dict(row.shares)}"
    for i, row in enumerate(catalogue.findings):
        for name, values in (("background", row.background), *row.effects.items()):
            if len(values) != len(row.outcomes) or abs(sum(values) - 1) > SUM_TOLERANCE:
                sound = False
                want = f"{len(row.outcomes)} probabilities that add up to 1, one for each of {', '.join(row.outcomes)}"
                yield ("findings", i, name), f"got {list(values)}; want {want}"
    if sound and not list(_references(catalogue)):
        try:
            fault_network(catalogue)
        except NetworkError as error:
            yield ("faults",), str(error)


def _who_may(catalogue: Catalogue) -> Iterator[Found]:
    for section in ("checks", "repairs"):
        for i, row in enumerate(getattr(catalogue, section)):
            if row.access != "outside" and row.roles != ("technician",):
                got = ", ".join(row.roles)
                yield (section, i, "minutes"), f"a step on '{row.access}' is a technician's alone; got {got}"
    for role in ROLES:
        if not any(row.kind == LAST_RESORT and role in row.roles for row in catalogue.repairs):
            yield ("repairs",), f"no last_resort for the role {role}; add one, so that every case has an end"


def _meaning(catalogue: Catalogue) -> Iterator[Found]:
    """Faults that no symptom points to or no step ends, and checks that tell nothing apart."""
    space = compile_space(fault_network(catalogue), at_most=1)
    single = {
        node.id: int(np.flatnonzero((space.hypotheses.sum(axis=1) == 1) & (space.hypotheses[:, i] == 1))[0])
        for i, node in enumerate(space.cause_nodes)
    }
    healthy = int(np.flatnonzero(space.hypotheses.sum(axis=1) == 0)[0])
    mended = {fault for row in catalogue.repairs for fault in row.mends}
    for i, row in enumerate(catalogue.faults):
        if not any(row.calls_per_1000.values()):
            yield ("faults", i, "calls_per_1000"), "is zero in every setting, so that nothing can lead to this fault"
        likelier = []
        for symptom in catalogue.symptoms:
            shown = np.prod([space.column(f, o) for f, o in symptom.findings.items()], axis=0)
            likelier.append(shown[single[row.id]] > shown[healthy] * (1 + SUM_TOLERANCE))
        if not any(likelier):
            yield ("faults", i), "no symptom is likelier with it than without; it can never be found"
        if row.id not in mended and row.component in {r.component for r in catalogue.repairs}:
            yield ("faults", i), f"no repair of the component '{row.component}' mends it; add it to one"
    for i, row in enumerate(catalogue.checks):
        column = space.columns[row.finding][:, [healthy, *single.values()]]
        if np.ptp(column, axis=1).max() <= SUM_TOLERANCE:
            yield ("checks", i), f"'{row.finding}' comes out alike whatever is wrong; it tells nothing apart"
    if GENERATION in catalogue.contexts_by_id:
        yield ("contexts",), f"the id '{GENERATION}' is the control box's; choose another"
