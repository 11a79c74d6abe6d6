"""Scene to pixels and masks by the renderer (Mitsuba 3): one picture of a scene; `views.py` takes many of one."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import drjit as dr
import mitsuba as mi
import numpy as np

from synthetic_samples.geometry import Material
from synthetic_samples.render.flatten import TEXTURE_SLOTS, FlatScene, Triangles

_FEWEST_THREADS = 2  # where there is one core it has one, and then it waits for ever for what a second one would do
_MAX_DEPTH = 4
_GUIDE_SAMPLES = 4
_ASSETS = Path(__file__).parents[1] / "assets"
_FLASH_POSITION = [0.012, 0.008, 0.0]
_HIDDEN = np.array([(0, 0, -900), (0.001, 0, -900), (0, 0.001, -900)], np.float32)  # a triangle behind the camera
_UP = np.tile(np.array([0, 0, 1], np.float32), (3, 1))


@dataclass(frozen=True, eq=False)
class Rendered:
    """`radiance`: (H, W, 3) linear RGB float32; `label_ids`: (H, W) int32 index into `labels` (0 is no label).

    `albedo`, `normal` (H, W, 3) and `depth` (H, W; 0 where no surface is) guide the removal of noise.
    """

    radiance: np.ndarray
    albedo: np.ndarray
    normal: np.ndarray
    depth: np.ndarray
    label_ids: np.ndarray
    labels: list[str]


def use_variant(variant: str) -> None:
    """Choose the renderer's back end, e.g. `scalar_rgb` (processor) or `cuda_ad_rgb` (GPU). Call once, first."""
    mi.set_variant(variant)
    if dr.thread_count() < _FEWEST_THREADS:
        dr.set_thread_count(_FEWEST_THREADS)
    mi.set_log_level(mi.LogLevel.Error)


def render(scene: FlatScene) -> Rendered:
    """Render the picture of a scene and the label of every pixel."""
    world = scene_of(scene)
    path = mi.load_dict({"type": "path", "max_depth": _MAX_DEPTH, "rr_depth": 2})
    guides = mi.load_dict({"type": "aov", "aovs": "colour:albedo,normal:sh_normal,depth:depth"})
    sensor = _sensor(scene)
    radiance = np.array(mi.render(world, sensor=sensor, integrator=path, spp=scene.samples, seed=scene.seed))
    image = np.array(mi.render(world, sensor=sensor, integrator=guides, spp=_GUIDE_SAMPLES, seed=scene.seed + 1))
    image = image.astype(np.float32)
    albedo, normal, depth = image[..., -7:-4], image[..., -4:-1], image[..., -1]
    return Rendered(radiance[..., :3].astype(np.float32), albedo, normal, depth, _label_ids(scene), scene.labels)


def scene_of(scene: FlatScene, labelled: bool = False):
    """The renderer's own scene; `labelled`, each mesh has the label of every face as its attribute `face_label`."""
    meshes = _meshes(scene, labelled)
    # Loading in parallel would number the shapes by chance, and a compiled kernel knows them by number.
    return mi.load_dict({"type": "scene", **_lights(scene, labelled), **meshes}, parallel=False)


# Meshes --------------------------------------------------------------------------------------------------------------


def _meshes(scene: FlatScene, labelled: bool) -> dict:
    """A coloured mesh, a fixed number of textured ones, all pictures, and what glows; what lacks is out of sight."""
    meshes = {"solids": _coloured_mesh("solids", scene.plain)}
    for number in range(TEXTURE_SLOTS):
        group = scene.textured[number] if number < len(scene.textured) else []
        meshes[f"textured_{number:02d}"] = _textured_mesh(f"textured_{number:02d}", group)
    meshes["pictures"] = _textured_mesh("pictures", scene.pictures)
    glow = np.mean([t.material.emission for t in scene.glowing] or [(1.0, 1.0, 1.0)], axis=0) * 0.6
    meshes["glow"] = _coloured_mesh("glow", scene.glowing, glow)
    if labelled:
        groups = [scene.plain, *scene.textured, *[[]] * (TEXTURE_SLOTS - len(scene.textured)), scene.pictures]
        for mesh, group in zip(meshes.values(), [*groups, scene.glowing], strict=True):
            _tell(mesh, np.concatenate([t.ids for t in group] or [np.zeros(1)]))
    return meshes


def _tell(mesh, labels: np.ndarray) -> None:
    """Let each face of a mesh carry its label (M,)."""
    mesh.add_attribute("face_label", 1, labels.astype(np.float32))


