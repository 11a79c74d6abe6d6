"""Meter readings in the order of the case: what they prove, when, and whether something was done to the pack since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from classifier.errors import CaseError
from classifier.messages import Message
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import PackElectrics
from guidance.documents.case import SKIPPED, BlockOut, Case, Done, VerdictOut
from guidance.electricity.physics import Band, capacity_share, health_by_resistance, lifts_left, usable_percent
from guidance.electricity.readings import PackReadings, refuse_impossible
from guidance.electricity.verdict import SOUND, BlockVerdict, Verdict, judge_pack


@dataclass(frozen=True)
class Measurement:
    """Readings that hold together, judged; `after_steps` of `done` came before the last of them.

    `outdated`: a repair since then can have changed the pack or its charge.
    """

    read: PackReadings
    after_steps: int
    verdict: Verdict
    outdated: bool


def measured(case: Case, catalogue: Catalogue) -> tuple[Measurement, ...]:
    """One measurement for each stretch of the case without a repair of the pack, in order.

    Raises `ReadingError` for what no instrument can show, `CaseError` for a place that the case does not have.
    """
    given = case.readings if isinstance(case.readings, tuple) else (case.readings,) if case.readings else ()
    stretches: dict[int, tuple[PackReadings, int]] = {}
    before = 0
    for read in given:
        refuse_impossible(read)
        after = len(case.done) if read.after_steps is None else read.after_steps
        if not before <= after <= len(case.done):
            raise CaseError(
                Message(
                    "readings after {after} steps: the case has {done}, and readings before these came after {before}; "
                    "send them in the order of taking",
                    after=after,
                    done=len(case.done),
                    before=before,
                )
            )
        before = after
        stretch = sum(_changes_pack(step, catalogue) for step in case.done[:after])
        earlier = stretches.get(stretch)
        stretches[stretch] = (read.with_earlier(earlier[0]) if earlier else read, after)
    last = sum(_changes_pack(step, catalogue) for step in case.done)
    pack = catalogue.pack_electrics
    judge = partial(judge_pack, sound_mohm=Band(*pack.resistance_mohm) if pack else SOUND)
    return tuple(
        Measurement(read, after, judge(read), stretch < last) for stretch, (read, after) in sorted(stretches.items())
    )


def electric_findings(measurements: Sequence[Measurement], catalogue: Catalogue) -> dict[int, dict[str, str]]:
    """The outcome of each finding that the readings prove, by how many steps came before."""
    by_place: dict[int, dict[str, str]] = {}
    for one in measurements:
        outcomes = by_place.setdefault(one.after_steps, {})
        for row in catalogue.findings:
            proven = [outcome for found, outcome in row.by_meter.items() if found in one.verdict.found]
            if proven:
                outcomes[row.id] = proven[0]
    return by_place


def verdict_out(one: Measurement, catalogue: Catalogue, context: Mapping[str, str]) -> VerdictOut:
    """The last measurement as the document gives it; one that is outdated judges nothing."""
    verdict = one.verdict
    if one.outdated:
        return VerdictOut(
            state="cannot_say",
            charge_percent=None,
            resistance_mohm=None,
            lifts_left=None,
            because=(Message("the battery or its charging was worked on after these readings"),),
            contradictions=(),
            wants=(Message("new readings"),),
            after_steps=one.after_steps,
            outdated=True,
            read=one.read,
        )
    left = None
    if catalogue.pack_electrics is not None and verdict.state != "failed" and not verdict.contradictions:
        left = _lifts_left(one, catalogue.pack_electrics, context)
    return VerdictOut(
        state=verdict.state,
        charge_percent=_span(verdict.charge_percent),
        resistance_mohm=_span(verdict.resistance_mohm),
        lifts_left=_span(left),
        because=verdict.because,
        contradictions=verdict.contradictions,
        wants=verdict.wants,
        blocks=tuple(map(_block_out, verdict.blocks)),
        after_steps=one.after_steps,
        read=one.read,
    )


def _changes_pack(step: Done, catalogue: Catalogue) -> bool:
    """Whether a step is a repair of something that the meter readings depend on, and not only ends it by the way."""
    repair = catalogue.repairs_by_id.get(step.id)
    if repair is None or step.outcome == SKIPPED:
        return False
    read = {fault for row in catalogue.findings if row.by_meter for fault in row.effects}
    own = (repair.component,) if repair.component else tuple(catalogue.components_by_id)
    return any(fault in read and catalogue.faults_by_id[fault].component in own for fault in repair.mends)


def _lifts_left(one: Measurement, pack: PackElectrics, context: Mapping[str, str]) -> Band | None:
    """By charge, age, temperature and, where it was measured, the pack's own resistance."""
    charge, resistance = one.verdict.charge_percent, one.verdict.resistance_mohm
    if charge is None:
        return None
    health = Band(*pack.health_by_age.get(context.get(pack.age or "", ""), pack.health_percent))
    sound, current = Band(*pack.resistance_mohm), Band(*pack.lifting_current_a)
    if resistance is not None:
        health = health_by_resistance(health, resistance, sound)
    charge = usable_percent(charge, resistance or sound, current)
    share = capacity_share(one.read.temperature_c)
    health = Band(health.low * share.low, health.high * share.high)
    exponent, seconds = Band(*pack.peukert_exponent), Band(*pack.seconds_per_lift)
    return lifts_left(pack.capacity_ah, pack.rated_hours, exponent, charge, health, current, seconds)


def _block_out(block: BlockVerdict) -> BlockOut:
    return BlockOut(
        state=block.state, charge_percent=_span(block.charge_percent), resistance_mohm=_span(block.resistance_mohm)
    )


def _span(band: Band | None) -> tuple[float, float] | None:
    return None if band is None else (band.low, band.high)
