"""Ids, outcomes and probabilities of a case that the catalogue does not know: refused, or passed over while up."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from classifier.errors import CaseError
from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import UNSURE, nearest
from guidance.documents.case import DOWN, SKIPPED, STILL, WORKS, WORSE, Case, Done, Seen
from guidance.safety.way_down import lowering_sentences

ROUNDED = 1e-3
"""Probabilities that came through a file or a form may be rounded by this much."""


def understood(case: Case, catalogue: Catalogue) -> tuple[Case, tuple[str, ...]]:
    """The case without what the catalogue does not know, and that in words.

    For somebody in the sling: a word that is not understood must not stand between them and the way down.
    """
    over = [
        *_strange_signs(case, catalogue),
        *_strange_symptom(case, catalogue),
        *_strange_context(case, catalogue),
        *_strange_done(case, catalogue),
        *_strange_lowered(case, catalogue),
    ]
    strange = {(field, key) for field, key, _ in over}
    signs = case.danger_signs and tuple(sign for sign in case.danger_signs if ("danger_signs", sign) not in strange)
    known = {
        "danger_signs": signs,
        "symptom": None if ("symptom", case.symptom) in strange else case.symptom,
        "context": {key: answer for key, answer in case.context.items() if ("context", key) not in strange},
        "done": tuple(step for step in case.done if ("done", step) not in strange),
        "lowered": tuple(step for step in case.lowered if ("lowered", step) not in strange),
    }
    return case.model_copy(update=known), tuple(text.split("; known are")[0] for _, _, text in over)


def check_case(case: Case, catalogue: Catalogue) -> None:
    """Refuse ids and outcomes that the catalogue does not know, naming the nearest that it does."""
    for strange in (_strange_signs, _strange_symptom, _strange_context, _strange_done, _strange_lowered):
        for _, _, text in strange(case, catalogue):
            raise CaseError(text)


def check_identity(case: Case, catalogue: Catalogue) -> None:
    """Refuse a case of another catalogue, and an identification that does not agree with itself."""
    if not catalogue.symptoms:
        raise CaseError("This catalogue has no fault model. Add the sections that `hoistlore catalogue check` names.")
    info = case.catalogue
    if info and (info.id, info.version) != (catalogue.pool.id, catalogue.pool.version):
        own = f"{catalogue.pool.id} {catalogue.pool.version}"
        raise CaseError(f"the case is of catalogue {info.id} {info.version}, this is {own}; start the case anew")
    thresholds = catalogue.decision
    generations = (*catalogue.generations_by_id, UNLISTED)
    _check_seen(case.control_box, generations, "generation", thresholds.control_box.ordering_threshold)
    _check_seen(case.actuator, CONCEPTS["lowering"], "lowering mechanism", thresholds.actuator.ordering_threshold)


Strange = tuple[str, object, str]
"""The case's field, what in it is not known, and the refusal in words."""


def _strange_signs(case: Case, catalogue: Catalogue) -> Iterator[Strange]:
    for sign in case.danger_signs or ():
        for text in _unknown(sign, catalogue.stop_signs_by_id, "danger sign"):
            yield "danger_signs", sign, text


def _strange_symptom(case: Case, catalogue: Catalogue) -> Iterator[Strange]:
    if case.symptom is not None:
        for text in _unknown(case.symptom, catalogue.symptoms_by_id, "symptom"):
            yield "symptom", case.symptom, text


def _strange_context(case: Case, catalogue: Catalogue) -> Iterator[Strange]:
    for context, answer in case.context.items():
        texts = _unknown(context, catalogue.contexts_by_id, "context")
        if not texts:
            options = (*catalogue.contexts_by_id[context].options, UNSURE)
            texts = _unknown(answer, options, f"answer to {context}")
        for text in texts:
            yield "context", context, text


def _strange_done(case: Case, catalogue: Catalogue) -> Iterator[Strange]:
    for step in case.done:
        outcomes: Sequence[str] = (WORKS, STILL)
        if step.id in catalogue.checks_by_id:
            outcomes = tuple(catalogue.findings_by_id[catalogue.checks_by_id[step.id].finding].outcomes)
        known = (*catalogue.checks_by_id, *catalogue.repairs_by_id)
        for text in _unknown_step(step, known, (*outcomes, UNSURE, SKIPPED), "check or repair"):
            yield "done", step, text


def _strange_lowered(case: Case, catalogue: Catalogue) -> Iterator[Strange]:
    known = [row.id for row in lowering_sentences(catalogue)]
    for step in case.lowered:
        own = known if step.id else [""]  # without an id: of no step in particular
        for text in _unknown_step(step, own, (DOWN, STILL, WORSE, UNSURE), "step of the way down"):
            yield "lowered", step, text


def _unknown_step(step: Done, known: Sequence[str], outcomes: Sequence[str], what: str) -> list[str]:
    return _unknown(step.id, known, what) or _unknown(step.outcome, outcomes, f"outcome of {step.id}")


def _check_seen(seen: Seen | None, known: Sequence[str], what: str, bar: float) -> None:
    for name in (*(seen.probabilities if seen else ()), *(seen.values if seen else ())):
        for text in _unknown(name, known, what):
            raise CaseError(text)
    total = sum(seen.probabilities.values()) if seen and seen.probabilities else 1.0
    if abs(total - 1.0) > ROUNDED:
        raise CaseError(f"probabilities of the {what} add up to {total:g}; want 1")
    if seen and seen.decision == "confirmed":
        _check_confirmed(seen, what, bar)


def _check_confirmed(seen: Seen, what: str, bar: float) -> None:
    """What is called confirmed must be so by its own set and probabilities: an action or a part may hang on it."""
    if len(seen.values) != 1:
        raise CaseError(
            f"a confirmed {what} has one value in its set, not {len(seen.values)}; send the answer as it is"
        )
    favourite = max(seen.probabilities, key=seen.probabilities.__getitem__, default=seen.values[0])
    if favourite != seen.values[0]:
        raise CaseError(
            f"the {what} is confirmed as {seen.values[0]!r}, but its probabilities say {favourite!r}; "
            "send the answer as it came, or identify the lift anew"
        )
    sure = seen.probabilities.get(favourite, 1.0)
    if sure < bar - ROUNDED:
        raise CaseError(
            f"the {what} is confirmed as {favourite!r} with a probability of {sure:g}, and this catalogue confirms "
            f"from {bar:g}; send the answer as it came, or identify the lift anew"
        )


def _unknown(given: str, known: Collection[str], what: str) -> list[str]:
    """The refusal of a name that is not known; empty for one that is."""
    if given in known:
        return []
    return [f"unknown {what} {given!r}{nearest(given, list(known))}; known are {', '.join(known)}"]
