"""Motor and gear housings of an actuator.

Each builder gives solids, half the height of the gear case along the axis, and its radius at the ends, in metres.
"""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rod, rounded_block, rounded_outline, turned

ACTUATOR_FAMILIES = {
    "train": (
        "side_motor",
        "cross_motor",
        "tee_motor",
        "one_block",
        "can",
        "split_case",
        "stepped_case",
        "assembled",
    ),
    "calibration": ("drum", "tapered_case", "lantern", "brick_pair"),
    "heldout": ("teardrop", "angled_motor", "egg"),
}


def _side_motor(rng: np.random.Generator, r: float):
    """The motor lies beside the tube, parallel to it."""
    gear_r, half = r * rng.uniform(1.4, 2.0), rng.uniform(0.025, 0.05)
    motor_r, length = rng.uniform(0.02, 0.034), rng.uniform(0.09, 0.17)
    offset = gear_r + motor_r * rng.uniform(0.8, 1.2)
    gear = bevelled_prism(
        CrossSection.batch_hull(
            [CrossSection.circle(gear_r, 48), CrossSection.circle(motor_r * 1.1, 48).translate((offset, 0))]
        ),
        2 * half,
        0.004,
    )
    up = rng.random() < 0.75
    motor = cylinder(motor_r, length).translate((offset, 0, -half * 0.5 if up else half * 0.5 - length))
    cap = cylinder(motor_r * 0.95, 0.012, motor_r * 0.6).translate((offset, 0, -half * 0.5 + length if up else 0.0))
    return [gear, motor + cap if up else motor], half, gear_r


def _cross_motor(rng: np.random.Generator, r: float):
    """The motor stands at right angles to the tube."""
    gear_r, half = r * rng.uniform(1.4, 2.1), rng.uniform(0.028, 0.05)
    motor_r, length = rng.uniform(0.022, 0.038), rng.uniform(0.09, 0.17)
    gear = rounded_block(2 * gear_r, 2 * gear_r, 2 * half, gear_r * rng.uniform(0.1, 0.6))
    motor = rod((gear_r * 0.5, 0, 0), (gear_r + length, 0, 0), min(motor_r, half * 0.98))
    cap = rod((gear_r + length, 0, 0), (gear_r + length + 0.01, 0, 0), min(motor_r, half) * 0.75)
    return [gear, motor + cap], half, gear_r


def _tee_motor(rng: np.random.Generator, r: float):
    """The motor lies across the tube and stands out on both sides of the gear."""
    gear_r, half = r * rng.uniform(1.4, 2.0), rng.uniform(0.028, 0.05)
    motor_r = min(rng.uniform(0.02, 0.034), half * 0.95)
    ends = gear_r * rng.uniform(1.05, 1.6), gear_r + rng.uniform(0.05, 0.12)
    gear = cylinder(gear_r, 2 * half).translate((0, 0, -half))
    motor = rod((-ends[0], 0, 0), (ends[1], 0, 0), motor_r) - rod((0, 0, -1), (0, 0, 1), r * 0.9)
    return [gear, motor], half, gear_r


def _one_block(rng: np.random.Generator, r: float):
    """One boxy case round motor and gear."""
    w, d, half = rng.uniform(0.1, 0.17), r * rng.uniform(2.4, 3.4), rng.uniform(0.035, 0.08)
    case = rounded_block(w, d, 2 * half, min(w, d) * rng.uniform(0.06, 0.35)).translate((w / 2 - r * 1.5, 0, 0))
    return [case], half, min(d / 2, r * 1.5)


def _can(rng: np.random.Generator, r: float):
    """A slim case in line with the tube."""
    gear_r, half = r * rng.uniform(1.5, 2.3), rng.uniform(0.06, 0.11)
    can = _lathed(gear_r, half, (0.85, 0.85), (0.8, 0.8))
    return [can], half, gear_r * 0.82


