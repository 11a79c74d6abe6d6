"""What a composition holds, what is asked of one, and how a thing may lie in it."""

from dataclasses import dataclass, field, replace

import numpy as np
from manifold3d import Manifold

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS
from synthetic_samples.geometry import Part, Piece, moved, point_z_to, turn
from synthetic_samples.grammar.heads import head
from synthetic_samples.grammar.things import thing
from synthetic_samples.look_alikes.look_alikes import look_alike, look_alike_kinds, set_down
from synthetic_samples.scene.combinations import SHARE
from synthetic_samples.scene.truths import Truth
from synthetic_samples.shapes.actuator import Actuator, actuator
from synthetic_samples.shapes.control_box import ControlBox, control_box


@dataclass(frozen=True, eq=False)
class Composition:
    """Pieces and truths in the world, and what the camera should look at.

    `frame`: the focus is seen from its -y side; `elevation_deg`: usual range of the camera above that direction;
    `any_side`: it may be taken from all round; `extent_m`: size of the focus; `reach_m`: how far it reaches sideways
    (None: 0.6 of its size); `obstacles`: solids of the place that the camera must not have before it; `azimuth_deg`:
    spread of the camera's direction to either side.
    """

    pieces: list[Piece]
    truths: list[Truth]
    focus: tuple[float, float, float]
    extent_m: float
    elevation_deg: tuple[float, float]
    any_side: bool
    families: dict[str, str]
    place: str = "floor"
    frame: np.ndarray = field(default_factory=lambda: np.eye(4))
    up: np.ndarray = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    reach_m: float | None = None
    obstacles: list[Manifold] = field(default_factory=list)
    azimuth_deg: float = 38.0

    def carried(self, transform: np.ndarray) -> "Composition":
        focus = transform @ (*self.focus, 1.0)
        return replace(
            self,
            pieces=moved(self.pieces, transform),
            truths=[truth.moved(transform) for truth in self.truths],
            focus=(float(focus[0]), float(focus[1]), float(focus[2])),
            frame=transform @ self.frame,
            up=transform[:3, :3] @ self.up,
        )


@dataclass(frozen=True)
class Brief:
    """What is asked of a composition: a style's geometry families, and control boxes that should come oftener.

    Every combination of control box values is equally likely; half of the boxes are of `combinations` where some are
    given, so that a measurement on the rows of one catalogue has enough of them. `dense`: most close pictures to learn
    from are crowds. `grammar`: share of boxes, actuators and look-alikes that the grammar builds, not a family.
    """

    style: str
    combinations: tuple[dict[str, str], ...] = ()
    dense: bool = False
    grammar: float = 0.0

    def box(self, rng: np.random.Generator) -> ControlBox:
        """A control box of any values."""
        values = self.values(rng)
        return control_box(rng, values, self.style, self._composed(rng))

    def actuator(self, rng: np.random.Generator, reach_m: tuple[float, float] | None = None) -> Actuator:
        """An actuator with any lowering mechanism; `reach_m`: range of its length from the head to the rod's eye."""
        lowering = str(rng.choice(CONCEPTS["lowering"]))
        reach = rng.uniform(*reach_m) if reach_m else None
        return (head if self._composed(rng) else actuator)(rng, lowering, self.style, reach)

    def look_alike(self, rng: np.random.Generator) -> list[Piece]:
        """Something that is no lift part, labelled so, as `look_alike` gives it."""
        if self._composed(rng):
            kind, pieces = thing(rng, self.style)
            return set_down(pieces, kind)
        return look_alike(rng, str(rng.choice(look_alike_kinds(self.style))))

    def _composed(self, rng: np.random.Generator) -> bool:
        return bool(self.grammar) and rng.random() < self.grammar

    def values(self, rng: np.random.Generator) -> dict[str, str]:
        if self.combinations and rng.random() < SHARE:
            return dict(self.combinations[int(rng.integers(len(self.combinations)))])
        return {concept: str(rng.choice(values)) for concept, values in CONTROL_BOX_CONCEPTS.items()}


def bounds(pieces: list[Piece]) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of the solids among some pieces."""
    boxes = np.array([piece.solid.bounding_box() for piece in pieces if isinstance(piece, Part)])
    return boxes[:, :3].min(axis=0), boxes[:, 3:].max(axis=0)


def actuator_attitude(rng: np.random.Generator) -> tuple[np.ndarray, bool]:
    """A turn of a loose actuator, and whether it lies: three in five lie on any side, the others lean or stand."""
    if rng.random() < 0.6:
        lay = (
            turn((0, 0, 1), rng.uniform(0, 360))
            @ point_z_to((1, 0, rng.normal(0, 0.03)))
            @ turn((0, 0, 1), rng.uniform(0, 360))
        )
        return lay, True
    lean = rng.normal(0, 0.5, 3) + (0, 0, 1.0 if rng.random() < 0.8 else -1.0)
    return point_z_to(lean) @ turn((0, 0, 1), rng.uniform(0, 360)), False
