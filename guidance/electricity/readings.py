"""Battery readings as they come in, and what cannot be true of them.

Voltages are in volts, currents in amperes, times in hours, temperatures in °C, errors in per cent of the reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool

from classifier.errors import ReadingError
from classifier.messages import Message
from guidance.electricity.numbers import (
    BLOCKS_IN_PACK,
    CELLS_IN_BLOCK,
    HIGHEST_CURRENT_A,
    HIGHEST_RESTED_V,
    HIGHEST_V_PER_CELL,
    LONGEST_CHARGE_H,
    REST_H,
    REVERSED_BLOCK_V,
)
from guidance.electricity.physics import series_v

Number = Annotated[float, Field(strict=True)]
"""A number as such: neither text nor yes and no are taken for one."""

SLACK_V = 0.1
"""Two voltages of one thing may differ by so much beside the meter's error: they are not read at one moment."""


class PackReadings(BaseModel):
    """What was read; None where it was not. `blocks_v` and `pack_v` without load, `loaded_…` under the load current.

    `after_steps`: how many steps of the case's `done` came before these readings; None: all of them.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    blocks_v: tuple[Number, ...] = ()
    pack_v: Number | None = None
    rest_hours: Number | None = None
    meter_error_percent: Number | None = None
    loaded_v: Number | None = None
    loaded_blocks_v: tuple[Number, ...] = ()
    load_current_a: Number | None = None
    temperature_c: Number | None = None
    charge_hours: Number | None = None
    gauge_bars_percent: Number | None = None
    beeps_under_load: StrictBool | None = None
    after_steps: Annotated[int, Field(strict=True, ge=0)] | None = None

    @property
    def error(self) -> float:
        """The meter's error as a share; one per cent where it is not known."""
        return (self.meter_error_percent if self.meter_error_percent is not None else 1.0) / 100

    @property
    def rested(self) -> bool:
        """Whether the pack is known to have rested long enough."""
        return self.rest_hours is not None and self.rest_hours >= REST_H

    @property
    def rested_pack_v(self) -> float | None:
        """The whole pack without load: its blocks together, or as it was read."""
        return series_v(self.blocks_v) if self.blocks_v else self.pack_v

    @property
    def loaded_pack_v(self) -> float | None:
        """The whole pack under load: as it was read, or its blocks together."""
        return self.loaded_v if self.loaded_v is not None else (series_v(self.loaded_blocks_v) or None)

    def with_earlier(self, earlier: PackReadings) -> PackReadings:
        """These, and of `earlier` ones what was not read again. What belongs together is taken together."""
        known: dict[str, object] = {}
        for group in TOGETHER:
            newer = any(getattr(self, name) not in (None, ()) for name in group)
            known |= {name: getattr(self if newer else earlier, name) for name in group}
        return self.model_copy(update=known)


AT_REST = ("blocks_v", "pack_v", "rest_hours")
UNDER_LOAD = ("loaded_v", "loaded_blocks_v", "load_current_a")

TOGETHER = (
    AT_REST, UNDER_LOAD, ("meter_error_percent",), ("temperature_c",), ("charge_hours",), ("gauge_bars_percent",),
    ("beeps_under_load",),
)  # fmt: skip
"""Readings that were taken at one time: a new one of a group sets the old group aside."""

Found = Literal["blocks_high", "blocks_low", "one_block_low", "load_held", "load_sagged"]
"""What readings can prove; a catalogue's findings say which of their outcomes that is (`by_meter`).

`load_sagged` is of a pack with charge in it: a flat one gives way whatever its blocks are worth.
"""

RESTS_ON: dict[Found, tuple[str, ...]] = {
    "blocks_high": AT_REST,
    "blocks_low": AT_REST,
    "one_block_low": AT_REST,
    "load_held": (*AT_REST, *UNDER_LOAD),
    "load_sagged": (*AT_REST, *UNDER_LOAD),
}
"""The readings that each is drawn from: with one of them in doubt, it is not drawn."""


@dataclass(frozen=True)
class Contradiction:
    """Readings that cannot be true, in words, and the fields that are in doubt."""

    text: str
    fields: tuple[str, ...]


def refuse_impossible(read: PackReadings) -> None:
    """Raise `ReadingError` for what no instrument can show."""
    for reading, name, value, least, limit, unit in _limits(read):
        if value is not None and not least <= value <= limit:
            raise ReadingError(
                Message(
                    "{name}: got {value} {unit}, possible is {least} to {limit} {unit}; read it again",
                    name=name,
                    value=f"{value:g}",
                    unit=unit,
                    least=f"{least:g}",
                    limit=f"{limit:g}",
                ),
                reading,
            )
    for field in ("blocks_v", "loaded_blocks_v"):
        blocks = getattr(read, field)
        if len(blocks) not in (0, BLOCKS_IN_PACK):
            raise ReadingError(
                Message(
                    "block voltages: got {count}, want {wanted}, one for each block",
                    count=len(blocks),
                    wanted=BLOCKS_IN_PACK,
                ),
                (field, 0),
            )


