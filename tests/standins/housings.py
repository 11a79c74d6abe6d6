"""Bodies for control units and battery packs: eleven designs, each with the flat patches that take fittings.

A body stands on z = 0, centred in x and y; its front looks along -y. Sizes in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import paints
from .kit import Finish, Piece, chamfered_rect, frame, level, loft, prism, rounded_rect, shift, superellipse
from .patch import Patch

X, Y, Z = np.eye(3)


@dataclass
class Body:
    """Solid pieces with the patches on their faces."""

    pieces: list[Piece]
    front: Patch
    top: Patch
    left: Patch
    right: Patch
    width: float
    depth: float
    height: float


def housing(rng: np.random.Generator, width: float, depth: float, height: float, finish: Finish, evidence: str) -> Body:
    """One body of a random design."""
    design = DESIGNS[int(rng.integers(0, len(DESIGNS)))]
    body = design(rng, width, depth, height, finish)
    body.pieces = [_tagged(piece, evidence) for piece in body.pieces]
    return body


def _slab(rng, width, depth, height, finish) -> Body:
    radius = rng.uniform(2, 0.22 * min(width, height))
    outline = rounded_rect(width, height, radius)
    piece = prism(outline, 0, depth, finish, bevel_mm=rng.uniform(1, 6)).moved(_forward(depth, height))
    return _plain([piece], width, depth, height, inset=min(radius, 14))


def _pillar(rng, width, depth, height, finish) -> Body:
    radius = rng.uniform(0.15, 0.42) * min(width, depth)
    piece = prism(rounded_rect(width, depth, radius, 9), 0, height, finish, bevel_mm=rng.uniform(2, 9))
    body = _plain([piece], width, depth, height, inset=9)
    body.front.width = body.top.width = width - 2 * radius
    body.left.width = body.right.width = depth - 2 * radius
    body.top.height = depth - max(radius, 12)
    return body


def _wedge(rng, width, depth, height, finish) -> Body:
    """The front leans back; the upward face keeps two thirds of the depth or more."""
    lean = rng.uniform(0.12, 0.3) * depth
    outline = np.array([(-depth / 2, 0), (depth / 2, 0), (depth / 2, height), (-depth / 2 + lean, height)])
    side = frame(np.array([-width / 2, 0, 0]), Y, Z)
    piece = prism(outline, 0, width, finish, bevel_mm=rng.uniform(2, 8)).moved(side)
    body = _plain([piece], width, depth, height, inset=9)
    up = np.array([0, lean, height])
    body.front = Patch(np.array([0, -depth / 2 + lean / 2, height / 2]), X, up, width - 18, height - 18)
    body.top = Patch(np.array([0, lean / 2, height]), X, Y, width - 18, depth - lean - 14)
    for patch in (body.left, body.right):
        patch.origin = patch.origin + [0, lean / 2, 0]
        patch.width = depth - lean - 12
    return body


def _pillow(rng, width, depth, height, finish) -> Body:
    """A soft outline with a rounded front edge."""
    outline = superellipse(width, height, rng.uniform(5, 9))
    soft = rng.uniform(4, 12)
    rings = [
        level(outline, 0, 0.97),
        level(outline, 2),
        level(outline, depth - soft),
        level(outline, depth - 0.45 * soft, 1 - 0.012 * soft / 2),
        level(outline, depth - 0.1 * soft, 1 - 0.03 * soft / 2),
        level(outline, depth, 1 - 0.05 * soft / 2),
    ]
    piece = loft(rings, finish).moved(_forward(depth, height))
    body = _plain([piece], width, depth, height, inset=10)
    body.front.width, body.front.height = width * 0.76, height * 0.76
    body.top.width, body.top.height = width * 0.55, depth - soft - 6
    body.top.origin = np.array([0, soft / 2, height - 1.0])
    for patch in (body.left, body.right):
        patch.height, patch.width = height * 0.55, depth - soft - 6
        patch.origin = patch.origin + [0, soft / 2, 0]
    return body


def _octagon(rng, width, depth, height, finish) -> Body:
    cut = rng.uniform(0.08, 0.2) * min(width, height)
    piece = prism(
        chamfered_rect(width, height, cut, cut * rng.uniform(0.7, 1.2)), 0, depth, finish, bevel_mm=rng.uniform(0.8, 3)
    ).moved(_forward(depth, height))
    body = _plain([piece], width, depth, height, inset=7)
    body.top.width = width - 2.1 * cut
    body.left.height = body.right.height = height - 2.5 * cut
    body.front.width, body.front.height = width - 1.2 * cut, height - 1.2 * cut
    return body


def _bow(rng, width, depth, height, finish) -> Body:
    """A plan with slanted cheeks beside a flat front strip."""
    cheek_x, cheek_y = rng.uniform(0.1, 0.2) * width, rng.uniform(0.2, 0.45) * depth
    w, d = width / 2, depth / 2
    plan = np.array([(w, d), (-w, d), (-w, -d + cheek_y), (-w + cheek_x, -d), (w - cheek_x, -d), (w, -d + cheek_y)])
    piece = prism(plan, 0, height, finish, bevel_mm=rng.uniform(2, 6))
    body = _plain([piece], width, depth, height, inset=8)
    body.front.width = width - 2 * cheek_x - 8
    body.top = Patch(np.array([0, cheek_y / 4, height]), X, Y, width - 2 * cheek_x, depth - cheek_y / 2 - 14)
    for patch in (body.left, body.right):
        patch.origin = patch.origin + [0, cheek_y / 2, 0]
        patch.width = depth - cheek_y - 10
    return body


def _finned(rng, width, depth, height, finish) -> Body:
    """An extruded shell with cooling fins along the back half of both sides."""
    core = width - 14
    pieces = [prism(rounded_rect(core, depth, 4), 0, height, finish, bevel_mm=1.2)]
    pitch = rng.uniform(7, 11)
    for place in np.arange(-0.05 * depth, depth / 2 - 4, pitch):
        pieces.append(prism(rounded_rect(width, 3, 1), 4, height - 4, finish).moved(shift(y=float(place))))
    pad = prism(rounded_rect(width, depth * 0.4, 3), 3, height - 3, finish, bevel_mm=1.0).moved(shift(y=-depth * 0.27))
    body = _plain([*pieces, pad], width, depth, height, inset=8)
    body.front.width, body.top.width = core - 14, core - 12
    for patch in (body.left, body.right):
        patch.origin = patch.origin + [0, -depth * 0.27, 0]
        patch.width = depth * 0.4 - 4
    return body


def _tapered(rng, width, depth, height, finish) -> Body:
    """Foot and head differ in size; the faces lean a little."""
    low, high = (1.0, rng.uniform(0.82, 0.93)) if rng.random() < 0.6 else (rng.uniform(0.85, 0.94), 1.0)
    outline = rounded_rect(width, depth, rng.uniform(5, 0.2 * min(width, depth)))
    piece = loft([level(outline, 0, low), level(outline, height, high)], finish, bevel_mm=rng.uniform(2, 7))
    mean, lean = (low + high) / 2, (low - high) / 2
    body = _plain([piece], width * min(low, high), depth * min(low, high), height, inset=16)
    body.front.origin, body.front.up = np.array([0, -depth / 2 * mean, height / 2]), np.array([0, lean * depth, height])
    body.right.origin, body.right.up = np.array([width / 2 * mean, 0, height / 2]), np.array([-lean * width, 0, height])
    body.left.origin, body.left.up = np.array([-width / 2 * mean, 0, height / 2]), np.array([lean * width, 0, height])
    body.top.width, body.top.height = width * high - 24, depth * high - 14
    return body


def _rimmed(rng, width, depth, height, finish) -> Body:
    """A soft bumper runs round the front edge and the back edge."""
    radius = rng.uniform(6, 0.2 * min(width, height))
    bumper = paints.rubber(rng)
    core = prism(rounded_rect(width - 6, height - 6, radius), 0, depth, finish, bevel_mm=1.5)
    rings = [
        prism(rounded_rect(width, height, radius + 3), low, low + 9, bumper, bevel_mm=2.5) for low in (3, depth - 15)
    ]
    body = _plain(
        [piece.moved(_forward(depth, height)) for piece in (core, *rings)],
        width,
        depth,
        height,
        inset=max(9, radius * 0.7),
    )
    body.top = Patch(np.array([0, 1.5, height - 3]), X, Y, width - 2 * radius - 8, depth - 33)
    for patch, sign in ((body.left, -1), (body.right, 1)):
        patch.origin = np.array([sign * (width / 2 - 3), 1.5, height / 2])
        patch.width, patch.height = depth - 33, height - 2 * radius - 8
    return body


def _fascia(rng, width, depth, height, finish) -> Body:
    """A cuboid with a raised front plate in another tone."""
    plate = paints.other_than(rng, finish, 0.15)
    core = prism(rounded_rect(width, height, rng.uniform(3, 14)), 0, depth, finish, bevel_mm=rng.uniform(1, 3))
    inner = rounded_rect(width * rng.uniform(0.8, 0.94), height * rng.uniform(0.82, 0.94), rng.uniform(3, 12))
    front = prism(inner, depth, depth + 2.2, plate, bevel_mm=0.9)
    body = _plain([piece.moved(_forward(depth, height)) for piece in (core, front)], width, depth, height, inset=8)
    body.front = Patch(np.array([0, -depth / 2 - 2.2, height / 2]), X, Z, width * 0.74, height * 0.76)
    return body


def _ribbed(rng, width, depth, height, finish) -> Body:
    """A pillar whose sides carry a field of low horizontal ribs near the foot."""
    body = _slab(rng, width, depth, height, finish)
    for step in range(int(rng.integers(3, 6))):
        rib = prism(rounded_rect(width + 2.4, depth * 0.8, 3), 0, 2.4, finish, bevel_mm=0.6)
        body.pieces.append(rib.moved(shift(z=12 + 6.5 * step)))
    for patch in (body.left, body.right):
        patch.height -= 44
        patch.origin = patch.origin + [0, 0, 22]
    return body


DESIGNS = (_slab, _pillar, _wedge, _pillow, _octagon, _bow, _finned, _tapered, _rimmed, _fascia, _ribbed)


def _plain(pieces: list[Piece], width: float, depth: float, height: float, inset: float) -> Body:
    """Patches of a cuboid, each held off the edges by the inset."""
    front = Patch(np.array([0, -depth / 2, height / 2]), X, Z, width - 2 * inset, height - 2 * inset)
    top = Patch(np.array([0, 0, height]), X, Y, width - 2 * inset, depth - 14)
    left = Patch(np.array([-width / 2, 0, height / 2]), -Y, Z, depth - 14, height - 2 * inset)
    right = Patch(np.array([width / 2, 0, height / 2]), Y, Z, depth - 14, height - 2 * inset)
    return Body(pieces, front, top, left, right, width, depth, height)


def _forward(depth: float, height: float) -> np.ndarray:
    """From (x, height, outward) to a body whose back lies at +depth / 2."""
    return frame(np.array([0, depth / 2, height / 2]), X, Z)


def _tagged(piece: Piece, evidence: str) -> Piece:
    return replace(piece, evidence=evidence)