def _joined(parts: Sequence[Triangles]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if not parts:
        return _HIDDEN, _UP, np.zeros((3, 2), np.float32)
    return tuple(np.concatenate([getattr(t, name) for t in parts]) for name in ("vertices", "normals", "uv"))  # type: ignore[return-value]


def _mesh(name: str, vertices: np.ndarray, normals: np.ndarray, uv: np.ndarray | None, bsdf, emitter=None):
    count = len(vertices)
    props = mi.Properties()
    props["bsdf"] = bsdf
    if emitter is not None:
        props["emitter"] = emitter
    mesh = mi.Mesh(name, count, count // 3, has_vertex_normals=True, has_vertex_texcoords=uv is not None, props=props)
    params = mi.traverse(mesh)
    _assign(params, "vertex_positions", vertices)
    _assign(params, "vertex_normals", normals)
    _assign(params, "faces", np.arange(count, dtype=np.uint32))
    if uv is not None:
        _assign(params, "vertex_texcoords", uv)
    params.update()
    return mesh


def _assign(params, key: str, values: np.ndarray) -> None:
    params[key] = type(params[key])(np.ascontiguousarray(values).ravel())


def _coloured_mesh(name: str, parts: list[Triangles], emission: np.ndarray | None = None):
    """Parts of one colour each as one mesh; with `emission` (radiance, RGB) they glow."""
    vertices, normals, _ = _joined(parts)
    counts = [len(t.ids) for t in parts] or [1]
    colours = np.array([t.material.base_color for t in parts] or [(0, 0, 0)], np.float32)
    roughness = np.array([t.material.roughness for t in parts] or [0.5], np.float32)
    metallic = np.array([t.material.metallic for t in parts] or [0.0], np.float32)
    bsdf = mi.load_dict({
        "type": "twosided",
        "inner": {
            "type": "principled",
            "base_color": {"type": "mesh_attribute", "name": "face_colour"},
            "roughness": {"type": "mesh_attribute", "name": "face_roughness"},
            "metallic": {"type": "mesh_attribute", "name": "face_metallic"},
            "specular": 0.5,
        },
    })  # fmt: skip
    emitter = None
    if emission is not None:
        # Lamps are too small to light the scene: weight 0 keeps them from costing samples.
        emitter = mi.load_dict(
            {"type": "area", "radiance": {"type": "rgb", "value": emission.tolist()}, "sampling_weight": 0.0}
        )
    mesh = _mesh(name, vertices, normals, None, bsdf, emitter)
    mesh.add_attribute("face_colour", 3, np.repeat(colours, counts, axis=0).ravel())
    mesh.add_attribute("face_roughness", 1, np.repeat(roughness, counts))
    mesh.add_attribute("face_metallic", 1, np.repeat(metallic, counts))
    return mesh


def _textured_mesh(name: str, parts: list[Triangles]):
    material = parts[0].material if parts else Material((0.0, 0.0, 0.0))
    textures = {
        "base_color": _image(material.base_color, 3),
        "roughness": _image(material.roughness, 1),
        "metallic": _image(material.metallic, 1),
    }
    bsdf = mi.load_dict({"type": "twosided", "inner": {"type": "principled", **textures, "specular": 0.5}})
    return _mesh(name, *_joined(parts), bsdf)


def _image(value, channels: int) -> dict:
    pixels = value if isinstance(value, np.ndarray) else np.full((1, 1, channels), value)
    pixels = np.ascontiguousarray(pixels.reshape(*pixels.shape[:2], channels), np.float32)
    return {"type": "bitmap", "bitmap": mi.Bitmap(pixels), "raw": True}


def _label_ids(scene: FlatScene) -> np.ndarray:
    """(H, W) label ids: one mesh of all triangles is seen by one ray a pixel, whose triangle tells the label.

    A scene of its own, because the renderer's shape index means different things in its variants.
    """
    triangles = scene.all()
    vertices, normals, _ = _joined(triangles)
    mesh = _mesh("all", vertices, normals, None, mi.load_dict({"type": "diffuse"}))
    passes = mi.load_dict({"type": "aov", "aovs": "depth:depth,prim:prim_index"})
    world = mi.load_dict({"type": "scene", "all": mesh}, parallel=False)
    image = np.array(mi.render(world, sensor=_sensor(scene), integrator=passes, spp=1, seed=scene.seed))
    ids = np.concatenate([t.ids for t in triangles] or [np.zeros(1, np.int32)])  # an empty scene: surroundings alone
    return np.where(image[..., -2] > 0, ids[image[..., -1].round().astype(int)], 0).astype(np.int32)


# Light and camera -----------------------------------------------------------------------------------------------------


@cache
def _environment(name: str) -> np.ndarray:
    """An environment map (256, 512, 3) float32, scaled to a mean of 1.

    Negative texels, an artefact of the maps' compression, are clamped, and so are suns, which would turn to fireflies.
    """
    pixels = np.array(mi.Bitmap(str(_ASSETS / f"{name}.exr"))).astype(np.float32)[..., :3]
    pixels = np.clip(pixels, 0, 60 * np.median(pixels[pixels > 0]) + 20)
    return np.ascontiguousarray(pixels / pixels.mean())


def _lights(scene: FlatScene, labelled: bool) -> dict:
    panel_light = mi.load_dict({"type": "area", "radiance": {"type": "rgb", "value": list(scene.panel_radiance)}})
    normals = np.tile(scene.panel_normal, (6, 1))
    panel = _mesh("panel", scene.panel, normals, None, mi.load_dict({"type": "diffuse"}), panel_light)
    if labelled:
        _tell(panel, np.zeros(2))
    return {
        "environment": {
            "type": "envmap",
            "bitmap": mi.Bitmap(_environment(scene.environment) * np.float32(scene.environment_scale)),
            "to_world": mi.ScalarTransform4f(scene.environment_turn) @ mi.ScalarTransform4f().rotate([1, 0, 0], 90),
        },
        "flash": {
            "type": "point",
            "position": _FLASH_POSITION,
            "intensity": {"type": "rgb", "value": [scene.flash_intensity] * 3},
        },
        "panel": panel,
    }


def _sensor(scene: FlatScene):
    return mi.load_dict({
        "type": "perspective",
        "fov": scene.view_deg,
        "fov_axis": "larger",
        "near_clip": 0.01,
        "far_clip": 100.0,
        "film": {
            "type": "hdrfilm",
            "width": scene.width,
            "height": scene.height,
            "pixel_format": "rgb",
            "rfilter": {"type": "box"},
        },
        "sampler": {"type": "independent"},
    })  # fmt: skip
