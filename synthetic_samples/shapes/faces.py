"""Finding a free place on a face of a solid, so that buttons, lamps and labels neither overlap nor float."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import shift, turn

FACE_FRAMES = {
    "front": np.eye(4),
    "back": turn((0, 0, 1), 180),
    "left": turn((0, 0, 1), -90),
    "right": turn((0, 0, 1), 90),
    "top": turn((1, 0, 0), -90),
    "bottom": turn((1, 0, 0), 90),
}
"""Frames in which -y is the outward normal of a face, x runs along it and z is its "up"."""

_REACH_M = 3.0


@dataclass(eq=False)
class Face:
    """One face of a solid and the rectangles that are already taken on it.

    `solids`: what the face belongs to; `blockers`: solids that must not stand in front of a place.
    """

    solid: Manifold
    side: str
    blockers: Sequence[Manifold] = ()
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.frame = FACE_FRAMES[self.side]
        corners = np.array(self.solid.bounding_box()).reshape(2, 3)
        local = np.linalg.inv(self.frame)[:3, :3] @ corners.T  # (3, 2)
        (self.u0, self.u1), _, (self.v0, self.v1) = np.sort(local, axis=1)

    def place(
        self,
        rng: np.random.Generator,
        width: float,
        height: float,
        *,
        bounds: tuple[float, float, float, float] = (0.0, 1.0, 0.0, 1.0),
        gap: float = 0.003,
        unevenness: float = 0.0015,
    ) -> np.ndarray | None:
        """Frame (4x4) of a free spot of a size in metres, on the surface and turned to it; None if none is free.

        `bounds` (u0, u1, v0, v1) limits the centre to a share of the face; `unevenness` is how far the surface may
        leave the spot's plane, in metres.
        """
        for _ in range(30):
            u = self.u0 + (self.u1 - self.u0) * rng.uniform(*bounds[:2])
            v = self.v0 + (self.v1 - self.v0) * rng.uniform(*bounds[2:])
            box = (u - width / 2 - gap, u + width / 2 + gap, v - height / 2 - gap, v + height / 2 + gap)
            if any(box[0] < t[1] and t[0] < box[1] and box[2] < t[3] and t[2] < box[3] for t in self.taken):
                continue
            frame = self._frame_at(u, v, width, height, unevenness)
            if frame is not None:
                self.taken.append(box)
                return frame
        return None

    def _frame_at(self, u: float, v: float, width: float, height: float, unevenness: float) -> np.ndarray | None:
        centre = self._hit(u, v)
        if centre is None or centre[1] @ (self.frame[:3, :3] @ (0, -1, 0)) < 0.7:
            return None
        position, normal = centre
        for du, dv in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
            corner = self._hit(u + du * width / 2, v + dv * height / 2)
            if corner is None or abs((corner[0] - position) @ normal) > unevenness:
                return None
        outward = -normal
        up = self.frame[:3, 2] - outward * (self.frame[:3, 2] @ outward)
        up /= np.linalg.norm(up)
        frame = shift(*position)
        frame[:3, :3] = np.column_stack([np.cross(outward, up), outward, up])
        return frame

    def _hit(self, u: float, v: float) -> tuple[np.ndarray, np.ndarray] | None:
        start = (self.frame @ (u, -_REACH_M, v, 1))[:3]
        end = (self.frame @ (u, _REACH_M, v, 1))[:3]
        hits = self.solid.ray_cast(tuple(start), tuple(end))
        if not hits:
            return None
        for blocker in self.blockers:
            blocked = blocker.ray_cast(tuple(start), tuple(end))
            if blocked and blocked[0].distance < hits[0].distance:
                return None
        return np.array(hits[0].position), np.array(hits[0].normal)
