"""What battery readings say, with their uncertainty: never more than the instrument and the rest time allow.

A lift's pack is two lead-acid blocks of 12 V in series. Voltages are in volts, currents in amperes, times in hours,
errors in per cent of the reading. Numbers and their sources stand in `electric_numbers.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool

from classifier.errors import ReadingError
from guidance.electricity.numbers import (
    AGM_ABOVE_FLOODED_V,
    BLOCKS_IN_PACK,
    CELLS_IN_BLOCK,
    CHARGED_LOW_PERCENT,
    END_V_PER_CELL_1_H,
    END_V_PER_CELL_20_H,
    FULL_TOO_SOON_H,
    HIGHEST_CURRENT_A,
    HIGHEST_V_PER_CELL,
    NEVER_FULL_H,
    REST_H,
    RESTED_V_AT_PERCENT,
    SMALLEST_LOAD_A,
    UNEQUAL_BLOCKS_V,
)

State = Literal["good", "low", "failed", "cannot_say"]


Number = Annotated[float, Field(strict=True)]
"""A number as such: neither text nor yes and no are taken for one."""


@dataclass(frozen=True)
class Band:
    """From `low` to `high`, both included."""

    low: float
    high: float


class PackReadings(BaseModel):
    """What was read; None where it was not. `blocks_v` and `pack_v` without load, `loaded_v` while the lift raises."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    blocks_v: tuple[Number, ...] = ()
    pack_v: Number | None = None
    rest_hours: Number | None = None
    meter_error_percent: Number | None = None
    loaded_v: Number | None = None
    load_current_a: Number | None = None
    charge_hours: Number | None = None
    gauge_bars_percent: Number | None = None
    beeps_under_load: StrictBool | None = None


@dataclass(frozen=True)
class Verdict:
    """`state` of the pack; its charge as a band; what speaks for it; what contradicts; what to read next."""

    state: State
    charge_percent: Band | None
    resistance_mohm: Band | None
    because: tuple[str, ...]
    contradictions: tuple[str, ...]
    wants: tuple[str, ...]
    findings: dict[str, str] = field(default_factory=dict)


def judge_pack(read: PackReadings) -> Verdict:
    """The verdict on a pack of two blocks. "good" needs each block rested, a known meter and a load test."""
    _refuse_impossible(read)
    because: list[str] = []
    contradictions = _contradictions(read)
    wants = _wants(read)
    findings: dict[str, str] = {}
    charge = _pack_charge(read, because, findings)
    resistance = _resistance(read, because)
    _weigh_load(read, because, findings)
    _weigh_habits(read, because)
    state = _state(read, charge, findings, contradictions, wants)
    return Verdict(state, charge, resistance, tuple(because), tuple(contradictions), tuple(wants), findings)


def charge_band_percent(block_v: float, rest_hours: float | None, meter_error_percent: float | None) -> Band:
    """State of charge of one block from its rested voltage, as a band.

    The lists disagree by what separates flooded from AGM, so the band runs from one to the other; a meter error widens
    it; without a known rest or meter it is everything.
    """
    if rest_hours is None or meter_error_percent is None or rest_hours < REST_H:
        return Band(0.0, 100.0)
    spread_v = block_v * meter_error_percent / 100
    return Band(_percent_at(block_v - spread_v - AGM_ABOVE_FLOODED_V), _percent_at(block_v + spread_v))


def series_v(blocks_v: tuple[float, ...]) -> float:
    """Voltage of blocks in series."""
    return math.fsum(blocks_v)


def end_voltage_v(cells: int, per_cell_v: float = END_V_PER_CELL_20_H) -> float:
    """The voltage at which a discharge ends."""
    return cells * per_cell_v


def internal_resistance_mohm(
    rested_v: float,
    loaded_v: float,
    current_a: float,
    voltage_error_percent: float = 0.0,
    current_error_percent: float = 0.0,
) -> Band:
    """Ohm's law on the sag, R = (V0 - V) / I; errors at their worst, in opposite directions."""
    if not current_a > 0:
        raise ReadingError(f"load current {current_a:g} A: want more than 0 A, read while the lift raises")
    sag_v = rested_v - loaded_v
    spread_v = (rested_v + loaded_v) * voltage_error_percent / 100
    least_a, most_a = (current_a * (1 + sign * current_error_percent / 100) for sign in (-1, 1))
    return Band(max(0.0, 1000 * (sag_v - spread_v) / most_a), 1000 * (sag_v + spread_v) / least_a)


