"""Many views of one built scene for little more than the price of one: all their pixels are traced together.

A scene is flattened in its first camera's frame and loaded once; every further view is a camera in that frame. What a
phone does to a picture, part maps and labels are left to whoever gets the pixels, so that they are done in batches.
"""

from __future__ import annotations  # the renderer's types are there only once its variant is chosen

from collections.abc import Sequence
from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from synthetic_samples.render.flatten import FlatScene
from synthetic_samples.render.render import scene_of


@dataclass(frozen=True, eq=False)
class View:
    """A square picture: `to_frame` (4, 4) carries the camera, which looks along +z with y up, into the scene's frame.

    `half_tangent`: of the angle from the middle of the picture to the middle of a side.
    """

    to_frame: np.ndarray
    half_tangent: float


@dataclass(frozen=True, eq=False)
class Taken:
    """Pixels of V views, rows from the top: `radiance` (3, V, S, S) float16 linear, `albedo` (3, V, S, S) uint8,
    `normal` (3, V, S, S) int8 of the surface, in 127ths, 0 where there is none, and `label_ids` (V, S, S) uint8.
    """

    radiance: np.ndarray
    albedo: np.ndarray
    normal: np.ndarray
    label_ids: np.ndarray


def take(scene: FlatScene, views: Sequence[View], side_px: int, samples: int, depth: int) -> Taken:
    """Trace all views of a scene at once, `side_px` square, with so many light paths a pixel of at most this depth.

    Raises ValueError where the scene has more labels than a byte holds.
    """
    if len(scene.labels) > 256:
        raise ValueError(f"{len(scene.labels)} labels in one scene came; wanted 256 at most: put fewer things in it")
    world = scene_of(scene, labelled=True)
    cameras = mi.Float(_packed(views).ravel())
    count = len(views) * side_px**2
    colour, normal, label = _first_hits(world, cameras, count, side_px)
    light = _light(world, cameras, count, side_px, samples, depth, scene.seed)
    light, colour = dr.minimum(light, 6e4), colour * 255 + 0.5
    whole = [*(mi.Float16(c) for c in light), *(dr.uint8_array_t(mi.UInt32)(c) for c in colour)]
    whole += [*(dr.int8_array_t(mi.Int32)(dr.round(c * 127)) for c in normal), dr.uint8_array_t(mi.UInt32)(label)]
    dr.eval(whole)
    planes = [np.array(plane).reshape(len(views), side_px, side_px) for plane in whole]
    return Taken(*(np.stack(planes[k : k + 3]) for k in (0, 3, 6)), planes[9])


def _packed(views: Sequence[View]) -> np.ndarray:
    """(V, 13): the first three rows of each camera's place and turn, and the tangent."""
    return np.array([[*view.to_frame[:3].ravel(), view.half_tangent] for view in views], np.float32)


def _rays(cameras: mi.Float, pixel: mi.UInt32, side_px: int, jitter: mi.Point2f) -> mi.RayDifferential3f:
    """A ray for each pixel number; x runs to the picture's right, which is -x of a camera."""
    view, rest = pixel // (side_px**2), pixel % (side_px**2)
    numbers = [dr.gather(mi.Float, cameras, view * 13 + k) for k in range(13)]
    across = (mi.Float(rest % side_px) + jitter.x) * (2 / side_px) - 1
    down = (mi.Float(rest // side_px) + jitter.y) * (2 / side_px) - 1
    local = mi.Vector3f(-across * numbers[12], -down * numbers[12], 1.0)
    way = mi.Vector3f(*(
        numbers[4 * row] * local.x + numbers[4 * row + 1] * local.y + numbers[4 * row + 2] * local.z for row in range(3)
    ))  # fmt: skip
    start = mi.Point3f(numbers[3], numbers[7], numbers[11])
    return mi.RayDifferential3f(start, dr.normalize(way))


def _first_hits(world, cameras: mi.Float, count: int, side_px: int):
    """Surface colour, normal and label at the middle of each pixel."""
    rays = _rays(cameras, dr.arange(mi.UInt32, count), side_px, mi.Point2f(0.5, 0.5))
    hit = world.ray_intersect(rays)
    seen = hit.is_valid()
    colour = hit.bsdf(rays).eval_diffuse_reflectance(hit, seen) & seen
    label = hit.shape.eval_attribute_1("face_label", hit, seen)
    return dr.clip(colour, 0, 1), dr.select(seen, hit.sh_frame.n, 0), dr.select(seen, label, 0)


def _light(world, cameras: mi.Float, count: int, side_px: int, samples: int, depth: int, seed: int):
    sampler = mi.load_dict({"type": "independent"})
    sampler.seed(dr.opaque(mi.UInt32, seed), count * samples)  # a literal would be compiled in
    pixel = dr.arange(mi.UInt32, count * samples) // samples
    rays = _rays(cameras, pixel, side_px, sampler.next_2d())
    paths = mi.load_dict({"type": "path", "max_depth": depth, "rr_depth": 8})
    found = paths.sample(world, sampler, rays)[0]
    finite = dr.select(dr.isfinite(found), dr.minimum(found, 1e4), 0)
    dr.eval(finite)  # all three channels at once: summed one by one, each would trace every path again
    return type(found)(*(dr.block_sum(channel, samples) / samples for channel in finite))
