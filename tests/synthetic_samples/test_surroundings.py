"""Surfaces, places, clutter and look-alikes: sound solids of sane size, and colours that mean what they should."""

import colorsys

import numpy as np
import pytest
from manifold3d import Error

from synthetic_samples.geometry import Part, Picture, moved, shift
from synthetic_samples.look_alikes.look_alikes import look_alike, look_alike_kinds
from synthetic_samples.materials import materials, room_materials
from synthetic_samples.surroundings import clutter as clutter_module
from synthetic_samples.surroundings.surroundings import SETTINGS, draw_setting, setting

KINDS = [kind for style in ("train", "calibration", "heldout") for kind in look_alike_kinds(style)]
BUILDERS = sorted({*clutter_module.HOME, *clutter_module.WORKSHOP}, key=lambda builder: builder.__name__)
SURFACES = [
    materials.housing_material, materials.metal, materials.painted_metal, materials.rubber, materials.cable_material,
    materials.stop_red, materials.stop_yellow, room_materials.floor_material, room_materials.wall_material,
    room_materials.bench_material, room_materials.fabric, room_materials.cardboard,
]  # fmt: skip


def _check_sound(pieces, largest_m: float, lowest_m: float = -0.002) -> None:
    assert pieces
    for piece in pieces:
        if isinstance(piece, Part):
            assert piece.solid.status() == Error.NoError
            assert piece.solid.num_tri() > 0
            box = np.array(piece.solid.bounding_box())
        else:
            reach = np.array([piece.width_m, piece.width_m, piece.height_m]) / 2
            box = np.r_[piece.frame[:3, 3] - reach, piece.frame[:3, 3] + reach]
            assert piece.pixels.dtype == np.float32 and 0 <= piece.pixels.min() <= piece.pixels.max() <= 1
        assert box[2] >= lowest_m or isinstance(piece, Picture)
        assert np.abs(box).max() <= largest_m
    assert sum(piece.solid.num_tri() for piece in pieces if isinstance(piece, Part)) < 20_000


@pytest.mark.parametrize("kind", KINDS)
def test_look_alikes_are_sound_stand_centred_on_the_ground_and_carry_their_label(kind):
    for seed in range(2):
        pieces = look_alike(np.random.default_rng(seed), kind)
        _check_sound(pieces, 0.9)
        assert {piece.label for piece in pieces} == {f"look_alike/{kind}"}
        boxes = np.array([piece.solid.bounding_box() for piece in pieces if isinstance(piece, Part)])
        assert boxes[:, 2].min() == pytest.approx(0, abs=1e-5)
        assert boxes[:, :2].min(axis=0) == pytest.approx(-boxes[:, 3:5].max(axis=0), abs=1e-5)
        assert 0.03 < (boxes[:, 3:].max(axis=0) - boxes[:, :3].min(axis=0)).max() < 0.9


def test_look_alike_kinds_are_split_by_style_without_overlap():
    counts = [len(look_alike_kinds(style)) for style in ("train", "calibration", "heldout")]
    assert len(KINDS) == len(set(KINDS)) == sum(counts)
    assert counts[0] >= 20 and counts[2] >= 5
    with pytest.raises(ValueError, match="heldout"):
        look_alike_kinds("test")
    with pytest.raises(ValueError, match="tool_case"):
        look_alike(np.random.default_rng(0), "spaceship")


@pytest.mark.parametrize("kind", KINDS)
def test_a_look_alike_varies_in_size_and_colour(kind):
    drawn = [look_alike(np.random.default_rng(seed), kind) for seed in range(4)]
    solids = [[piece.solid for piece in pieces if isinstance(piece, Part)] for pieces in drawn]
    volumes = {round(1e9 * sum(solid.volume() for solid in built)) for built in solids}
    colours = {tuple(np.round(np.asarray(pieces[0].material.base_color).reshape(-1, 3)[0], 3)) for pieces in drawn}
    assert len(volumes) == 4
    assert len(colours) >= 3


