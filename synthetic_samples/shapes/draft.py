"""A control box in the making."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Piece, moved
from synthetic_samples.shapes.faces import Face


@dataclass(eq=False)
class Draft:
    """Unit and pack with their faces, the pieces so far, and by concept the frame of what tells its value.

    A frame's origin lies on the face, its -y looks outward.
    """

    rng: np.random.Generator
    values: dict[str, str]
    unit: Manifold
    pack: Manifold | None
    pieces: list[Piece] = field(default_factory=list)
    mounts: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        blockers = [self.pack] if self.pack is not None else []
        sides = ("front", "back", "left", "right", "top", "bottom")
        self.unit_faces = {side: Face(self.unit, side, blockers) for side in sides}
        self.pack_faces = {side: Face(self.pack, side, [self.unit]) for side in sides} if self.pack else {}

    def faces(self, *sides: str) -> list[Face]:
        """The faces of unit and pack that look to the given sides, in random order."""
        found = [faces[side] for faces in (self.unit_faces, self.pack_faces) for side in sides if side in faces]
        self.rng.shuffle(found)  # type: ignore[arg-type]
        return found

    def put(
        self,
        faces: Iterable[Face],
        width: float,
        height: float,
        draw: Callable[[], list[Piece]],
        tells: str | None = None,
        **where,
    ) -> bool:
        """Put what `draw` gives on the first of these faces that has room; False where none has.

        `tells`: the concept whose value it tells. `where` is that of `Face.place`.
        """
        for face in faces:
            spot = face.place(self.rng, width, height, **where)
            if spot is not None:
                self.pieces += moved(draw(), spot)
                if tells:
                    self.mounts[tells] = spot
                return True
        return False