def peukert_hours(capacity_ah: float, rated_hours: float, exponent: float, current_a: float) -> float:
    """Hours until empty at a constant current: t = H (C / (I H))^n, with the capacity at its rated hour rate."""
    for name, value in (("capacity", capacity_ah), ("rated hours", rated_hours), ("current", current_a)):
        if not value > 0:
            raise ReadingError(f"{name} {value:g}: want more than 0")
    if exponent < 1:
        raise ReadingError(f"Peukert exponent {exponent:g}: want 1 or more")
    return rated_hours * (capacity_ah / (current_a * rated_hours)) ** exponent


def lifts_left(
    capacity_ah: float,
    rated_hours: float,
    exponent: Band,
    charge_percent: Band,
    health_percent: Band,
    current_a: Band,
    seconds_per_lift: Band,
) -> Band:
    """How many raises a charge still holds, as an interval of whole lifts: worst case with worst case."""
    counts = []
    for charge, health, n, current, seconds in (
        (charge_percent.low, health_percent.low, exponent.high, current_a.high, seconds_per_lift.high),
        (charge_percent.high, health_percent.high, exponent.low, current_a.low, seconds_per_lift.low),
    ):
        hours = peukert_hours(capacity_ah * max(health, 1e-9) / 100, rated_hours, n, current) * charge / 100
        counts.append(hours * 3600 / seconds)
    return Band(float(math.floor(counts[0] + 1e-9)), float(math.floor(counts[1] + 1e-9)))


def _refuse_impossible(read: PackReadings) -> None:
    block_limit_v = CELLS_IN_BLOCK * HIGHEST_V_PER_CELL
    pack_limit_v = BLOCKS_IN_PACK * block_limit_v
    limits = [
        *((f"block {number} voltage", value, block_limit_v, "V") for number, value in enumerate(read.blocks_v, 1)),
        ("pack voltage", read.pack_v, pack_limit_v, "V"),
        ("voltage under load", read.loaded_v, pack_limit_v, "V"),
        ("load current", read.load_current_a, HIGHEST_CURRENT_A, "A"),
        ("rest time", read.rest_hours, 24.0 * 365, "h"),
        ("charge time", read.charge_hours, 24.0 * 365, "h"),
        ("meter error", read.meter_error_percent, 20.0, "%"),
        ("gauge", read.gauge_bars_percent, 100.0, "%"),
    ]
    for name, value, limit, unit in limits:
        if value is not None and not 0 <= value <= limit:
            raise ReadingError(f"{name}: got {value:g} {unit}, possible is 0 to {limit:g} {unit}; read it again")
    if len(read.blocks_v) not in (0, BLOCKS_IN_PACK):
        raise ReadingError(f"block voltages: got {len(read.blocks_v)}, want {BLOCKS_IN_PACK}, one for each block")


def _contradictions(read: PackReadings) -> list[str]:
    """Readings that cannot all be true; they are named, and never averaged."""
    found = []
    error = (read.meter_error_percent if read.meter_error_percent is not None else 1.0) / 100
    if read.blocks_v and read.pack_v is not None:
        total = series_v(read.blocks_v)
        if abs(total - read.pack_v) > error * (total + read.pack_v) + 0.1:
            found.append(f"the blocks add up to {total:.2f} V, but the pack was read as {read.pack_v:.2f} V")
    rested = _rested_pack_v(read)
    if rested is not None and read.loaded_v is not None and read.loaded_v > rested + error * (rested + read.loaded_v):
        found.append(f"{read.loaded_v:.2f} V under load is more than {rested:.2f} V without load")
    return found


def _wants(read: PackReadings) -> list[str]:
    """What is missing before the pack can be called good."""
    wants = []
    if len(read.blocks_v) < BLOCKS_IN_PACK:
        wants.append("the voltage of each block: one failed block hides in the voltage of the pack")
    if read.rest_hours is None:
        wants.append("how long the pack rested, off charge and without load")
    elif read.rest_hours < REST_H:
        wants.append(f"a rest of {REST_H:g} hours, off charge and without load")
    if read.meter_error_percent is None:
        wants.append("the error of the meter, in per cent")
    if read.loaded_v is None or read.load_current_a is None:
        wants.append("voltage and current while the lift raises: charge is not capacity")
    elif read.load_current_a < SMALLEST_LOAD_A:
        wants.append(f"a load test at {SMALLEST_LOAD_A:g} A or more")
    return wants


