"""The numbers behind the verdict on a battery, each with its source."""

from typing import Final

CELLS_IN_BLOCK: Final = 6
"""A block of 12 V has six lead-acid cells of nominally 2 V (textbooks, from memory)."""

BLOCKS_IN_PACK: Final = 2
"""A lift of 24 V has two blocks in series (common practice, no source)."""

NOMINAL_V_PER_CELL: Final = 2.0
"""A pack is good when it holds its nominal voltage under a realistic load (common practice, no source)."""

RESTED_V_AT_PERCENT: Final[dict[int, float]] = {100: 12.65, 75: 12.45, 50: 12.24, 25: 12.06, 0: 11.89}
"""Rested voltage of a flooded 12 V block against charge (handbooks, from memory; other lists differ by 0.1–0.2 V)."""

AGM_ABOVE_FLOODED_V: Final = 0.2
"""Sealed AGM blocks rest 0.1–0.2 V higher (handbooks, from memory); the larger figure gives the wider band."""

HIGHEST_RESTED_V: Final = 13.3
"""No block rests above 2.2 V a cell; more is a charging voltage or its surface charge (from memory, rounded up)."""

REST_H: Final = 6.0
"""A voltage says nothing of charge before six hours without charge or load (vehicle-battery pages; some say 8–24 h)."""

UNRESTED_V: Final = 0.3
"""A block that has just been under load may still come up by so much (common practice, no source)."""

END_V_PER_CELL_20_H: Final = 1.75
"""End of discharge at the 20-hour rate (IEC 61056-1, from memory)."""

END_V_PER_CELL_1_H: Final = 1.60
"""End of discharge at the one-hour rate (IEC 61056-1, from memory)."""

HIGHEST_V_PER_CELL: Final = 2.6
"""No charger that fits drives a cell higher than about this (charging practice, from memory); above is a misreading."""

REVERSED_BLOCK_V: Final = -6.0
"""Under load a failed block can be driven backwards, hardly further than this (common practice, no source)."""

HIGHEST_CURRENT_A: Final = 60.0
"""More than a lift's fuse would let through (common practice, no source); above is a misreading."""

SMALLEST_LOAD_A: Final = 3.0
"""A lighter load makes no sag that a hand meter can tell from its own error (common practice, no source)."""

REALISTIC_LOAD_A: Final = 4.0
"""From here on a load is like that of a lift that raises a person (common practice, no source)."""

HEAVIEST_LOAD_A: Final = 20.0
"""A heavier load is none that a lift makes: what its pack does then says nothing (common practice, no source)."""

SOUND_PACK_MOHM: Final = (20.0, 300.0)
"""Two sound blocks of 4–7 Ah in series with leads and contacts: 40–100 milliohm by data sheets (from memory), up to
three times that over the seconds of a raise (common practice, no source). Less than the first is a misreading."""

FAILED_TIMES_SOUND: Final = 2.0
"""A pack of twice the resistance of a sound one is worn out (common practice, no source; IEEE 1188, from memory, has
the capacity tested from half as much again)."""

RESISTANCE_PER_C: Final = 0.01
"""Below 25 °C the resistance rises by about one per cent a degree (data sheets, from memory)."""

CAPACITY_PER_C: Final = (0.006, 0.01)
"""Below 20 °C capacity falls by so much a degree, slow and fast discharge (IEC 60896-21, from memory)."""

TESTED_AT_C: Final = (10.0, 35.0)
"""Colder or warmer a load test is not compared with what is usual (common practice, no source)."""

CHARGED_LOW_PERCENT: Final = 50.0
"""A pack counts as charged when even the low end of its band reaches half (common practice, no source)."""

TESTABLE_LOW_PERCENT: Final = 25.0
"""A pack that has less is charged before a load test fails it (common practice, no source)."""

UNEQUAL_BLOCKS_V: Final = 0.4
"""Healthy blocks of one pack rest closer together than this (common practice, no source)."""

LOST_CELL_V: Final = 1.5
"""A cell that is gone costs its block about 2 V; from this difference on one is (from memory, with room)."""

FULL_TOO_SOON_H: Final = 1.0
"""A flat pack that is full within an hour holds little (common practice, no source)."""

NEVER_FULL_H: Final = 14.0
"""A pack that is not full after a long night is not taking charge (common practice, no source)."""

LONGEST_CHARGE_H: Final = 72.0
"""Nobody waits longer for a charger to say full (common practice, no source); above, the time is mistaken."""
