"""Everyday things that lie about where a lift is photographed; each stands on z = 0, centred, in real size."""

from collections.abc import Callable
from typing import Final

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Picture,
    Piece,
    bevelled_prism,
    block,
    cable,
    curve,
    cylinder,
    moved,
    rod,
    rounded_block,
    rounded_outline,
    shift,
    turn,
    turned,
)
from synthetic_samples.materials.materials import (
    any_colour,
    cable_material,
    metal,
    painted_metal,
    plain_material,
    rubber,
    sticker,
)
from synthetic_samples.materials.room_materials import cardboard, fabric, wood
from synthetic_samples.surroundings.assembly import copies, in_row
from synthetic_samples.surroundings.workshop_clutter import (
    hammer,
    parts_tray,
    screwdriver,
    spanner,
    storage_bin,
    tape_roll,
)

Builder = Callable[[np.random.Generator], list[Piece]]


def clutter(rng: np.random.Generator, place: str = "any") -> list[Piece]:
    """One everyday thing, turned at random, that might lie in `place`: "home", "workshop" or "any"."""
    if place not in (*_PLACES, "any"):
        raise ValueError(f"clutter for {place!r}: wanted 'home', 'workshop' or 'any'")
    builders = _PLACES[place] if place in _PLACES else HOME + WORKSHOP
    pieces = builders[rng.integers(len(builders))](rng)
    return moved(pieces, turn((0, 0, 1), float(rng.uniform(0, 360))))


def mug(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.034, 0.047), rng.uniform(0.075, 0.115)
    wall = 0.0035
    base = radius * rng.uniform(0.7, 1.0)
    profile = [(0, 0), (base, 0), (radius, height), (radius - wall, height), (base - wall, wall), (0, wall)]
    angles = np.radians(np.linspace(-80, 80, 12))
    loop = np.stack([radius * 0.88 + 0.026 * np.cos(angles), 0 * angles, height / 2 + 0.3 * height * np.sin(angles)], 1)
    material = plain_material(rng, (0.05, 0.4))
    return [Part(turned(profile), material), Part(cable(loop, 0.005), material)]


def bowl(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.06, 0.13), rng.uniform(0.04, 0.09)
    levels = np.linspace(0, 1, 8)
    outside = [(radius * (0.4 + 0.6 * np.sqrt(level)), height * level) for level in levels]
    inside = [(r - 0.004, max(z, 0.005)) for r, z in outside[::-1]]
    return [Part(turned([(0, 0), *outside, *inside, (0, 0.005)]), plain_material(rng, (0.05, 0.5)))]


def bottle(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.028, 0.05), rng.uniform(0.15, 0.3)
    neck = radius * rng.uniform(0.3, 0.5)
    shoulder = height * rng.uniform(0.6, 0.8)
    body = turned([(0, 0), (radius, 0), (radius, shoulder), (neck, height * 0.88), (neck, height), (0, height)])
    cap = cylinder(neck * 1.15, height * 0.08).translate((0, 0, height * 0.97))
    band = cylinder(radius * 1.005, shoulder * 0.5).translate((0, 0, shoulder * 0.25))
    glass = plain_material(rng, (0.03, 0.3))
    return [Part(body, glass), Part(cap, plain_material(rng)), Part(band, plain_material(rng))]


def spray_bottle(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.035, 0.05), rng.uniform(0.14, 0.2)
    body = turned([(0, 0), (radius, 0), (radius, height * 0.6), (0.014, height), (0, height)])
    head = rounded_block(0.085, 0.025, 0.035, 0.008, 8).translate((0.02, 0, height + 0.03))
    lever = rod((0.03, 0, height + 0.015), (0.055, 0, height - 0.04), 0.005, 10)
    top = Part(head + lever + cylinder(0.014, 0.03).translate((0, 0, height - 0.005)), plain_material(rng))
    return [Part(body, plain_material(rng)), top]


def book(rng: np.random.Generator) -> list[Piece]:
    width, depth, height = rng.uniform(0.11, 0.21), rng.uniform(0.15, 0.3), rng.uniform(0.008, 0.045)
    cover = block(width, depth, height) - block(width, depth * 0.97, height * 0.8).translate((0.004, 0, 0))
    pages = block(width * 0.98, depth * 0.96, height * 0.8)
    paper = Material((0.75, 0.71, 0.62), 0.9)
    lifted = shift(z=height / 2)
    return moved([Part(cover, plain_material(rng)), Part(pages, paper)], lifted)


def book_stack(rng: np.random.Generator) -> list[Piece]:
    pieces: list[Piece] = []
    top = 0.0
    for _ in range(int(rng.integers(2, 5))):
        one = book(rng)
        pieces += moved(one, shift(rng.normal(0, 0.01), rng.normal(0, 0.01), top) @ turn((0, 0, 1), rng.normal(0, 12)))
        top += one[0].solid.bounding_box()[5]
    return pieces