def _lathed(radius: float, half: float, below: tuple[float, float], above: tuple[float, float]) -> Manifold:
    """A round case from -half to half; at each end the share of the radius there, and of `half` where it is whole."""
    (foot, low), (head, high) = below, above
    return turned([
        (0, -half), (radius * foot, -half), (radius, -half * low),
        (radius, half * high), (radius * head, half), (0, half),
    ])  # fmt: skip


def _split_case(rng: np.random.Generator, r: float):
    """A tall case of two shells with a groove between them, motor above it at the side."""
    w, d, half = rng.uniform(0.09, 0.14), r * rng.uniform(2.3, 3.0), rng.uniform(0.05, 0.09)
    case = bevelled_prism(rounded_outline(w, d, d * rng.uniform(0.15, 0.45)), 2 * half, 0.005).translate(
        (w / 2 - r * 1.5, 0, 0)
    )
    groove = block(1, 0.0012, 1) - block(w - 0.004, 1, 2 * half - 0.004).translate((w / 2 - r * 1.5, 0, 0))
    motor_r = min(d * 0.42, 0.032)
    motor = cylinder(motor_r, rng.uniform(0.05, 0.1)).translate((w - r * 1.5 - motor_r * 1.15, 0, half * 0.9))
    return [case - groove, motor], half, min(d / 2, r * 1.5)


def _stepped_case(rng: np.random.Generator, r: float):
    """A round gear case with a boxy motor cover on its flank."""
    gear_r, half = r * rng.uniform(1.5, 2.0), rng.uniform(0.03, 0.055)
    gear = cylinder(gear_r, 2 * half).translate((0, 0, -half)) + cylinder(gear_r * 1.12, half * 0.5).translate(
        (0, 0, -half * 0.25)
    )
    w, d, h = rng.uniform(0.05, 0.09), gear_r * rng.uniform(1.3, 1.9), rng.uniform(0.07, 0.15)
    cover = rounded_block(w, d, h, d * rng.uniform(0.1, 0.4)).translate(
        (gear_r + w * 0.35, 0, (h / 2 - half) * rng.choice([-1, 1]))
    )
    return [gear, cover], half, gear_r


def _drum(rng: np.random.Generator, r: float):
    """A short wide drum on the axis, the motor on its side."""
    gear_r, half = r * rng.uniform(2.2, 2.9), rng.uniform(0.025, 0.04)
    drum = _lathed(gear_r, half, (0.92, 0.6), (0.92, 0.6))
    motor_r = rng.uniform(0.02, 0.03)
    motor = cylinder(motor_r, rng.uniform(0.08, 0.12)).translate((gear_r - motor_r * 0.4, 0, half * 0.4))
    return [drum, motor], half, gear_r * 0.9


def _tapered_case(rng: np.random.Generator, r: float):
    """A tall case that narrows towards one end, the motor inside it beside the axis."""
    w, d, half = rng.uniform(0.09, 0.15), r * rng.uniform(2.4, 3.2), rng.uniform(0.05, 0.085)
    narrow = rng.uniform(0.55, 0.85)
    outline = rounded_outline(w, d, d * rng.uniform(0.1, 0.4)).translate((w / 2 - r * 1.5, 0))
    sides = (1.0, narrow) if rng.random() < 0.5 else (narrow, 1.0)
    slices = [
        Manifold.extrude(outline.scale((share, 0.85 + 0.15 * share)), 0.01).translate((0, 0, z))
        for share, z in zip(sides, (-half, half - 0.01), strict=True)
    ]
    return [Manifold.batch_hull(slices)], half, min(d * 0.85 / 2, r * 1.5 * narrow)


def _lantern(rng: np.random.Generator, r: float):
    """A gear case of six sides that swells in the middle, the motor hanging beside it."""
    gear_r, half = r * rng.uniform(1.5, 2.0), rng.uniform(0.04, 0.065)
    six = CrossSection.circle(gear_r * 1.12, 6)
    slices = [
        Manifold.extrude(six.scale((share, share)), 0.004).translate((0, 0, z))
        for share, z in ((0.86, -half), (1.15, -half * 0.3), (1.15, half * 0.3), (0.86, half - 0.004))
    ]
    motor_r = rng.uniform(0.018, 0.028)
    motor = cylinder(motor_r, rng.uniform(0.07, 0.13), motor_r * 0.9).rotate((180, 0, 0))
    return [Manifold.batch_hull(slices), motor.translate((gear_r + motor_r, 0, half * 0.7))], half, gear_r * 0.9