@pytest.mark.parametrize("kind", SETTINGS)
def test_places_are_sound_unlabelled_and_leave_the_subject_room(kind):
    for seed in range(2):
        clear = 0.25
        place = setting(np.random.default_rng(seed), kind, clear)
        if place.pieces:
            _check_sound(place.pieces, 4.2, lowest_m=-0.06)
        assert {piece.label for piece in place.pieces} <= {""}
        assert np.allclose(place.anchor[:3, :3] @ place.anchor[:3, :3].T, np.eye(3))
        x, y, z = place.anchor[:3, 3]
        back = 0.0 if place.backdrop == "wall" else 0.8 * clear
        for piece in place.pieces:
            if not isinstance(piece, Part):
                continue
            hits = piece.solid.ray_cast((x, y - 0.6, z + 0.06), (x, y + back - 1e-4, z + 0.06))
            assert not hits or place.backdrop == "wall", (kind, seed)


@pytest.mark.parametrize("place", ["floor", "bench", "wall"])
def test_draw_setting_gives_what_was_asked_for(place):
    wanted = {"floor": {"floor", "open", "bench"}, "bench": {"bench"}, "wall": {"wall"}}[place]
    assert {draw_setting(np.random.default_rng(seed), place, 0.15).backdrop for seed in range(12)} <= wanted


def test_unknown_places_are_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="hallway"):
        setting(np.random.default_rng(0), "moon")
    with pytest.raises(ValueError, match="wall"):
        draw_setting(np.random.default_rng(0), "ceiling", 0.1)


@pytest.mark.parametrize("builder", BUILDERS, ids=lambda builder: builder.__name__)
def test_clutter_is_sound_and_small(builder):
    for seed in range(2):
        _check_sound(builder(np.random.default_rng(seed)), 0.6)


@pytest.mark.parametrize("surface", SURFACES, ids=lambda surface: surface.__name__)
def test_surfaces_reflect_no_more_than_they_get_and_repeat_by_seed(surface):
    for seed in range(6):
        one, same = surface(np.random.default_rng(seed)), surface(np.random.default_rng(seed))
        colour = np.asarray(one.base_color)
        assert 0 <= colour.min() <= colour.max() <= 0.97
        assert 0.03 <= np.min(one.roughness) <= np.max(one.roughness) <= 1
        assert np.array_equal(colour, same.base_color) and np.array_equal(one.roughness, same.roughness)


def _hue_deg(material: materials.Material) -> float:
    """Hue as it is seen, of the material's middle colour."""
    linear = np.median(np.asarray(material.base_color).reshape(-1, 3), axis=0)
    shown = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return 360 * colorsys.rgb_to_hsv(*shown)[0]


def test_stop_red_is_red_and_stop_yellow_is_yellow():
    """Red on yellow is the convention of ISO 13850 and IEC 60204-1 (from memory); the hue limits here are our own."""
    for seed in range(60):
        red = _hue_deg(materials.stop_red(np.random.default_rng(seed)))
        assert red <= 16 or red >= 350
        assert 40 <= _hue_deg(materials.stop_yellow(np.random.default_rng(seed))) <= 60


def test_housings_come_in_all_colours_and_greys():
    hues, greys = [], 0
    for seed in range(110):
        material = materials.housing_material(np.random.default_rng(seed))
        colour = np.median(np.asarray(material.base_color).reshape(-1, 3), axis=0)
        greys += np.ptp(colour) < 0.06
        if np.ptp(colour) > 0.1:
            hues.append(_hue_deg(material))
    assert greys > 18
    assert np.count_nonzero(np.histogram(hues, bins=6, range=(0, 360))[0]) == 6


def test_stickers_fit_the_size_asked_for_and_keep_their_frame_when_moved():
    sticker = materials.sticker(np.random.default_rng(0), 0.05, 0.02)
    assert (sticker.width_m, sticker.height_m) == (0.05, 0.02)
    assert moved([sticker], shift(1, 2, 3))[0].frame[:3, 3] == pytest.approx((1, 2, 3))