def _pack_charge(read: PackReadings, because: list[str], findings: dict[str, str]) -> Band | None:
    if not read.blocks_v:
        if read.pack_v is not None:
            because.append(f"{read.pack_v:.2f} V for the pack alone says nothing of the weaker block")
        return None
    bands = [charge_band_percent(v, read.rest_hours, read.meter_error_percent) for v in read.blocks_v]
    error = (read.meter_error_percent if read.meter_error_percent is not None else 1.0) / 100
    weakest, strongest = min(read.blocks_v), max(read.blocks_v)
    end_v = end_voltage_v(CELLS_IN_BLOCK)
    because.append(f"blocks read {', '.join(f'{v:.2f} V' for v in read.blocks_v)}")
    apart = strongest - weakest > UNEQUAL_BLOCKS_V + error * (strongest + weakest)
    if apart and weakest * (1 + error) < RESTED_V_AT_PERCENT[25]:
        findings["block_voltages"] = "one_low"
        because.append(f"the blocks differ by {strongest - weakest:.2f} V: the weaker one has failed or is failing")
    elif strongest * (1 + error) < RESTED_V_AT_PERCENT[25]:
        findings["block_voltages"] = "both_low"
        because.append("both blocks are low: charge them before judging them")
    elif min(band.low for band in bands) >= CHARGED_LOW_PERCENT:
        findings["block_voltages"] = "both_high"
    if weakest * (1 + error) < end_v:
        because.append(f"{weakest:.2f} V at rest is under the end voltage of a block, {end_v:.1f} V")
    return Band(min(band.low for band in bands), min(band.high for band in bands))


def _resistance(read: PackReadings, because: list[str]) -> Band | None:
    rested = _rested_pack_v(read)
    if rested is None or read.loaded_v is None or not read.load_current_a:
        return None
    error = read.meter_error_percent if read.meter_error_percent is not None else 1.0
    band = internal_resistance_mohm(rested, read.loaded_v, read.load_current_a, error, error)
    sag_v = rested - read.loaded_v
    because.append(f"sag of {sag_v:.2f} V at {read.load_current_a:g} A: {band.low:.0f} to {band.high:.0f} milliohm")
    return band


def _weigh_load(read: PackReadings, because: list[str], findings: dict[str, str]) -> None:
    if read.loaded_v is None:
        return
    error = (read.meter_error_percent if read.meter_error_percent is not None else 1.0) / 100
    cells = BLOCKS_IN_PACK * CELLS_IN_BLOCK
    holds_v, fails_v = end_voltage_v(cells), end_voltage_v(cells, END_V_PER_CELL_1_H)
    known = read.meter_error_percent is not None
    strong = read.load_current_a is not None and read.load_current_a >= SMALLEST_LOAD_A
    if read.loaded_v * (1 + error) < fails_v:
        findings["load_test"] = "sags"
        because.append(f"{read.loaded_v:.2f} V under load is under {fails_v:.1f} V, the end of a one-hour discharge")
    elif read.loaded_v * (1 - error) >= holds_v and strong and known:
        findings["load_test"] = "holds"
        because.append(f"{read.loaded_v:.2f} V under load stays above {holds_v:.1f} V")
    else:
        because.append(f"{read.loaded_v:.2f} V under load settles nothing with this load and meter")


def _weigh_habits(read: PackReadings, because: list[str]) -> None:
    if read.charge_hours is not None and read.charge_hours < FULL_TOO_SOON_H:
        because.append(f"full after {read.charge_hours:g} h: a flat pack that fills so soon has lost capacity")
    if read.charge_hours is not None and read.charge_hours > NEVER_FULL_H:
        because.append(f"not full after {read.charge_hours:g} h: pack or charger is at fault")
    if read.gauge_bars_percent is not None:
        because.append("the gauge's bars do not prove that the pack holds its voltage under load")
    if read.beeps_under_load:
        because.append("beeps under load: the voltage drops when the motor pulls")


def _state(
    read: PackReadings, charge: Band | None, findings: dict[str, str], contradictions: list[str], wants: list[str]
) -> State:
    if contradictions:
        return "cannot_say"
    if findings.get("load_test") == "sags" or findings.get("block_voltages") == "one_low":
        return "failed"
    if findings.get("block_voltages") == "both_low" or read.beeps_under_load:
        return "low"
    charged = charge is not None and charge.low >= CHARGED_LOW_PERCENT
    return "good" if charged and not wants and findings.get("load_test") == "holds" else "cannot_say"


def _rested_pack_v(read: PackReadings) -> float | None:
    return series_v(read.blocks_v) if read.blocks_v else read.pack_v


def _percent_at(block_v: float) -> float:
    """Charge on the flooded list, held at 0 and 100 outside it."""
    points = sorted(RESTED_V_AT_PERCENT.items(), key=lambda point: point[1])
    if block_v <= points[0][1]:
        return 0.0
    for (percent_a, v_a), (percent_b, v_b) in zip(points, points[1:], strict=False):
        if block_v <= v_b:
            return percent_a + (percent_b - percent_a) * (block_v - v_a) / (v_b - v_a)
    return 100.0
