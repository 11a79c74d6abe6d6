"""What stands in a scene as it was built: the answers that pictures are labelled with."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from manifold3d import Manifold

from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX
from synthetic_samples.annotate.labels import numbered
from synthetic_samples.geometry import Part, Piece
from synthetic_samples.shapes.actuator import Actuator
from synthetic_samples.shapes.control_box import ControlBox


@dataclass(frozen=True, eq=False)
class Truth:
    """One subject as it was built: `outline` (N, 3) are points round it in metres; `frame` carries its own frame.

    `number`: which of several things in one picture this is; its pieces' labels carry it (`kind#number/piece`).

    Of a box: `mounts`, by concept the frame of what tells its value, whose -y looks outward (`shapes/draft.py`).
    Of an actuator: `axis` is the outward direction of the end with the lowering mechanism, `end_point` the middle
    of the mechanism, `neck_m` its bare neck's length and `knob_radius_m` the radius of its knob,
    or of what stands there instead, both 0 without;
    `housing` are points round motor and gear, a set (N, 3) each, `knob_places` those of `Actuator.knob_places`.
    """

    kind: str
    values: dict[str, str]
    outline: np.ndarray
    frame: np.ndarray
    axis: np.ndarray | None = None
    end_point: np.ndarray | None = None
    neck_m: float = 0.0
    knob_radius_m: float = 0.0
    number: int | None = None
    mounts: dict[str, np.ndarray] = field(default_factory=dict)
    housing: tuple[np.ndarray, ...] = ()
    knob_places: dict[str, np.ndarray] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What its labels begin with."""
        return numbered(self.kind, self.number)

    def moved(self, transform: np.ndarray) -> "Truth":
        turned = transform[:3, :3]

        def carried(points: np.ndarray) -> np.ndarray:
            return points @ turned.T + transform[:3, 3]

        return replace(
            self,
            outline=carried(self.outline),
            frame=transform @ self.frame,
            mounts={concept: transform @ mount for concept, mount in self.mounts.items()},
            axis=None if self.axis is None else turned @ self.axis,
            end_point=None if self.end_point is None else carried(self.end_point),
            housing=tuple(carried(points) for points in self.housing),
            knob_places={end: carried(points) for end, points in self.knob_places.items()},
        )


def values_by_number(truths: Iterable[Truth]) -> dict[int | None, dict[str, str]]:
    """Concept values of the things of each number; those without one are together."""
    values: dict[int | None, dict[str, str]] = {}
    for truth in truths:
        values.setdefault(truth.number, {}).update(truth.values)
    return values


def outline_of(solids: list[Manifold]) -> np.ndarray:
    hull = Manifold.batch_hull(solids)
    return np.asarray(hull.to_mesh().vert_properties[:, :3], float)


def box_truth(box: ControlBox) -> Truth:
    return Truth(CONTROL_BOX, box.values, outline_of(box.solids), np.eye(4), mounts=box.mounts)


def actuator_truth(built: Actuator) -> Truth:
    outward = np.array([0.0, 0.0, -1.0 if built.mechanism_end == "fork" else 1.0])
    mechanism = [
        p.solid
        for p in built.pieces
        if isinstance(p, Part) and p.label.startswith(("actuator_head/mechanism", "actuator_head/neck"))
    ]
    end_point = np.zeros(3)
    if mechanism:
        bounds = np.array(Manifold.compose(mechanism).bounding_box()).reshape(2, 3)
        end_point = bounds.mean(axis=0)
    return Truth(
        ACTUATOR_HEAD,
        {"lowering": built.lowering},
        outline_of(built.solids),
        np.eye(4),
        outward,
        end_point,
        built.neck_m,
        built.knob_radius_m,
        housing=tuple(outline_of([solid]) for solid in built.housing),
        knob_places=built.knob_places,
    )


def plain_truth(kind: str, pieces: list[Piece]) -> Truth:
    solids = [piece.solid for piece in pieces if isinstance(piece, Part) and piece.label == f"{kind}/body"]
    return Truth(kind, {}, outline_of(solids), np.eye(4))
