"""Things that are no part of a lift but could be taken for one: no network may find a subject on them."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from synthetic_samples.geometry import Part, Piece, moved, shift
from synthetic_samples.look_alikes import container, electric, household, workshop

_TRAIN: Final = (
    container.tool_case, container.toolbox, workshop.cordless_drill, workshop.drill_battery, workshop.valve_wheel,
    workshop.car_battery, workshop.telescopic_pole, workshop.gas_spring, workshop.hose_connector,
    workshop.push_button_station, container.fuel_can, electric.power_strip, electric.router, electric.remote_control,
    electric.cordless_phone, electric.wall_socket, electric.doorbell, electric.camera, electric.electric_meter,
    electric.thermostat, electric.breaker_box, electric.plug_adapter, electric.loudspeaker, container.capped_jar,
    container.spray_can, household.drawer_handle, household.blood_pressure_monitor, household.kettle,
    household.soap_dispenser, container.first_aid_box, household.kitchen_scale, household.clamping_knob,
    household.walking_stick, container.suitcase, household.medicine_pump,
)  # fmt: skip
_CALIBRATION: Final = (electric.fire_call_point, workshop.bicycle_pump, container.vacuum_flask)
_HELDOUT: Final = (
    electric.intercom, electric.radio, workshop.flashlight, household.kitchen_timer, household.vacuum_cleaner,
)  # fmt: skip

_BY_STYLE: Final = {"train": _TRAIN, "calibration": _CALIBRATION, "heldout": _HELDOUT}
_BUILDERS: Final[dict[str, Callable[[np.random.Generator], list[Piece]]]] = {
    builder.__name__: builder for builders in _BY_STYLE.values() for builder in builders
}


def look_alike_kinds(style: str) -> tuple[str, ...]:
    """Kinds of `style` ("train", "calibration" or "heldout"); no kind is of two styles."""
    if style not in _BY_STYLE:
        raise ValueError(f"style {style!r} has no look-alikes: give one of {', '.join(_BY_STYLE)}")
    return tuple(builder.__name__ for builder in _BY_STYLE[style])


def look_alike(rng: np.random.Generator, kind: str) -> list[Piece]:
    """One thing in real size (metres), standing on z = 0 round the origin, all labelled `look_alike/KIND`."""
    if kind not in _BUILDERS:
        raise ValueError(f"look-alike {kind!r}: wanted one of {', '.join(sorted(_BUILDERS))}")
    return set_down(_BUILDERS[kind](rng), kind)


def set_down(pieces: list[Piece], kind: str) -> list[Piece]:
    """The pieces of a thing moved to stand on z = 0 round the origin, all labelled `look_alike/KIND`."""
    boxes = np.array([piece.solid.bounding_box() for piece in pieces if isinstance(piece, Part)])
    low, high = boxes[:, :3].min(axis=0), boxes[:, 3:].max(axis=0)
    centred = moved(pieces, shift(-(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -low[2]))
    return [replace(piece, label=f"look_alike/{kind}") for piece in centred]
