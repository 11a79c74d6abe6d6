"""Floors, walls, bench tops and cloth: what stands round a lift and under it."""

from collections.abc import Callable
from typing import Final

import numpy as np

from synthetic_samples.geometry import Material
from synthetic_samples.materials.materials import painted_metal, room_colour
from synthetic_samples.materials.textures import (
    SIZE,
    cloud,
    from_hsv,
    grain,
    linear,
    mixed,
    patches,
    rough_cloud,
    scratches,
    shaded,
)


def floor_material(rng: np.random.Generator) -> Material:
    """Any floor of a home, a ward or a workshop."""
    choices = (linoleum, planks, tiles, carpet, concrete, checkered)
    return choices[rng.choice(len(choices), p=[0.25, 0.22, 0.16, 0.17, 0.12, 0.08])](rng)


def wall_material(rng: np.random.Generator) -> Material:
    """Any wall of a home, a ward or a workshop."""
    choices = (painted_wall, wallpaper, tiles, brick, panelling, concrete)
    return choices[rng.choice(len(choices), p=[0.5, 0.14, 0.12, 0.08, 0.1, 0.06])](rng)


def bench_material(rng: np.random.Generator) -> Material:
    """Any table or bench top."""
    choices: tuple[Callable[[np.random.Generator], Material], ...] = (wood, planks, speckled, painted_metal, fabric)
    return choices[rng.choice(len(choices), p=[0.4, 0.15, 0.2, 0.13, 0.12])](rng)


def wood(rng: np.random.Generator) -> Material:
    """One board, its grain along the texture's second axis."""
    pixels, sheen = _grained(rng)
    pixels = mixed(pixels, linear(60, 45, 35), 0.5 * patches(rng, 8, 0.1 * float(rng.random())))
    pixels = mixed(pixels, linear(200, 180, 150), 0.3 * scratches(rng, int(rng.integers(0, 25))))
    return Material(pixels, sheen, tile_m=float(rng.uniform(0.4, 1.0)))


def planks(rng: np.random.Generator) -> Material:
    """Parquet or laminate: boards side by side with dark joints."""
    pixels, sheen = _grained(rng)
    boards = int(rng.choice([2, 4, 8]))
    width = SIZE // boards
    tone = np.repeat(1 + 0.25 * (rng.random(boards, np.float32) - 0.5), width)[None, :]
    joints = np.zeros((SIZE, SIZE), np.float32)
    joints[:, ::width] = 0.7
    for board in range(boards):
        joints[int(rng.integers(0, SIZE)), board * width : (board + 1) * width] = 0.7
    pixels = mixed(shaded(pixels, np.broadcast_to(tone, (SIZE, SIZE))), linear(40, 30, 22), joints)
    return Material(pixels, sheen, clearcoat=float(rng.choice([0.0, 0.5])), tile_m=0.12 * boards)


