"""What the pack's voltage under load proves: that it holds it, that it sags, or nothing."""

from __future__ import annotations

from classifier.messages import Message
from guidance.electricity.numbers import (
    BLOCKS_IN_PACK,
    CELLS_IN_BLOCK,
    END_V_PER_CELL_1_H,
    FAILED_TIMES_SOUND,
    HEAVIEST_LOAD_A,
    NOMINAL_V_PER_CELL,
    REALISTIC_LOAD_A,
    SMALLEST_LOAD_A,
)
from guidance.electricity.physics import Band, at_25_c, end_voltage_v
from guidance.electricity.readings import Found, PackReadings


def realistic(current_a: float | None) -> bool:
    """Whether a load is like that of a lift that raises a person."""
    return current_a is not None and REALISTIC_LOAD_A <= current_a <= HEAVIEST_LOAD_A


def telling(current_a: float | None) -> bool:
    """Whether a load makes a sag that says something of the pack."""
    return current_a is not None and SMALLEST_LOAD_A <= current_a <= HEAVIEST_LOAD_A


def weigh_load(read: PackReadings, resistance: Band | None, sound: Band, because: list[str]) -> set[Found]:
    loaded = read.loaded_pack_v
    if loaded is None:
        return set()
    if not telling(read.load_current_a):
        because.append(
            Message("{loaded} V under load says nothing without a current like that of a lift", loaded=f"{loaded:.2f}")
        )
        return set()
    corrected = None if resistance is None else at_25_c(resistance, read.temperature_c)
    return _sagged(read, loaded, corrected, sound, because) or _held(read, loaded, corrected, sound, because)


def _sagged(read: PackReadings, loaded: float, corrected: Band | None, sound: Band, because: list[str]) -> set[Found]:
    """Under load the pack falls below what any sound one keeps, or resists more than any does."""
    fails_v = end_voltage_v(BLOCKS_IN_PACK * CELLS_IN_BLOCK, END_V_PER_CELL_1_H)
    if loaded * (1 + read.error) < fails_v:
        because.append(
            Message(
                "{loaded} V under load is under {limit} V, the end of a one-hour discharge",
                loaded=f"{loaded:.2f}",
                limit=f"{fails_v:.1f}",
            )
        )
        return {"load_sagged"}
    if corrected is not None and corrected.low > FAILED_TIMES_SOUND * sound.high:
        because.append(
            Message(
                "{low} milliohm at least: a sound pack has up to {high}; look at its contacts too",
                low=f"{corrected.low:.0f}",
                high=f"{sound.high:.0f}",
            )
        )
        return {"load_sagged"}
    return set()


def _held(read: PackReadings, loaded: float, corrected: Band | None, sound: Band, because: list[str]) -> set[Found]:
    """Under a load like a lift's the pack holds its nominal voltage, with a resistance that a sound one can have."""
    holds_v = end_voltage_v(BLOCKS_IN_PACK * CELLS_IN_BLOCK, NOMINAL_V_PER_CELL)
    plausible = corrected is None or (corrected.low > 0 and sound.low <= corrected.high <= sound.high)
    held = loaded * (1 - read.error) >= holds_v and read.meter_error_percent is not None
    if held and plausible and realistic(read.load_current_a):
        because.append(
            Message("{loaded} V under load stays above {limit} V", loaded=f"{loaded:.2f}", limit=f"{holds_v:.1f}")
        )
        return {"load_held"}
    if held and not plausible:
        because.append(
            Message(
                "the resistance is not that of a sound pack, {low} to {high} milliohm",
                low=f"{sound.low:.0f}",
                high=f"{sound.high:.0f}",
            )
        )
    because.append(Message("{loaded} V under load settles nothing with this load and meter", loaded=f"{loaded:.2f}"))
    return set()
