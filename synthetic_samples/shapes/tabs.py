"""One of two opposed tabs that stand out at a neck, to be pinched together."""

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rod, rounded_block, rounded_outline

TAB_FAMILIES = {
    "train": ("paddles", "pads", "ears", "studs", "plates", "fins", "wings"),
    "calibration": ("clips", "hooks", "discs"),
    "heldout": ("wedges", "loops"),
}


def tab(rng: np.random.Generator, family: str, collar_r: float, collar_h: float) -> Manifold:
    """One tab that stands out along +x from a collar of the given radius."""
    out, wide, tall = rng.uniform(0.011, 0.022), rng.uniform(0.016, 0.03), collar_h * rng.uniform(0.55, 1.0)
    if family in ("plates", "fins", "wings"):
        return _of_any_outline(rng, family, out, wide, tall).translate((collar_r, 0, collar_h / 2))
    if family in ("clips", "hooks", "loops", "wedges"):
        return _catch(rng, family, collar_r, collar_h / 2, out, wide, tall)
    return _key(rng, family, collar_r, collar_h / 2, out, wide, tall)


def _of_any_outline(rng: np.random.Generator, family: str, out: float, wide: float, tall: float) -> Manifold:
    """A plate that faces outwards, a fin along the axis or a wing across it, from x = 0 outwards about z = 0."""
    root = 0.005  # so far it reaches into the collar
    if family == "fins":
        fin = _outline(rng, out + root, tall * rng.uniform(0.9, 1.5))
        thick = rng.uniform(0.004, 0.014)
        return Manifold.extrude(fin, thick).translate((0, 0, -thick / 2)).rotate((90, 0, 0)).translate(
            ((out - root) / 2, 0, 0)
        ) + block(root * 2, thick, tall * 0.5)
    if family == "wings":
        thick = tall * rng.uniform(0.2, 0.7)
        wing = Manifold.extrude(_outline(rng, out + root, wide * rng.uniform(0.8, 1.3)), thick)
        return wing.translate(((out - root) / 2, 0, -thick / 2)) + block(root * 2, wide * 0.5, thick)
    thick = rng.uniform(0.003, 0.008)
    plate = Manifold.extrude(_outline(rng, wide, tall * rng.uniform(0.9, 1.4)), thick).rotate((90, 0, 90))
    for k in range(int(rng.integers(0, 5)) if rng.random() < 0.5 else 0):  # ridges for the fingers
        plate += block(0.002, wide * 0.7, 0.0016).translate((thick, 0, (k - 1.5) * tall * 0.17))
    plate = plate.rotate((0, float(rng.uniform(-20, 20)), 0)).translate((out - thick, 0, 0))
    stem = wide * rng.uniform(0.3, 0.8), tall * rng.uniform(0.3, 0.8)
    return plate + block(out + root, *stem).translate(((out - root) / 2 - thick / 2, 0, 0))


def _outline(rng: np.random.Generator, width: float, height: float) -> CrossSection:
    """Some shape of this size round the origin: a rectangle, an oval, a trapezoid, a drop or a T."""
    kind = rng.choice(["rectangle", "oval", "trapezoid", "drop", "tee"])
    if kind == "oval":
        return CrossSection.circle(0.5, 32).scale((width, height))
    small, round_by = min(width, height), float(rng.uniform(0.03, 0.16))
    if kind == "rectangle":
        return rounded_outline(width, height, small * rng.uniform(0.02, 0.5))
    if kind == "drop":
        parts = [CrossSection.circle(0.5, 32), CrossSection.circle(0.2, 24).translate((0, 0.6))]
        shape = CrossSection.batch_hull(parts).translate((0, -0.15)).scale((1, 0.77))
    elif kind == "trapezoid":
        narrow = float(rng.uniform(0.2, 0.42))
        shape = CrossSection([[(-0.5, -0.5), (0.5, -0.5), (narrow, 0.5), (-narrow, 0.5)]])
    else:
        stem = CrossSection.square((float(rng.uniform(0.3, 0.6)), 1.0), True)
        shape = stem + CrossSection.square((1.0, float(rng.uniform(0.3, 0.5))), True).translate((0, 0.27))
    shape = shape.offset(-round_by, JoinType.Round, 2.0, 16).offset(round_by, JoinType.Round, 2.0, 16)
    return shape.rotate(float(rng.choice([0, 90, 180, 270]))).scale((width, height))