def tiles(rng: np.random.Generator) -> Material:
    """Ceramic tiles with joints, plain or mottled."""
    across, down = (int(value) for value in rng.choice([2, 4, 8], 2))
    tone = 1 + 0.12 * (rng.random((down, across), np.float32) - 0.5)
    tone = np.kron(tone, np.ones((SIZE // down, SIZE // across), np.float32))
    pixels = shaded(room_colour(rng), tone + float(rng.uniform(0.0, 0.2)) * (rough_cloud(rng, 8) - 0.5))
    joints = np.zeros((SIZE, SIZE), np.float32)
    for offset in range(int(rng.integers(2, 4))):
        joints[offset :: SIZE // down] = joints[:, offset :: SIZE // across] = 1
    grout = from_hsv(35, float(rng.uniform(0, 0.15)), float(rng.uniform(0.35, 0.9)))
    sheen = np.where(joints > 0, 0.8, float(rng.uniform(0.1, 0.35))).astype(np.float32)
    return Material(mixed(pixels, grout, joints), sheen, tile_m=float(rng.uniform(0.1, 0.3)) * across)


def carpet(rng: np.random.Generator) -> Material:
    """Looped or cut pile, plain, flecked or patterned."""
    pixels = shaded(room_colour(rng), 1 + 0.18 * grain(rng) + 0.3 * (cloud(rng, 64) - 0.5))
    if rng.random() < 0.5:
        pixels = mixed(pixels, room_colour(rng), _woven(rng) * float(rng.uniform(0.2, 0.9)))
    return Material(pixels, 0.95, specular=0.1, tile_m=float(rng.uniform(0.25, 0.7)))


def linoleum(rng: np.random.Generator) -> Material:
    """Sheet floor of wards and corridors, marbled or speckled, scuffed."""
    pixels = shaded(room_colour(rng), 1 + 0.2 * (rough_cloud(rng, 16) - 0.5) + 0.03 * grain(rng))
    if rng.random() < 0.5:
        pixels = mixed(pixels, room_colour(rng), 0.6 * (grain(rng) > float(rng.uniform(1.6, 2.6))))
    pixels = mixed(pixels, linear(50, 48, 45), 0.25 * scratches(rng, int(rng.integers(0, 40))))
    sheen = float(rng.uniform(0.18, 0.5)) + 0.15 * (cloud(rng, 8) - 0.5)
    return Material(pixels, np.clip(sheen, 0.1, 0.9), tile_m=float(rng.uniform(0.5, 1.5)))


def concrete(rng: np.random.Generator) -> Material:
    """Raw or painted concrete with stains."""
    grey = from_hsv(float(rng.uniform(20, 220)), float(rng.uniform(0, 0.12)), float(rng.uniform(0.4, 0.75)))
    pixels = shaded(grey, 1 + 0.3 * (rough_cloud(rng, 8) - 0.5) + 0.05 * grain(rng))
    pixels = mixed(pixels, linear(55, 50, 45), 0.5 * patches(rng, 4, 0.25 * float(rng.random())))
    return Material(pixels, float(rng.uniform(0.6, 0.9)), tile_m=float(rng.uniform(0.6, 1.6)))


def checkered(rng: np.random.Generator) -> Material:
    """Two colours in squares."""
    cells = int(rng.choice([2, 4]))
    board = np.kron(np.indices((cells, cells)).sum(0) % 2, np.ones((SIZE // cells, SIZE // cells)))
    pixels = shaded(mixed(room_colour(rng), room_colour(rng), board), 1 + 0.15 * (rough_cloud(rng, 8) - 0.5))
    return Material(pixels, float(rng.uniform(0.15, 0.5)), tile_m=float(rng.uniform(0.15, 0.4)) * cells)


def painted_wall(rng: np.random.Generator) -> Material:
    """Rolled paint on plaster, mostly pale."""
    pale = from_hsv(float(rng.uniform(0, 360)), float(rng.uniform(0.0, 0.2)), float(rng.uniform(0.7, 0.96)))
    colour = pale if rng.random() < 0.75 else room_colour(rng)
    pixels = shaded(colour, 1 + 0.05 * (rough_cloud(rng, 4) - 0.5) + 0.02 * grain(rng))
    pixels = mixed(pixels, linear(110, 100, 90), 0.2 * patches(rng, 8, 0.12 * float(rng.random())))
    return Material(pixels, float(rng.uniform(0.6, 0.95)), tile_m=float(rng.uniform(0.5, 1.5)))


def wallpaper(rng: np.random.Generator) -> Material:
    """Stripes, dots or blots in two or three colours."""
    base = from_hsv(float(rng.uniform(0, 360)), float(rng.uniform(0.0, 0.3)), float(rng.uniform(0.6, 0.95)))
    pixels = mixed(base, room_colour(rng), float(rng.uniform(0.2, 0.8)) * _woven(rng))
    if rng.random() < 0.5:
        pixels = mixed(pixels, room_colour(rng), 0.6 * patches(rng, 8, float(rng.uniform(0.05, 0.3))))
    pixels = shaded(pixels, 1 + 0.02 * grain(rng))
    return Material(pixels, float(rng.uniform(0.7, 0.95)), tile_m=float(rng.uniform(0.2, 0.6)))


def brick(rng: np.random.Generator) -> Material:
    """Brick courses, bare or painted over."""
    rows, columns = 8, 4
    tone = np.kron(1 + 0.4 * (rng.random((rows, columns)) - 0.5), np.ones((SIZE // rows, SIZE // columns)))
    joints = np.zeros((SIZE, SIZE), np.float32)
    for row in range(rows):
        band = slice(row * 32, row * 32 + 32)
        start = 32 * (row % 2)
        tone[band] = np.roll(tone[band], start, 1)
        joints[band, [(start + 64 * k + d) % SIZE for k in range(columns) for d in range(3)]] = 1
        joints[row * 32 : row * 32 + 3] = 1
    bare = from_hsv(float(rng.uniform(5, 25)), float(rng.uniform(0.35, 0.65)), float(rng.uniform(0.4, 0.7)))
    colour, mortar = (bare, linear(170, 165, 155)) if rng.random() < 0.6 else ((room_colour(rng),) * 2)
    pixels = mixed(shaded(colour, tone + 0.06 * grain(rng)), np.asarray(mortar) * 0.85, joints)
    return Material(pixels, 0.9, tile_m=float(rng.uniform(0.5, 0.9)))


def panelling(rng: np.random.Generator) -> Material:
    """Boards upright on a wall."""
    pixels, sheen = _grained(rng) if rng.random() < 0.6 else (shaded(room_colour(rng), np.ones((SIZE, SIZE))), 0.4)
    grooves = np.zeros((SIZE, SIZE), np.float32)
    for offset in (0, 1, 2):
        grooves[:, offset :: SIZE // 4] = 0.8
    return Material(mixed(pixels, linear(25, 20, 16), grooves), sheen, tile_m=float(rng.uniform(0.3, 0.6)))


def speckled(rng: np.random.Generator) -> Material:
    """Laminate or stone worktop."""
    pixels = shaded(room_colour(rng), 1 + 0.15 * (rough_cloud(rng, 32) - 0.5))
    pixels = mixed(pixels, room_colour(rng), 0.8 * (cloud(rng, 128) > float(rng.uniform(0.6, 0.85))))
    return Material(pixels, float(rng.uniform(0.12, 0.5)), tile_m=float(rng.uniform(0.2, 0.5)))


def fabric(rng: np.random.Generator) -> Material:
    """Woven or knitted cloth: bedding, curtain, upholstery, towel."""
    pixels = shaded(room_colour(rng), 1 + 0.1 * grain(rng) + 0.2 * (cloud(rng, 128, 16) - 0.5))
    if rng.random() < 0.5:
        pixels = mixed(pixels, room_colour(rng), float(rng.uniform(0.3, 0.9)) * _woven(rng))
    return Material(pixels, 0.95, specular=0.15, tile_m=float(rng.uniform(0.1, 0.4)))


def cardboard(rng: np.random.Generator) -> Material:
    """Packing board, brown or white."""
    colour = from_hsv(float(rng.uniform(25, 38)), float(rng.uniform(0.1, 0.45)), float(rng.uniform(0.55, 0.85)))
    return Material(shaded(colour, 1 + 0.1 * (cloud(rng, 64, 4) - 0.5) + 0.03 * grain(rng)), 0.85, tile_m=0.2)


_WOOD_HUES: Final = (18.0, 38.0)


def _grained(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Colours and roughness of wood, (SIZE, SIZE, 3) and (SIZE, SIZE)."""
    hue, value = float(rng.uniform(*_WOOD_HUES)), float(rng.uniform(0.25, 0.85))
    colour = from_hsv(hue, float(rng.uniform(0.2, 0.65)), value)
    rings = 0.5 + 0.5 * np.sin(40 * cloud(rng, 4, 8) * float(rng.uniform(0.3, 1.0)) + 6 * cloud(rng, 2, 64))
    fibres = cloud(rng, 8, SIZE)
    pixels = shaded(colour, 1 - 0.22 * rings + 0.2 * (fibres - 0.5))
    return pixels, np.clip(float(rng.uniform(0.2, 0.6)) + 0.2 * (fibres - 0.5), 0.1, 0.9).astype(np.float32)


def _woven(rng: np.random.Generator) -> np.ndarray:
    """Stripes, checks, dots or zigzags, (SIZE, SIZE) float32 in 0..1."""
    x = np.arange(SIZE, dtype=np.float32)[None, :] / SIZE
    y = np.arange(SIZE, dtype=np.float32)[:, None] / SIZE
    turns = int(rng.choice([2, 4, 6, 8]))
    across, along = np.sin(2 * np.pi * turns * x), np.sin(2 * np.pi * turns * y)
    patterns = (
        np.broadcast_to(across > rng.uniform(-0.3, 0.9), (SIZE, SIZE)),
        np.broadcast_to(along > rng.uniform(-0.3, 0.9), (SIZE, SIZE)),
        (across > 0.2) ^ (along > 0.2),
        across * along > rng.uniform(0.2, 0.8),
        np.sin(2 * np.pi * turns * (x + 0.1 * np.abs(along))) > 0.3,
    )
    return patterns[rng.integers(len(patterns))].astype(np.float32)