def carton(rng: np.random.Generator) -> list[Piece]:
    width, depth, height = rng.uniform(0.08, 0.4, 3) * (1, 0.8, 0.8)
    pieces: list[Piece] = [Part(block(width, depth, height).translate((0, 0, height / 2)), cardboard(rng))]
    tape = Material((0.45, 0.33, 0.17) if rng.random() < 0.5 else any_colour(rng), 0.2)
    pieces.append(Part(block(width * 1.002, 0.05, height * 1.004).translate((0, 0, height / 2)), tape))
    if rng.random() < 0.6:
        label = sticker(rng, 0.6 * width, 0.5 * height)
        pieces.append(label.moved(shift(rng.uniform(-0.1, 0.1) * width, -depth / 2 - 0.001, height * 0.5)))
    return pieces


def tissue_box(rng: np.random.Generator) -> list[Piece]:
    width, depth, height = rng.uniform(0.11, 0.24), rng.uniform(0.1, 0.13), rng.uniform(0.06, 0.13)
    sheet = np.array([[0.0, 0, 0], [0.02, 0.01, 0.03], [0.05, -0.01, 0.05], [0.07, 0.0, 0.02]]) * rng.uniform(0.7, 1.2)
    tissue = cable(curve(sheet, 10), 0.018, 6).scale((1, 0.5, 1)).translate((-0.02, 0, height))
    box = Part(block(width, depth, height).translate((0, 0, height / 2)), fabric(rng))
    return [box, Part(tissue, Material((0.85, 0.85, 0.86), 0.95))]


def slab_phone(rng: np.random.Generator) -> list[Piece]:
    width, length = rng.uniform(0.065, 0.08), rng.uniform(0.14, 0.17)
    body = bevelled_prism(rounded_outline(width, length, rng.uniform(0.006, 0.012)), 0.008, 0.002)
    screen = bevelled_prism(rounded_outline(width * 0.93, length * 0.96, 0.006), 0.0008, 0)
    glass = Material((0.01, 0.01, 0.012), 0.05, clearcoat=1.0)
    return moved([Part(body, plain_material(rng)), Part(screen.translate((0, 0, 0.0041)), glass)], shift(z=0.004))


def paper_sheets(rng: np.random.Generator) -> list[Piece]:
    pieces: list[Piece] = []
    for level in range(int(rng.integers(1, 4))):
        width, height = (0.21, 0.297) if rng.random() < 0.6 else (0.15, 0.21)
        sheet = sticker(rng, width, height)
        x, y = rng.normal(0, 0.02, 2)
        flat = shift(x, y, 0.002 + 0.001 * level) @ turn((0, 0, 1), rng.normal(0, 15))
        pieces.append(Picture(width, height, sheet.pixels, roughness=0.9).moved(flat @ turn((1, 0, 0), -90)))
    return pieces


def cushion(rng: np.random.Generator) -> list[Piece]:
    side, height = rng.uniform(0.3, 0.5), rng.uniform(0.09, 0.18)
    core = bevelled_prism(rounded_outline(side, side * rng.uniform(0.7, 1.0), side * 0.2), height, 0.44 * height)
    return [Part(core.translate((0, 0, height / 2)), fabric(rng), crease_deg=80)]


def towel(rng: np.random.Generator) -> list[Piece]:
    width, depth, layers = rng.uniform(0.15, 0.35), rng.uniform(0.12, 0.3), int(rng.integers(2, 5))
    fold = bevelled_prism(rounded_outline(width, depth, 0.02), 0.016, 0.007)
    places = [
        shift(*rng.normal(0, 0.004, 2), 0.008 + 0.015 * k) @ turn((0, 0, 1), rng.normal(0, 1.5)) for k in range(layers)
    ]
    return [Part(copies(fold, places), fabric(rng), crease_deg=60)]


def plant_pot(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.05, 0.11), rng.uniform(0.08, 0.18)
    soil = height * 0.9
    rim = (radius, height), (radius * 0.9, height), (radius * 0.85, soil)
    pot = turned([(0, 0), (radius * 0.75, 0), *rim, (0, soil)])
    wide, thin = rng.uniform(0.012, 0.04), 0.003
    ridge = [(0, thin, 0.07), (wide, 0, 0.08), (-wide, 0, 0.08), (0, -thin, 0.07)]
    leaf = Manifold.hull_points(np.array([(0.002, 0, 0), (-0.002, 0, 0), *ridge, (0, 0.04, 0.14)]))
    places = [
        shift(z=soil) @ turn((0, 0, 1), rng.uniform(0, 360)) @ turn((1, 0, 0), rng.uniform(-60, -5))
        @ np.diag([*[rng.uniform(0.5, 1.6)] * 3, 1.0]) for _ in range(int(rng.integers(6, 22)))
    ]  # fmt: skip
    green = Material((rng.uniform(0.02, 0.12), rng.uniform(0.1, 0.3), rng.uniform(0.02, 0.08)), 0.4)
    return [Part(pot, plain_material(rng, (0.2, 0.8))), Part(copies(leaf, places), green)]


