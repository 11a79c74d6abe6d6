"""Fluted grips that a hand can turn."""

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold, OpType

from synthetic_samples.geometry import cylinder, turned

KNOB_FAMILIES = {
    "train": ("lobed", "ridged", "ring_grip", "rosette", "toothed", "winged", "waved"),
    "calibration": ("scooped", "two_tiers", "handwheel", "bell"),
    "heldout": ("waved_cone", "barrel_grip"),
}
_FINEST_FLUTE_M = 0.007
"""Round the rim: with finer ones a knob is a smooth collar on a photo, and its name a guess."""


def fluted(rng: np.random.Generator, family: str, radius: float, height: float) -> Manifold:
    """A grip that a hand can turn, standing on z = 0; smooth pieces of it lie away from the housing."""
    most = int(2 * np.pi * radius / _FINEST_FLUTE_M)
    # Few and deep enough to be seen on a photo, and no two or three wings, which would look like tabs to pinch.
    few = {"lobed": rng.integers(5, 10), "rosette": rng.integers(5, 9), "winged": rng.integers(5, 9)}
    count = int(min(few.get(family, rng.integers(10, 21)), most))
    if family == "handwheel":
        return _handwheel(rng, radius, height, _ring(radius * 0.9, radius * 0.1, count))
    if family == "waved":
        return _waved(rng, radius, height, most)
    return _raised(rng, family, _outline(family, radius, count), radius, height)


def _ring(at: float, size: float, count: int) -> list[CrossSection]:
    """Circles of radius `size` spread round the axis, with their centres `at` so far from it; metres."""
    return [CrossSection.circle(size, 16).translate((at * np.cos(a), at * np.sin(a))) for a in _angles(count)]


def _angles(count: int) -> np.ndarray:
    return np.linspace(0, 2 * np.pi, count, endpoint=False)


def _handwheel(rng: np.random.Generator, radius: float, height: float, bumps: list[CrossSection]) -> Manifold:
    """A rim with bumps on the housing, carried by a few spokes, with open sectors between them; its hub is taller."""
    rim = CrossSection.batch_boolean([CrossSection.circle(radius * 0.92, 64), *bumps], OpType.Add)
    wheel = Manifold.extrude(rim - CrossSection.circle(radius * 0.72, 48), height * 0.6)
    spoke = CrossSection.square((radius * 0.8, radius * rng.uniform(0.2, 0.35)), True).translate((radius * 0.4, 0))
    turns = np.arange(int(rng.integers(3, 6)))
    spokes = [Manifold.extrude(spoke.rotate(360 / len(turns) * k), height * 0.4) for k in turns]
    hub = cylinder(radius * rng.uniform(0.4, 0.55), height)
    return Manifold.batch_boolean([wheel, hub, *(s.translate((0, 0, height * 0.1)) for s in spokes)], OpType.Add)


def _waved(rng: np.random.Generator, radius: float, height: float, most: int) -> Manifold:
    """Any wave round the rim: how many, how deep, round, pointed inwards or outwards, square or slanting."""
    count = int(np.exp(rng.uniform(np.log(5), np.log(min(22, most)))))
    phase = np.linspace(0, 1, 14, endpoint=False)
    power, flat = rng.uniform(0.6, 1.6), rng.uniform(0.1, 0.3)
    waves = {
        "round": 0.5 - 0.5 * np.cos(2 * np.pi * phase),
        "arches": np.abs(np.sin(np.pi * phase)) ** power,
        "scoops": 1 - np.abs(np.sin(np.pi * phase)) ** power,
        "square": np.clip((np.abs(phase - 0.5) - flat) / 0.08, 0, 1),
        "slanting": np.minimum(phase / 0.8, (1 - phase) / 0.2),
    }
    depth = float(np.clip(2 * np.pi / count * rng.uniform(0.25, 0.8), 0.06, 0.3))
    reach = radius * (1 - depth * np.tile(waves[str(rng.choice(list(waves)))], count))
    angles = np.linspace(0, 2 * np.pi, len(reach), endpoint=False)
    outline = CrossSection([np.column_stack([reach * np.cos(angles), reach * np.sin(angles)])])
    narrower = float(rng.uniform(0.7, 1.0))
    body = Manifold.extrude(outline, height, 0, 0.0, (narrower, narrower))
    if rng.random() < 0.4:
        body = body.mirror((0, 0, 1)).translate((0, 0, height))
    if rng.random() < 0.4:  # rounded or bevelled above
        edge = np.linspace(0, np.pi / 2, int(rng.choice([2, 6])))
        soft = radius * rng.uniform(0.1, 0.4)
        rim = [(radius - soft * (1 - np.cos(a)), height - soft * (1 - np.sin(a))) for a in edge]
        body = body ^ turned([(0, -0.001), (radius, -0.001), *rim, (0, height)], 48)
    if rng.random() < 0.25:
        flange = cylinder(radius * rng.uniform(0.9, 1.15), height * rng.uniform(0.1, 0.25))
        body += flange.translate((0, 0, height * 0.75))
    return body


