"""Renders a scene with Blender's Cycles: the picture in linear light, and a pass of object numbers and normals."""

from __future__ import annotations

import base64
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .kit import Finish, Piece
from .scene import SENSOR_LONG_MM, Camera, Light, Scene
from .surfaces import MM, material


@dataclass(frozen=True)
class Passes:
    """Object numbers (H, W), -1 for the world, and unit normals (H, W, 3) in scene axes."""

    numbers: np.ndarray
    normals: np.ndarray


class Stage:
    """One scene built in Blender; measure it from any camera, then render it."""

    def __init__(self, scene: Scene, maps: Path, threads: int) -> None:
        import bpy

        self._bpy = bpy
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self._scene = bpy.context.scene
        self._materials: dict[int, object] = {}
        for number, piece in enumerate(scene.pieces):
            self._add_piece(number, piece)
        self._lamps = [self._add_light(light) for light in scene.lights]
        self._add_world(scene, maps)
        self._settings(threads, closed=scene.lighting in ("room", "night", "flash"))

    def measure(self, camera: Camera) -> Passes:
        """What each pixel shows, without lights or smoothing."""
        self._aim(camera)
        view = self._scene.view_layers[0]
        view.material_override = self._number_material()
        world, self._scene.world = self._scene.world, None
        cycles = self._scene.cycles
        cycles.samples, cycles.use_denoising, cycles.filter_width = 1, False, 0.01
        rgb = self._shoot(camera)
        cycles.filter_width = 1.5
        view.material_override, self._scene.world = None, world
        numbers = np.round(rgb[..., 0] / 4 - 0.5).astype(int) - 1
        normals = np.stack(
            [rgb[..., 1] - 1, rgb[..., 2] - 1, rgb[..., 0] - 4 * np.round(rgb[..., 0] / 4 - 0.5) - 2], axis=-1
        )
        return Passes(numbers, normals)

    def render(self, camera: Camera, samples: int, seed: int, flash_w: float) -> np.ndarray:
        """The picture (H, W, 3) in linear RGB, denoised."""
        self._aim(camera)
        if flash_w:
            self._add_light(Light("spot", camera.matrix, flash_w, (1.0, 0.97, 0.92), 12.0))
        cycles = self._scene.cycles
        cycles.samples, cycles.use_denoising, cycles.seed = samples, True, seed
        return self._shoot(camera)

    def _add_piece(self, number: int, piece: Piece) -> None:
        bpy = self._bpy
        mesh = bpy.data.meshes.new("piece")
        mesh.from_pydata((piece.vertices * MM).tolist(), [], [list(face) for face in piece.faces])
        if piece.uv is not None:
            layer = mesh.uv_layers.new(name="UVMap")
            corners = np.concatenate([np.asarray(face) for face in piece.faces])
            layer.data.foreach_set("uv", piece.uv[corners].ravel().astype(np.float32))
        mesh.shade_smooth()
        if not piece.bevel_mm:
            mesh.set_sharp_from_angle(angle=np.radians(38))
        mesh.materials.append(self._material(piece.finish))
        thing = bpy.data.objects.new("piece", mesh)
        thing.pass_index = number + 1
        self._scene.collection.objects.link(thing)
        if piece.bevel_mm:
            bevel = thing.modifiers.new("bevel", "BEVEL")
            bevel.width, bevel.segments = piece.bevel_mm * MM, piece.bevel_segments
            bevel.limit_method, bevel.angle_limit, bevel.harden_normals = "ANGLE", np.radians(42), True

    def _material(self, finish: Finish):
        key = id(finish)
        if key not in self._materials:
            self._materials[key] = material(self._bpy, finish)
        return self._materials[key]

    def _add_light(self, light: Light):
        bpy = self._bpy
        lamp = bpy.data.lights.new("lamp", light.kind.upper())
        lamp.energy, lamp.color = light.power_w, light.colour
        if light.kind == "area":
            lamp.size = light.size_mm * MM
        else:
            lamp.shadow_soft_size, lamp.spot_size, lamp.spot_blend = light.size_mm * MM, np.radians(95), 0.6
        thing = bpy.data.objects.new("lamp", lamp)
        thing.matrix_world = _metres(light.matrix)
        self._scene.collection.objects.link(thing)
        return thing

    def _add_world(self, scene: Scene, maps: Path) -> None:
        world = self._bpy.data.worlds.new("world")
        self._scene.world = world
        world.use_nodes = True
        nodes, links = world.node_tree.nodes, world.node_tree.links
        back = nodes["Background"]
        back.inputs["Strength"].default_value = scene.world.strength
        if scene.world.kind == "plain":
            back.inputs["Color"].default_value = (*scene.world.colour, 1)
            return
        if scene.world.kind == "sky":
            sky = nodes.new("ShaderNodeTexSky")
            sky.sky_type, sky.sun_elevation = "MULTIPLE_SCATTERING", np.radians(scene.world.sun_elevation_deg)
            sky.sun_rotation, sky.sun_size = np.radians(scene.world.turn_deg), np.radians(2.0)
            links.new(sky.outputs["Color"], back.inputs["Color"])
            return
        texture, place, around = (nodes.new(f"ShaderNode{kind}") for kind in ("TexEnvironment", "Mapping", "TexCoord"))
        texture.image = self._bpy.data.images.load(str(unpacked_map(maps, scene.world.name)))
        place.inputs["Rotation"].default_value[2] = np.radians(scene.world.turn_deg)
        links.new(around.outputs["Generated"], place.inputs["Vector"])
        links.new(place.outputs["Vector"], texture.inputs["Vector"])
        links.new(texture.outputs["Color"], back.inputs["Color"])

    def _settings(self, threads: int, closed: bool) -> None:
        """Few samples, few bounces and the quick denoiser: a picture must cost seconds on one processor core."""
        scene = self._scene
        scene.render.engine = "CYCLES"
        scene.render.threads_mode, scene.render.threads = "FIXED", threads
        scene.render.resolution_percentage = 100
        scene.render.use_persistent_data = False
        scene.render.image_settings.file_format, scene.render.image_settings.color_depth = "OPEN_EXR", "32"
        cycles = scene.cycles
        cycles.device, cycles.use_adaptive_sampling = "CPU", False
        cycles.denoising_quality, cycles.denoising_prefilter = "FAST", "NONE"
        cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces, cycles.transmission_bounces = 3, 2, 2, 0
        cycles.use_fast_gi, cycles.ao_bounces_render = closed, 1
        cycles.caustics_reflective = cycles.caustics_refractive = False
        cycles.sample_clamp_indirect = 6.0

    def _aim(self, camera: Camera) -> None:
        bpy = self._bpy
        if self._scene.camera is None:
            self._scene.camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
            self._scene.collection.objects.link(self._scene.camera)
        thing = self._scene.camera
        thing.matrix_world = _metres(camera.matrix)
        thing.data.sensor_fit, thing.data.sensor_width, thing.data.lens = "AUTO", SENSOR_LONG_MM, camera.focal_mm
        thing.data.clip_start, thing.data.clip_end = 0.01, 100
        self._scene.render.resolution_x, self._scene.render.resolution_y = camera.width, camera.height

    def _number_material(self):
        """Emission of 4 (number + 1/2) + normal z in red, and 1 + normal x and y in green and blue."""
        made = self._bpy.data.materials.get("numbers")
        if made is not None:
            return made
        made = self._bpy.data.materials.new("numbers")
        made.use_nodes = True
        nodes, links = made.node_tree.nodes, made.node_tree.links
        nodes.clear()
        info, surface, parts = (nodes.new(f"ShaderNode{kind}") for kind in ("ObjectInfo", "NewGeometry", "SeparateXYZ"))
        links.new(surface.outputs["Normal"], parts.inputs[0])
        rgb = nodes.new("ShaderNodeCombineXYZ")
        for channel, (axis, factor) in enumerate(((2, 4.0), (0, 0.0), (1, 0.0))):
            total = nodes.new("ShaderNodeMath")
            total.operation = "MULTIPLY_ADD"
            links.new(info.outputs["Object Index"], total.inputs[0])
            total.inputs[1].default_value = factor
            lifted = nodes.new("ShaderNodeMath")
            links.new(parts.outputs[axis], lifted.inputs[0])
            lifted.inputs[1].default_value = 2.0 if channel == 0 else 1.0
            links.new(lifted.outputs[0], total.inputs[2])
            links.new(total.outputs[0], rgb.inputs[channel])
        light, out = nodes.new("ShaderNodeEmission"), nodes.new("ShaderNodeOutputMaterial")
        links.new(rgb.outputs[0], light.inputs["Color"])
        links.new(light.outputs[0], out.inputs["Surface"])
        return made

    def _shoot(self, camera: Camera) -> np.ndarray:
        with tempfile.TemporaryDirectory() as folder:
            self._scene.render.filepath = str(Path(folder) / "shot.exr")
            self._bpy.ops.render.render(write_still=True)
            image = self._bpy.data.images.load(self._scene.render.filepath)
            image.colorspace_settings.name = "Non-Color"
            pixels = np.empty(camera.height * camera.width * 4, np.float32)
            image.pixels.foreach_get(pixels)
            self._bpy.data.images.remove(image)
        return pixels.reshape(camera.height, camera.width, 4)[::-1, :, :3]


def unpacked_map(maps: Path, name: str) -> Path:
    """The environment map as an EXR file beside its packed form (base64 inside a script), unpacked once."""
    target = Path(tempfile.gettempdir()) / f"standin_{name}.exr"
    if not target.exists():
        packed = (maps / f"{name}.exr.js").read_text()
        target.write_bytes(base64.b64decode(re.search(r"base64,([A-Za-z0-9+/=]+)", packed).group(1)))
    return target


def _metres(matrix: np.ndarray):
    from mathutils import Matrix

    scaled = matrix.copy()
    scaled[:3, 3] *= MM
    return Matrix(scaled.tolist())