def _brick_pair(rng: np.random.Generator, r: float):
    """Two bricks of unlike size joined by a slab: gear on the axis, motor beside it."""
    side, half = r * rng.uniform(2.6, 3.4), rng.uniform(0.03, 0.05)
    gear = rounded_block(side, side, 2 * half, side * rng.uniform(0.04, 0.15))
    w, d, h = rng.uniform(0.04, 0.07), side * rng.uniform(0.6, 0.95), rng.uniform(0.08, 0.14)
    gap, up = rng.uniform(0.006, 0.02), float(rng.choice([-1, 1])) * half * 0.6
    motor = rounded_block(w, d, h, w * rng.uniform(0.05, 0.2)).translate((side / 2 + gap + w / 2, 0, up))
    slab = block(side / 2 + gap + w / 2, d * 0.6, half).translate((side / 4 + gap / 2 + w / 4, 0, 0))
    return [gear + slab, motor], half, side / 2


def _egg(rng: np.random.Generator, r: float):
    """A housing round on all sides, cut flat where fork and tube leave it."""
    gear_r, half = r * rng.uniform(1.5, 2.0), rng.uniform(0.035, 0.06)
    long, wide = gear_r + rng.uniform(0.03, 0.07), gear_r * rng.uniform(1.15, 1.4)
    body = Manifold.sphere(1, 48).scale((long, wide, half * 1.5)).translate((long - gear_r * 1.2, 0, 0))
    gear = cylinder(gear_r, 2 * half).translate((0, 0, -half))
    return [gear + (body ^ block(1, 1, 2 * half))], half, gear_r


def _teardrop(rng: np.random.Generator, r: float):
    """A flat case, round at one end and pointed at the other as seen along the axis."""
    gear_r, half = r * rng.uniform(1.5, 1.9), rng.uniform(0.035, 0.06)
    outline = CrossSection.batch_hull(
        [CrossSection.circle(gear_r, 48), CrossSection.circle(gear_r * 0.5, 32).translate((rng.uniform(0.06, 0.09), 0))]
    )
    case = bevelled_prism(outline, 2 * half, 0.008)
    motor = cylinder(gear_r * 0.7, rng.uniform(0.07, 0.12)).translate((gear_r * 1.1, 0, half * 0.8))
    return [case, motor], half, gear_r


def _angled_motor(rng: np.random.Generator, r: float):
    """The motor leans away from the tube."""
    gear_r, half = r * rng.uniform(1.5, 2.0), rng.uniform(0.03, 0.05)
    gear = bevelled_prism(CrossSection.circle(gear_r, 6 if rng.random() < 0.5 else 48), 2 * half, 0.004)
    lean, length = np.radians(rng.uniform(35, 65)), rng.uniform(0.1, 0.15)
    start = np.array([gear_r * 0.4, 0, 0])
    motor = rod(start, start + length * np.array([np.sin(lean), 0, np.cos(lean)]), rng.uniform(0.02, 0.03))
    return [gear, motor], half, gear_r