def _outline(family: str, radius: float, count: int) -> CrossSection:
    """The grip from above, with `count` flutes."""
    pitch = 2 * np.pi * radius / count
    if family == "lobed":
        return _joined(CrossSection.circle(radius * 0.86, 48), _ring(radius * 0.8, radius * 0.22, count))
    if family == "rosette":
        petals = _joined(CrossSection.circle(radius * 0.7, 48), _ring(radius * 0.68, radius * 0.32, count))
        narrow = petals.offset(-radius * 0.06, JoinType.Round, 2.0, 12)
        return narrow.offset(radius * 0.06, JoinType.Round, 2.0, 12)
    if family == "winged":
        wing = CrossSection.square((radius * 1.0, radius * 0.28)).translate((radius * 0.1, -radius * 0.14))
        wings = _joined(CrossSection.circle(radius * 0.62, 48), _turned_round(wing, count))
        return wings.offset(radius * 0.05, JoinType.Round, 2.0, 12)
    if family == "toothed":
        tooth = CrossSection.square((radius * 0.15, pitch * 0.5), True).translate((radius * 0.94, 0))
        return _joined(CrossSection.circle(radius * 0.9, 64), _turned_round(tooth, count))
    if family == "scooped":
        scoops = _ring(radius * 1.06, pitch * 0.42, count)
        return CrossSection.circle(radius, 64) - CrossSection.batch_boolean(scoops, OpType.Add)
    grooves = _ring(radius, pitch * 0.36, count)
    return CrossSection.circle(radius, 96) - CrossSection.batch_boolean(grooves, OpType.Add)


def _joined(core: CrossSection, flutes: list[CrossSection]) -> CrossSection:
    return CrossSection.batch_boolean([core, *flutes], OpType.Add)


def _turned_round(one: CrossSection, count: int) -> list[CrossSection]:
    return [one.rotate(float(np.degrees(a))) for a in _angles(count)]


def _raised(rng: np.random.Generator, family: str, outline: CrossSection, radius: float, height: float) -> Manifold:
    """The grip of that outline: straight, or as its family narrows, steps, hollows or swells."""
    if family == "waved_cone":
        return Manifold.extrude(outline, height, 0, 0.0, (0.72, 0.72))
    if family == "bell":  # wide at the rim, drawn in towards its top
        z = np.linspace(0, height, 9)
        bell = radius * (1.0 - 0.38 * np.sin(np.pi / 2 * z / height) ** 2)
        return Manifold.extrude(outline, height) ^ turned([(0, 0), *zip(bell, z, strict=True), (0, height)], 48)
    if family == "two_tiers":
        return Manifold.extrude(outline, height * 0.55) + Manifold.extrude(outline.scale((0.72, 0.72)), height)
    if family == "ring_grip":  # a rim on a disc, hollow from above
        hollow = cylinder(radius * rng.uniform(0.55, 0.72), height).translate((0, 0, height * rng.uniform(0.25, 0.5)))
        return Manifold.extrude(outline, height) - hollow
    body = Manifold.extrude(outline, height)
    if family == "barrel_grip":
        z = np.linspace(0, height, 9)
        swell = radius * (1.01 - 0.3 * (2 * z / height - 1) ** 2)
        return body ^ turned([(0, 0), *zip(swell, z, strict=True), (0, height)], 48)
    return _finished(rng, body, radius, height)


def _finished(rng: np.random.Generator, body: Manifold, radius: float, height: float) -> Manifold:
    """A straight grip, perhaps bevelled above, perhaps with a smooth flange."""
    if rng.random() < 0.4:
        body = body ^ turned(
            [(0, 0), (radius * 1.1, 0), (radius * 1.1, height * 0.7), (radius * 0.8, height), (0, height)], 48
        )
    if rng.random() < 0.3:
        body = body + cylinder(radius * 1.04, height * 0.18).translate((0, 0, height * 0.82))
    return body
