"""Lead-acid blocks in figures: charge from voltage, resistance from sag, run time, lifts left; as worst cases."""

from __future__ import annotations

import math
from dataclasses import dataclass

from classifier.errors import ReadingError
from classifier.messages import Message
from guidance.electricity.numbers import (
    AGM_ABOVE_FLOODED_V,
    BLOCKS_IN_PACK,
    CAPACITY_PER_C,
    CELLS_IN_BLOCK,
    END_V_PER_CELL_20_H,
    RESISTANCE_PER_C,
    REST_H,
    RESTED_V_AT_PERCENT,
)

CAPACITY_RATED_AT_C = 20.0
RESISTANCE_RATED_AT_C = 25.0


@dataclass(frozen=True)
class Band:
    """From `low` to `high`, both included."""

    low: float
    high: float


def charge_band_percent(block_v: float, rest_hours: float | None, meter_error_percent: float | None) -> Band:
    """State of charge of one block from its rested voltage, as a band.

    The lists disagree by what separates flooded from AGM, so the band runs from one to the other; a meter error widens
    it; without a known rest or meter it is everything. Temperature matters less than the lists differ.
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
    """Ohm's law on the sag, R = (V0 - V) / I; errors at their worst, in opposite directions. Never negative.

    Raises `ReadingError` when the voltage rises under load by more than the meter's error.
    """
    if not current_a > 0:
        raise ReadingError(
            Message(
                "load current {current} A: want more than 0 A, read while the lift raises", current=f"{current_a:g}"
            ),
            ("load_current_a", 0),
        )
    sag_v = rested_v - loaded_v
    spread_v = (abs(rested_v) + abs(loaded_v)) * voltage_error_percent / 100
    if sag_v + spread_v < -1e-9:
        raise ReadingError(
            Message(
                "{loaded} V under load is more than {rested} V without load; read both again",
                loaded=f"{loaded_v:.2f}",
                rested=f"{rested_v:.2f}",
            ),
            ("loaded_v", 0),
        )
    least_a, most_a = (current_a * (1 + sign * current_error_percent / 100) for sign in (-1, 1))
    return Band(max(0.0, 1000 * (sag_v - spread_v) / most_a), max(0.0, 1000 * (sag_v + spread_v) / least_a))


def at_25_c(resistance_mohm: Band, temperature_c: float | None) -> Band:
    """The resistance that the same pack would have at 25 °C; as it is where it was warmer or nobody knows."""
    cold_c = 0.0 if temperature_c is None else max(0.0, RESISTANCE_RATED_AT_C - temperature_c)
    rise = 1 + RESISTANCE_PER_C * cold_c
    return Band(resistance_mohm.low / rise, resistance_mohm.high / rise)


def capacity_share(temperature_c: float | None) -> Band:
    """What the cold leaves of the capacity, between a fast and a slow discharge."""
    cold_c = 0.0 if temperature_c is None else max(0.0, CAPACITY_RATED_AT_C - temperature_c)
    slow, fast = (max(0.0, 1 - per_c * cold_c) for per_c in CAPACITY_PER_C)
    return Band(fast, slow)


def peukert_hours(capacity_ah: float, rated_hours: float, exponent: float, current_a: float) -> float:
    """Hours until empty at a constant current: t = H (C / (I H))^n, with the capacity at its rated hour rate."""
    for name, value in (
        (Message("capacity"), capacity_ah),
        (Message("rated hours"), rated_hours),
        (Message("current"), current_a),
    ):
        if not value > 0:
            raise ReadingError(Message("{name} {value}: want more than 0", name=name, value=f"{value:g}"))
    if exponent < 1:
        raise ReadingError(Message("Peukert exponent {exponent}: want 1 or more", exponent=f"{exponent:g}"))
    return rated_hours * (capacity_ah / (current_a * rated_hours)) ** exponent


def usable_percent(charge_percent: Band, resistance_mohm: Band, current_a: Band) -> Band:
    """How much of a charge can be drawn before the sag at this current takes the pack to its end voltage.

    A pack at rest stands at V0(charge); it lifts while V0 - I R stays above the end voltage.
    """
    end_v = end_voltage_v(BLOCKS_IN_PACK * CELLS_IN_BLOCK)
    left = []
    for charge, mohm, amperes, higher_v in (
        (charge_percent.low, resistance_mohm.high, current_a.high, 0.0),
        (charge_percent.high, resistance_mohm.low, current_a.low, AGM_ABOVE_FLOODED_V),
    ):
        needed_v = (end_v + amperes * mohm / 1000) / BLOCKS_IN_PACK - higher_v
        beyond = needed_v > max(RESTED_V_AT_PERCENT.values())
        left.append(0.0 if beyond else max(0.0, charge - _percent_at(needed_v)))
    return Band(left[0], max(left))


def health_by_resistance(health_percent: Band, measured_mohm: Band, sound_mohm: Band) -> Band:
    """What age and resistance leave of the capacity: it falls as the conductance does (from memory)."""
    most = 100 * sound_mohm.high / measured_mohm.low if measured_mohm.low > sound_mohm.high else 100.0
    return Band(min(health_percent.low, most), min(health_percent.high, most))


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


def _percent_at(block_v: float) -> float:
    """Charge on the flooded list, held at 0 and 100 outside it."""
    points = sorted(RESTED_V_AT_PERCENT.items(), key=lambda point: point[1])
    if block_v <= points[0][1]:
        return 0.0
    for (percent_a, v_a), (percent_b, v_b) in zip(points, points[1:], strict=False):
        if block_v <= v_b:
            return percent_a + (percent_b - percent_a) * (block_v - v_a) / (v_b - v_a)
    return 100.0