def slippers(rng: np.random.Generator) -> list[Piece]:
    length, width = rng.uniform(0.24, 0.3), rng.uniform(0.085, 0.105)
    sole = bevelled_prism(rounded_outline(width, length, width * 0.48), 0.02, 0.004).translate((0, 0, 0.01))
    hood = Manifold.sphere(1.0, 24).scale((width * 0.52, length * 0.32, 0.06)) ^ block(1, 1, 1).translate((0, 0, 0.5))
    opening = block(width * 0.8, length * 0.5, 0.05).translate((0, -0.05, 0.045))
    hood = hood.translate((0, length * 0.2, 0.015)) - opening
    bottom, top = rubber(rng), fabric(rng)
    pieces: list[Piece] = []
    for x in (-0.06, 0.06):
        place = shift(x, rng.normal(0, 0.03)) @ turn((0, 0, 1), rng.normal(0, 12))
        pieces += moved([Part(sole, bottom), Part(hood, top)], place)
    return pieces


def pens(rng: np.random.Generator) -> list[Piece]:
    pieces: list[Piece] = []
    for _ in range(int(rng.integers(1, 4))):
        radius, length = rng.uniform(0.004, 0.006), rng.uniform(0.13, 0.16)
        shaft = turned([(0, 0), (0.001, 0), (radius, 0.018), (radius, length), (0, length)], 16).rotate((0, 90, 0))
        place = shift(rng.normal(0, 0.04), rng.normal(0, 0.04), radius) @ turn((0, 0, 1), rng.uniform(0, 360))
        pieces += moved([Part(shaft.translate((-length / 2, 0, 0)), plain_material(rng))], place)
    return pieces


def paper_roll(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.045, 0.065), rng.choice([0.1, 0.24])
    roll = cylinder(radius, height) - cylinder(0.02, 1.0).translate((0, 0, -0.3))
    return [Part(roll, Material((0.8, 0.8, 0.78), 0.95))]


def ball(rng: np.random.Generator) -> list[Piece]:
    radius = rng.uniform(0.02, 0.11)
    return [Part(Manifold.sphere(radius, 40).translate((0, 0, radius)), plain_material(rng))]


def cable_tangle(rng: np.random.Generator) -> list[Piece]:
    turns, radius = rng.uniform(1.5, 4.0), rng.uniform(0.04, 0.11)
    angles = np.linspace(0, 2 * np.pi * turns, int(8 * turns))
    wobble = radius * (1 + 0.25 * rng.standard_normal(len(angles)))
    control = np.stack([wobble * np.cos(angles), wobble * np.sin(angles), 0.006 + 0.02 * rng.random(len(angles))], 1)
    tail = control[-1] + np.cumsum(rng.normal(0, 0.05, (3, 3)) * (1, 1, 0), axis=0) * (1, 1, 0)
    path = curve(np.vstack([control, tail]), int(24 * turns))
    return [Part(cable(path, rng.uniform(0.0025, 0.0045), 6), cable_material(rng))]


def desk_lamp(rng: np.random.Generator) -> list[Piece]:
    reach, height = rng.uniform(0.1, 0.2), rng.uniform(0.28, 0.45)
    foot = cylinder(rng.uniform(0.06, 0.09), 0.015)
    elbow, head = (reach * 0.3, 0, height), (reach, 0, height * 1.05)
    arm = rod((0, 0, 0), elbow, 0.007, 12) + rod(elbow, head, 0.007, 12)
    shade = turned([(0.017, 0.09), (0.072, 0), (0.075, 0), (0.02, 0.09)]).translate((reach, 0, height * 1.05 - 0.07))
    paint = plain_material(rng)
    return [Part(foot, paint), Part(arm, metal(rng)), Part(shade, paint if rng.random() < 0.6 else painted_metal(rng))]


def basket(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.1, 0.18), rng.uniform(0.1, 0.25)
    hoop = turned([(radius - 0.008, 0), (radius, 0.008), (radius - 0.008, 0.016), (radius - 0.016, 0.008)], 28)
    wall = cylinder(radius - 0.004, height) - cylinder(radius - 0.009, height).translate((0, 0, 0.008))
    straw = wood(rng)
    hoops = in_row(hoop, 7, (0, 0, height / 6)).translate((0, 0, height / 2))
    return [Part(hoops, straw), Part(wall, Material((0.15, 0.1, 0.05), 0.8))]


HOME: Final[tuple[Builder, ...]] = (
    mug, bowl, bottle, spray_bottle, book, book_stack, carton, tissue_box, slab_phone, paper_sheets, cushion, towel,
    plant_pot, slippers, pens, paper_roll, ball, desk_lamp, basket, cable_tangle,
)  # fmt: skip
WORKSHOP: Final[tuple[Builder, ...]] = (
    carton, bottle, spray_bottle, screwdriver, spanner, hammer, tape_roll, cable_tangle, storage_bin, parts_tray,
    pens, mug, paper_sheets, desk_lamp, ball,
)  # fmt: skip
_PLACES: Final = {"home": HOME, "workshop": WORKSHOP}