def _catch(
    rng: np.random.Generator, family: str, collar_r: float, z: float, out: float, wide: float, tall: float
) -> Manifold:
    """What a finger catches at the height z: a clip, a hook, a loop or a wedge."""
    if family == "clips":
        long = rng.uniform(0.025, 0.04)
        arm = (
            rounded_block(0.005, wide, long, 0.002)
            .rotate((0, 14, 0))
            .translate((collar_r + out * 0.7, 0, z + long * 0.2))
        )
        return arm + block(out, wide * 0.6, 0.006).translate((collar_r + out * 0.35, 0, z - long * 0.1))
    if family == "hooks":
        long = tall * rng.uniform(0.7, 1.3)
        arm = block(out + 0.004, wide, 0.005).translate((collar_r + out / 2 - 0.002, 0, z))
        return arm + rounded_block(0.006, wide, long, 0.0025).translate((collar_r + out, 0, z + long * 0.4))
    if family == "loops":
        ring = CrossSection.circle(wide * 0.5, 32) - CrossSection.circle(wide * 0.27, 24)
        loop = Manifold.extrude(ring, tall * 0.4).translate((collar_r + wide * 0.42, 0, z - tall * 0.2))
        return loop - cylinder(collar_r - 0.002, 1).translate((0, 0, -0.5))
    outline = CrossSection([[(0, -tall / 2), (out * 1.3, tall * 0.1), (out * 1.3, tall / 2), (0, tall / 2)]])
    wedge = Manifold.extrude(outline, wide).translate((0, 0, -wide / 2)).rotate((90, 0, 0))
    return wedge.translate((collar_r - 0.002, 0, z))


def _key(
    rng: np.random.Generator, family: str, collar_r: float, z: float, out: float, wide: float, tall: float
) -> Manifold:
    """What is pressed from both sides at the height z: a paddle, a pad, an ear, a stud or a disc on a stem."""
    if family == "paddles":
        plate = bevelled_prism(rounded_outline(wide, tall, tall * 0.3), out * 0.45, 0.001).rotate((90, 0, 90))
        stem = block(out + 0.006, wide * 0.4, tall * 0.5).translate((collar_r + out / 2 - 0.004, 0, z))
        return plate.translate((collar_r + out, 0, z)) + stem
    if family == "pads":
        return rounded_block(out * 2, wide, tall, min(out, tall) * 0.35).translate((collar_r + out * 0.2, 0, z))
    if family == "ears":
        outline = CrossSection.batch_hull(
            [CrossSection.circle(wide * 0.35, 24).translate((out, 0)), CrossSection.square((0.002, wide), True)]
        )
        return Manifold.extrude(outline, tall * 0.5).translate((collar_r - 0.001, 0, z - tall * 0.25))
    if family == "studs":
        size = min(wide, tall) * 0.5
        stud = rod((collar_r - 0.004, 0, z), (collar_r + out * 0.8, 0, z), size)
        return stud + rod((collar_r + out * 0.6, 0, z), (collar_r + out, 0, z), size * rng.uniform(0.8, 1.25))
    size = min(wide, tall) * rng.uniform(0.5, 0.65)
    stem = rod((collar_r - 0.004, 0, z), (collar_r + out, 0, z), size * 0.5)
    return stem + rod((collar_r + out * 0.7, 0, z), (collar_r + out, 0, z), size * 1.25)
