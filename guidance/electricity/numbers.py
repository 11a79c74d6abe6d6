"""The numbers behind `electricity.py`, each with its source."""

from typing import Final

CELLS_IN_BLOCK: Final = 6
"""A block of 12 V has six lead-acid cells of nominally 2 V (textbooks, from memory)."""

BLOCKS_IN_PACK: Final = 2
"""A lift of 24 V has two blocks in series (common practice, no source)."""

RESTED_V_AT_PERCENT: Final[dict[int, float]] = {100: 12.65, 75: 12.45, 50: 12.24, 25: 12.06, 0: 11.89}
"""Rested voltage of a flooded 12 V block against charge (handbooks, from memory; other lists differ by 0.1–0.2 V)."""

AGM_ABOVE_FLOODED_V: Final = 0.2
"""Sealed AGM blocks rest 0.1–0.2 V higher (handbooks, from memory); the larger figure gives the wider band."""

REST_H: Final = 6.0
"""A voltage says nothing of charge before six hours without charge or load (vehicle-battery pages; some say 8–24 h)."""

END_V_PER_CELL_20_H: Final = 1.75
"""End of discharge at the 20-hour rate (IEC 61056-1, from memory)."""

END_V_PER_CELL_1_H: Final = 1.60
"""End of discharge at the one-hour rate (IEC 61056-1, from memory)."""

HIGHEST_V_PER_CELL: Final = 2.6
"""No charger that fits drives a cell higher than about this (charging practice, from memory); above is a misreading."""

HIGHEST_CURRENT_A: Final = 60.0
"""More than a lift's fuse would let through (common practice, no source); above is a misreading."""

SMALLEST_LOAD_A: Final = 3.0
"""A lighter load does not test the pack: a lift raising a person draws several amperes (common practice, no source)."""

CHARGED_LOW_PERCENT: Final = 50.0
"""A pack counts as charged when even the low end of its band reaches half (common practice, no source)."""

UNEQUAL_BLOCKS_V: Final = 0.4
"""Healthy blocks of one pack rest closer together than this (common practice, no source)."""

FULL_TOO_SOON_H: Final = 1.0
"""A flat pack that is full within an hour holds little (common practice, no source)."""

NEVER_FULL_H: Final = 14.0
"""A pack that is not full after a long night is not taking charge (common practice, no source)."""
