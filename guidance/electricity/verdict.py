"""What battery readings say, with their uncertainty: never more than the instrument and the rest time allow.

A lift's pack is two lead-acid blocks of 12 V in series. Numbers and their sources stand in `numbers.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from classifier.messages import Message
from guidance.electricity.numbers import (
    BLOCKS_IN_PACK,
    CELLS_IN_BLOCK,
    CHARGED_LOW_PERCENT,
    END_V_PER_CELL_1_H,
    FAILED_TIMES_SOUND,
    FULL_TOO_SOON_H,
    HEAVIEST_LOAD_A,
    LONGEST_CHARGE_H,
    LOST_CELL_V,
    NEVER_FULL_H,
    NOMINAL_V_PER_CELL,
    REALISTIC_LOAD_A,
    REST_H,
    RESTED_V_AT_PERCENT,
    SOUND_PACK_MOHM,
    TESTABLE_LOW_PERCENT,
    TESTED_AT_C,
    UNEQUAL_BLOCKS_V,
    UNRESTED_V,
)
from guidance.electricity.physics import (
    Band,
    at_25_c,
    charge_band_percent,
    end_voltage_v,
    internal_resistance_mohm,
)
from guidance.electricity.readings import (
    AT_REST,
    RESTS_ON,
    UNDER_LOAD,
    Found,
    PackReadings,
    contradictions,
    refuse_impossible,
)
from guidance.electricity.under_load import realistic, telling, weigh_load

State = Literal["good", "low", "failed", "cannot_say"]
"""`low`: flat, to be charged before it is judged."""

SOUND = Band(*SOUND_PACK_MOHM)


@dataclass(frozen=True)
class BlockVerdict:
    """One block: its state, its charge as a band, and its own resistance where it was read under load."""

    state: State
    charge_percent: Band | None = None
    resistance_mohm: Band | None = None


@dataclass(frozen=True)
class Verdict:
    """`state` of the pack; its charge as a band; what speaks for it; what contradicts; what to read next.

    `resistance_mohm` is as measured; `found` is what the readings prove and no contradiction touches.
    """

    state: State
    charge_percent: Band | None
    resistance_mohm: Band | None
    because: tuple[str, ...]
    contradictions: tuple[str, ...]
    wants: tuple[str, ...]
    found: frozenset[Found] = frozenset()
    blocks: tuple[BlockVerdict, ...] = ()


def judge_pack(read: PackReadings, sound_mohm: Band = SOUND) -> Verdict:
    """The verdict on a pack of two blocks.

    "good" needs each block rested, a known meter, and the nominal voltage held under a realistic load with the
    resistance of a sound pack, `sound_mohm`. Raises `ReadingError` for what no instrument can show.
    """
    refuse_impossible(read)
    doubts = contradictions(read)
    in_doubt = {field for doubt in doubts for field in doubt.fields}
    because: list[str] = []
    charges = tuple(charge_band_percent(v, read.rest_hours, read.meter_error_percent) for v in read.blocks_v)
    found = _weigh_rest(read, charges, because)
    resistance = _weigh_resistance(read, in_doubt, because)
    found |= weigh_load(read, resistance, sound_mohm, because) - ({"load_sagged"} if not _testable(read) else set())
    found = {one for one in found if in_doubt.isdisjoint(RESTS_ON[one])}
    sound_habits = _weigh_habits(read, because)
    wants = _wants(read)
    charge = Band(min(c.low for c in charges), min(c.high for c in charges)) if charges else None
    blocks = _blocks(read, charges, found, in_doubt, sound_mohm, because)
    state = _state(read, found, blocks)
    if doubts or (state == "good" and (wants or not sound_habits)):
        state = "cannot_say"
    if state == "good":
        blocks = tuple(BlockVerdict("good", b.charge_percent, b.resistance_mohm) for b in blocks)
    texts = tuple(doubt.text for doubt in doubts)
    return Verdict(state, charge, resistance, tuple(because), texts, tuple(wants), frozenset(found), blocks)


def _testable(read: PackReadings) -> bool:
    """Whether there is charge enough in the weaker block, or in the pack as a whole, for a load test to fail it."""
    blocks = read.blocks_v or ((read.pack_v / BLOCKS_IN_PACK,) if read.pack_v is not None else (0.0,))
    charges = [charge_band_percent(v, read.rest_hours, read.meter_error_percent) for v in blocks]
    return min(charge.low for charge in charges) >= TESTABLE_LOW_PERCENT


def _wants(read: PackReadings) -> list[Message]:
    """What is missing before the pack can be called good."""
    wants = []
    if len(read.blocks_v) < BLOCKS_IN_PACK:
        wants.append(Message("the voltage of each block: one failed block hides in the voltage of the pack"))
    if read.rest_hours is None:
        wants.append(Message("how long the pack rested, off charge and without load"))
    elif not read.rested:
        wants.append(Message("a rest of {hours} hours, off charge and without load", hours=f"{REST_H:g}"))
    if read.meter_error_percent is None:
        wants.append(Message("the error of the meter, in per cent"))
    if read.loaded_pack_v is None or read.load_current_a is None:
        wants.append(
            Message("voltage and current under load, from the lift, lamps or a resistor: charge is not capacity")
        )
    elif not realistic(read.load_current_a):
        wants.append(
            Message("a load test at {least} to {most} A", least=f"{REALISTIC_LOAD_A:g}", most=f"{HEAVIEST_LOAD_A:g}")
        )
    if read.temperature_c is not None and not TESTED_AT_C[0] <= read.temperature_c <= TESTED_AT_C[1]:
        wants.append(
            Message(
                "the same with the pack at {least} to {most} °C",
                least=f"{TESTED_AT_C[0]:g}",
                most=f"{TESTED_AT_C[1]:g}",
            )
        )
    return wants


def _weigh_rest(read: PackReadings, charges: tuple[Band, ...], because: list[str]) -> set[Found]:
    if not read.blocks_v:
        if read.pack_v is not None:
            because.append(
                Message("{volts} V for the pack alone says nothing of the weaker block", volts=f"{read.pack_v:.2f}")
            )
        return set()
    weakest, strongest = min(read.blocks_v), max(read.blocks_v)
    low_v = RESTED_V_AT_PERCENT[25] - (0.0 if read.rested else UNRESTED_V)
    because.append(Message("blocks read {voltages}", voltages=", ".join(f"{v:.2f} V" for v in read.blocks_v)))
    apart = strongest - weakest > UNEQUAL_BLOCKS_V + read.error * (strongest + weakest)
    if strongest * (1 + read.error) < low_v:
        because.append(Message("both blocks are low: charge them before judging them"))
        if apart:
            because.append(
                Message(
                    "the blocks differ by {volts} V: compare them again once charged",
                    volts=f"{strongest - weakest:.2f}",
                )
            )
        return {"blocks_low"}
    if apart and weakest * (1 + read.error) < low_v:
        because.append(
            Message(
                "the blocks differ by {volts} V: the weaker one has failed or is failing",
                volts=f"{strongest - weakest:.2f}",
            )
        )
        return {"one_block_low"}
    return {"blocks_high"} if min(band.low for band in charges) >= CHARGED_LOW_PERCENT else set()


def _weigh_resistance(read: PackReadings, in_doubt: set[str], because: list[str]) -> Band | None:
    rested, loaded = read.rested_pack_v, read.loaded_pack_v
    current_a = read.load_current_a
    if rested is None or loaded is None or current_a is None or not telling(current_a):
        return None
    if not in_doubt.isdisjoint((*AT_REST, *UNDER_LOAD)):
        return None
    band = internal_resistance_mohm(rested, loaded, current_a, 100 * read.error, 100 * read.error)
    sag_v = rested - loaded
    because.append(
        Message(
            "sag of {volts} V at {current} A: {low} to {high} milliohm",
            volts=f"{sag_v:.2f}",
            current=f"{read.load_current_a:g}",
            low=f"{band.low:.0f}",
            high=f"{band.high:.0f}",
        )
    )
    return band


def _weigh_habits(read: PackReadings, because: list[str]) -> bool:
    """What charger, gauge and beeper say; false when one of them speaks against the pack."""
    hours, sound = read.charge_hours, True
    if hours is not None and 0 < hours < FULL_TOO_SOON_H:
        because.append(
            Message("full after {hours} h: a flat pack that fills so soon has lost capacity", hours=f"{hours:g}")
        )
        sound = False
    if hours is not None and NEVER_FULL_H < hours <= LONGEST_CHARGE_H:
        because.append(Message("not full after {hours} h: pack or charger is at fault", hours=f"{hours:g}"))
        sound = False
    if read.gauge_bars_percent is not None:
        because.append(Message("the gauge's bars do not prove that the pack holds its voltage under load"))
    if read.beeps_under_load:
        because.append(Message("beeps under load: the voltage drops when the motor pulls"))
        sound = False
    return sound


def _blocks(
    read: PackReadings,
    charges: tuple[Band, ...],
    found: set[Found],
    in_doubt: set[str],
    sound: Band,
    because: list[str],
) -> tuple[BlockVerdict, ...]:
    """Each block by itself. Without blocks there is none; with readings in doubt none can be judged."""
    verdicts = []
    for number, (volts, charge) in enumerate(zip(read.blocks_v, charges, strict=True), 1):
        trusted = in_doubt.isdisjoint((*AT_REST, *UNDER_LOAD))
        loaded = read.loaded_blocks_v[number - 1] if read.loaded_blocks_v and trusted else None
        resistance = None
        if loaded is not None and read.load_current_a is not None and telling(read.load_current_a):
            error = 100 * read.error
            resistance = internal_resistance_mohm(volts, loaded, read.load_current_a, error, error)
        state: State = "cannot_say"
        if in_doubt.isdisjoint(AT_REST):
            state = _block_at_rest(read, volts, found)
        if state == "cannot_say" and loaded is not None and resistance is not None:
            state = _block_under_load(read, loaded, charge, at_25_c(resistance, read.temperature_c), sound)
        if state == "failed":
            because.append(Message("block {number} has failed", number=number))
        verdicts.append(BlockVerdict(state, charge, resistance))
    return tuple(verdicts)


def _block_at_rest(read: PackReadings, volts: float, found: set[Found]) -> State:
    """A block far under the other has lost a cell; one that is as low as the other wants charge."""
    if "blocks_low" in found:
        return "low"
    if "one_block_low" not in found or volts > min(read.blocks_v):
        return "cannot_say"
    dead = volts * (1 + read.error) < end_voltage_v(CELLS_IN_BLOCK)
    apart = max(read.blocks_v) - volts > LOST_CELL_V + read.error * (max(read.blocks_v) + volts)
    return "failed" if dead or apart else "low"


def _block_under_load(read: PackReadings, loaded_v: float, charge: Band, resistance: Band, sound: Band) -> State:
    """A charged block that gives way has failed; one that holds its nominal voltage at a sound resistance is good."""
    most_mohm = sound.high / BLOCKS_IN_PACK
    gives_way = loaded_v * (1 + read.error) < end_voltage_v(CELLS_IN_BLOCK, END_V_PER_CELL_1_H)
    if charge.low >= TESTABLE_LOW_PERCENT and (gives_way or resistance.low > FAILED_TIMES_SOUND * most_mohm):
        return "failed"
    held = loaded_v * (1 - read.error) >= end_voltage_v(CELLS_IN_BLOCK, NOMINAL_V_PER_CELL)
    sound_one = resistance.low > 0 and resistance.high <= most_mohm
    charged = charge.low >= CHARGED_LOW_PERCENT
    return "good" if held and sound_one and charged and realistic(read.load_current_a) else "cannot_say"


def _state(read: PackReadings, found: set[Found], blocks: tuple[BlockVerdict, ...]) -> State:
    """Of the pack, before what is wanted or contradicted is looked at."""
    states = {block.state for block in blocks}
    if "failed" in states:
        return "failed"
    if "load_sagged" in found:
        return "failed"
    if "low" in states or (read.beeps_under_load and "load_held" not in found):
        return "low"
    if not {"blocks_high", "load_held"} <= found:
        return "cannot_say"
    return "good" if not read.loaded_blocks_v or states == {"good"} else "cannot_say"