def _limits(read: PackReadings) -> list[tuple[tuple[str, int], Message, float | None, float, float, str]]:
    """Every reading with its field and place there, its name, its least and most possible value, and its unit."""
    block_limit_v = CELLS_IN_BLOCK * HIGHEST_V_PER_CELL
    pack_limit_v = BLOCKS_IN_PACK * block_limit_v
    single: list[tuple[str, Message, float, float, str]] = [
        ("pack_v", Message("pack voltage"), 0.0, pack_limit_v, "V"),
        ("loaded_v", Message("voltage under load"), 0.0, pack_limit_v, "V"),
        ("load_current_a", Message("load current"), 0.0, HIGHEST_CURRENT_A, "A"),
        ("rest_hours", Message("rest time"), 0.0, 24.0 * 365, "h"),
        ("charge_hours", Message("charge time"), 0.0, 24.0 * 365, "h"),
        ("temperature_c", Message("temperature"), -40.0, 80.0, "°C"),
        ("meter_error_percent", Message("meter error"), 0.0, 20.0, "%"),
        ("gauge_bars_percent", Message("gauge"), 0.0, 100.0, "%"),
    ]
    return [
        *(
            (("blocks_v", n), Message("block {number} voltage", number=n + 1), value, 0.0, block_limit_v, "V")
            for n, value in enumerate(read.blocks_v)
        ),
        *(
            (("loaded_blocks_v", n), Message("block {number} voltage under load", number=n + 1), value,
             REVERSED_BLOCK_V, block_limit_v, "V")
            for n, value in enumerate(read.loaded_blocks_v)
        ),
        *(((field, 0), name, getattr(read, field), *limits) for field, name, *limits in single),
    ]  # fmt: skip


def contradictions(read: PackReadings) -> tuple[Contradiction, ...]:
    """Readings that cannot be true, alone or together; they are named, and never averaged."""
    return (*_sums(read), *_no_rest(read), *_no_sag(read), *_no_charge(read))


def _sums(read: PackReadings) -> Iterator[Contradiction]:
    """Blocks in series that do not add up to their pack."""
    total, pack_v = series_v(read.blocks_v), read.pack_v
    if read.blocks_v and pack_v is not None and _differ(total, pack_v, read):
        yield Contradiction(
            Message(
                "the blocks add up to {total} V, but the pack was read as {pack} V",
                total=f"{total:.2f}",
                pack=f"{pack_v:.2f}",
            ),
            ("blocks_v", "pack_v"),
        )
    total, pack_v = series_v(read.loaded_blocks_v), read.loaded_v
    if read.loaded_blocks_v and pack_v is not None and _differ(total, pack_v, read):
        yield Contradiction(
            Message(
                "under load the blocks add up to {total} V, but the pack was read as {pack} V",
                total=f"{total:.2f}",
                pack=f"{pack_v:.2f}",
            ),
            ("loaded_blocks_v", "loaded_v"),
        )


def _differ(total_v: float, pack_v: float, read: PackReadings) -> bool:
    return abs(total_v - pack_v) > read.error * (abs(total_v) + pack_v) + SLACK_V


def _no_rest(read: PackReadings) -> Iterator[Contradiction]:
    """A charging voltage that is called rested."""
    parts = [(v, HIGHEST_RESTED_V, "blocks_v") for v in read.blocks_v]
    parts += [(read.pack_v, BLOCKS_IN_PACK * HIGHEST_RESTED_V, "pack_v")] if read.pack_v is not None else []
    for volts, limit_v, field in parts:
        if read.rested and volts * (1 - read.error) > limit_v:
            yield Contradiction(
                Message(
                    "{volts} V cannot be after {hours} hours of rest: {limit} V is the most",
                    volts=f"{volts:.2f}",
                    hours=f"{read.rest_hours:g}",
                    limit=f"{limit_v:.1f}",
                ),
                (field, "rest_hours"),
            )


def _no_sag(read: PackReadings) -> Iterator[Contradiction]:
    """More voltage under load than without."""
    pairs = [(read.rested_pack_v, read.loaded_pack_v)]
    pairs += list(zip(read.blocks_v, read.loaded_blocks_v, strict=False))
    for rested_v, loaded_v in pairs:
        if rested_v is None or loaded_v is None:
            continue
        if loaded_v > rested_v + read.error * (rested_v + loaded_v):
            fields = ("blocks_v", "pack_v", "loaded_v", "loaded_blocks_v")
            yield Contradiction(
                Message(
                    "{loaded} V under load is more than {rested} V without load",
                    loaded=f"{loaded_v:.2f}",
                    rested=f"{rested_v:.2f}",
                ),
                fields,
            )


def _no_charge(read: PackReadings) -> Iterator[Contradiction]:
    if read.charge_hours is not None and not 0 < read.charge_hours <= LONGEST_CHARGE_H:
        yield Contradiction(
            Message(
                "from flat to full in {hours} hours cannot be: look when charging began and ended",
                hours=f"{read.charge_hours:g}",
            ),
            ("charge_hours",),
        )