def _assembled(rng: np.random.Generator, r: float):
    """A gear case, a motor and what is put on them, each of any shape and size: no two alike."""
    gear_r, half = r * rng.uniform(1.35, 2.2), rng.uniform(0.025, 0.075)
    gear = _prism(rng, gear_r, gear_r * rng.uniform(1.0, 1.4), half)
    if rng.random() < 0.3:  # a flange, below or above
        thick = half * rng.uniform(0.15, 0.4)
        flange = cylinder(gear_r * rng.uniform(1.05, 1.3), thick)
        gear += flange.translate((0, 0, -half if rng.random() < 0.5 else half - thick))
    motor_r, length = rng.uniform(0.018, 0.036), rng.uniform(0.05, 0.17)
    motor = _motor(rng, motor_r, length)
    if rng.random() < 0.5:  # along the tube, up or down
        motor = motor.translate((gear_r + motor_r * rng.uniform(0.85, 1.0), 0, -half * rng.uniform(0.2, 1.0)))
        if rng.random() < 0.3:
            motor = motor.mirror((0, 0, 1))
        gear = Manifold.batch_hull([gear, (motor ^ block(1, 1, 2 * half))]) if rng.random() < 0.5 else gear
    else:  # at right angles to it
        side = rng.uniform(-0.5, 0.5) * gear_r
        along, up = gear_r * rng.uniform(0.2, 0.8), half * rng.uniform(-0.3, 0.3)
        motor = motor.rotate((0, 90, 0)).translate((along, side, up))
        motor ^= block(1, 1, 2 * half) if half > motor_r * 0.8 else block(1, 1, 1)
    solids = [gear, motor - cylinder(r * 0.9, 2).translate((0, 0, -1))]
    if rng.random() < 0.4:  # a cover for wires, or a boss
        size = rng.uniform(0.02, 0.06), rng.uniform(0.02, 0.05), min(rng.uniform(0.02, 0.07), 2 * half)
        cover = rounded_block(*size, min(size) * rng.uniform(0.05, 0.3))
        solids.append(cover.translate((0, gear_r, 0)).rotate((0, 0, float(rng.uniform(0, 360)))))
    return solids, half, gear_r


def _prism(rng: np.random.Generator, least: float, reach: float, half: float) -> Manifold:
    """A case about the axis: round, with corners, square, or longer on the motor's side; `least` is its radius."""
    kind = rng.choice(["round", "corners", "square", "long"])
    if kind == "round":
        outline = CrossSection.circle(least, 48)
    elif kind == "corners":
        outline = CrossSection.circle(least * 1.08, int(rng.choice([6, 8, 10])))
    elif kind == "square":
        outline = rounded_outline(2 * least, 2 * least * rng.uniform(0.9, 1.1), least * rng.uniform(0.05, 0.8))
    else:
        far = CrossSection.circle(least * rng.uniform(0.5, 1.0), 32).translate((reach, 0))
        outline = CrossSection.batch_hull([CrossSection.circle(least, 48), far])
    return bevelled_prism(outline, 2 * half, rng.uniform(0.0005, 0.3) * min(half, least))


def _motor(rng: np.random.Generator, radius: float, length: float) -> Manifold:
    """A motor that stands on z = 0: round, square or eight-sided, with a cap, rings or ribs now and then."""
    kind = rng.choice(["round", "square", "eight"], p=[0.6, 0.25, 0.15])
    if kind == "round":
        body = cylinder(radius, length)
    elif kind == "square":
        body = Manifold.extrude(rounded_outline(1.8 * radius, 1.8 * radius, radius * rng.uniform(0.1, 0.8)), length)
    else:
        body = Manifold.extrude(CrossSection.circle(radius, 8), length)
    end = rng.random()
    if end < 0.4:
        body += cylinder(radius * 0.95, radius * 0.4, radius * rng.uniform(0.4, 0.8)).translate((0, 0, length))
    elif end < 0.55:
        body += Manifold.sphere(radius * 0.9, 32).scale((1, 1, 0.5)).translate((0, 0, length))
    for k in range(int(rng.integers(2, 8)) if rng.random() < 0.2 else 0):
        body += cylinder(radius * 1.08, 0.003).translate((0, 0, length * (0.3 + 0.08 * k)))
    return body


HEADS = {
    "side_motor": _side_motor,
    "cross_motor": _cross_motor,
    "tee_motor": _tee_motor,
    "one_block": _one_block,
    "can": _can,
    "split_case": _split_case,
    "stepped_case": _stepped_case,
    "drum": _drum,
    "tapered_case": _tapered_case,
    "lantern": _lantern,
    "brick_pair": _brick_pair,
    "teardrop": _teardrop,
    "angled_motor": _angled_motor,
    "egg": _egg,
    "assembled": _assembled,
}
