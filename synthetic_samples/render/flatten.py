"""A scene as plain arrays in the camera's frame: what the renderer needs, and nothing that cannot travel.

A GPU kernel is compiled anew (over a second) whenever a scene's structure changes, and used again (a hundredth of
that) while it stays. So every scene is told in the same way: the camera stands at the origin and the world is carried
into its frame; untextured solids go to one mesh with a colour a face, textured ones to a fixed number of slots, and
flat pictures (stickers, displays) to one sheet, since what a gauge shows must not depend on how much else has texture.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from synthetic_samples.geometry import Material, Part, Picture, side_name, surface_of
from synthetic_samples.render.picture_sheet import on_one_sheet
from synthetic_samples.scene.camera import Camera
from synthetic_samples.scene.scene import Scene

TEXTURE_SLOTS = 8


@dataclass(frozen=True, eq=False)
class Triangles:
    """Unshared triangles in the camera's frame: `vertices`, `normals` (3M, 3), `uv` (3M, 2), `ids` (M,) of labels."""

    vertices: np.ndarray
    normals: np.ndarray
    uv: np.ndarray
    ids: np.ndarray
    material: Material


@dataclass(frozen=True, eq=False)
class FlatScene:
    """A scene ready to be rendered. The camera looks along +z from the origin, y is up.

    `panel`: (6, 3) corners of the light panel's two triangles, `panel_normal` its direction; `environment_turn`:
    (4, 4) rotation of the z-up world to the camera's frame; `labels`: what the triangles' ids stand for (0: nothing).
    """

    width: int
    height: int
    samples: int
    seed: int
    view_deg: float
    environment: str
    environment_scale: float
    environment_turn: np.ndarray
    flash_intensity: float
    panel: np.ndarray
    panel_normal: np.ndarray
    panel_radiance: tuple[float, float, float]
    plain: list[Triangles]
    textured: list[list[Triangles]]
    pictures: list[Triangles]
    glowing: list[Triangles]
    labels: list[str]

    def all(self) -> list[Triangles]:
        return [*self.plain, *(t for group in self.textured for t in group), *self.pictures, *self.glowing]


def flatten(scene: Scene) -> FlatScene:
    """Carry a scene into its camera's frame and sort its triangles by the mesh they go to."""
    to_camera = np.linalg.inv(camera_to_world(scene.camera))
    labels = [""]
    parts = [piece for piece in scene.pieces if isinstance(piece, Part)]
    pictures = [piece for piece in scene.pieces if isinstance(piece, Picture)]
    plain, textured, glowing = _sorted_triangles(parts, to_camera, labels)
    panel = to_camera @ scene.panel.frame
    corners = (
        np.array([(-1, -1, 0, 1), (1, -1, 0, 1), (1, 1, 0, 1), (-1, -1, 0, 1), (1, 1, 0, 1), (-1, 1, 0, 1)]) @ panel.T
    )
    turned = np.eye(4)
    angle = np.radians(scene.environment_turn_deg)
    turned[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    turned[:3, :3] = to_camera[:3, :3] @ turned[:3, :3]
    return FlatScene(
        width=scene.width,
        height=scene.height,
        samples=scene.samples,
        seed=scene.seed,
        view_deg=scene.camera.view_deg,
        environment=scene.environment,
        environment_scale=scene.environment_scale,
        environment_turn=turned,
        flash_intensity=scene.flash_intensity,
        panel=corners[:, :3].astype(np.float32),
        panel_normal=(panel[:3, 2] / np.linalg.norm(panel[:3, 2])).astype(np.float32),
        panel_radiance=scene.panel.radiance,
        plain=plain,
        textured=textured,
        pictures=_picture_triangles(pictures, to_camera, labels) if pictures else [],
        glowing=glowing,
        labels=labels,
    )


def camera_to_world(camera: Camera) -> np.ndarray:
    """(4, 4) from a camera's frame, in which it looks along +z with y up, to the world."""
    right, above, forward = camera.axes
    to_world = np.eye(4)
    to_world[:3] = np.column_stack([-right, above, forward, camera.position])
    return to_world


def _sorted_triangles(parts: Sequence[Part], to_camera: np.ndarray, labels: list[str]):
    """Plain, textured (by slot) and glowing triangles; textures beyond the slots fall back to their mean colour."""
    plain: list[Triangles] = []
    glowing: list[Triangles] = []
    textured: dict[int, list[Triangles]] = {}
    for part in parts:
        triangles = _part_triangles(part, to_camera, labels)
        if not len(triangles.ids):
            continue
        if triangles.material.emission is not None:
            glowing.append(triangles)
        elif triangles.material.textured:
            textured.setdefault(id(triangles.material.base_color), []).append(triangles)
        else:
            plain.append(triangles)
    ranked = sorted(textured.values(), key=_weight, reverse=True)
    for group in ranked[TEXTURE_SLOTS:]:
        plain += [replace(triangles, material=_flat_colour(triangles.material)) for triangles in group]
    return plain, ranked[:TEXTURE_SLOTS], glowing


def _flat_colour(material: Material) -> Material:
    colour = np.reshape(material.base_color, (-1, 3)).mean(axis=0)
    return replace(material, base_color=tuple(float(c) for c in colour), roughness=float(np.mean(material.roughness)))


def _weight(group: list[Triangles]) -> float:
    """Surface seen from the camera, roughly (square metres over square distance); labelled parts count ten times."""
    weight = 0.0
    for triangles in group:
        corners = triangles.vertices.reshape(-1, 3, 3)
        area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        near = np.maximum((corners.mean(axis=1) ** 2).sum(axis=1), 0.01)
        weight += float((area / near).sum()) * (10.0 if triangles.ids.any() else 1.0)
    return weight


def _part_triangles(part: Part, to_camera: np.ndarray, labels: list[str]) -> Triangles:
    surface = surface_of(part)
    ids = _face_labels(part, surface.sides, labels)
    return Triangles(*_carried(surface.vertices, surface.normals, to_camera), surface.uv, ids, part.material)


def _picture_triangles(pictures: Sequence[Picture], to_camera: np.ndarray, labels: list[str]) -> list[Triangles]:
    sheet, places = on_one_sheet(pictures)
    found = []
    for picture, place in zip(pictures, places, strict=True):
        vertices, normals, uv = _picture_quad(picture)
        ids = np.full(2, _label_id(picture.label, labels), np.int32)
        on_sheet = (place[:2] + uv * (place[2:] - place[:2])).astype(np.float32)
        found.append(Triangles(*_carried(vertices, normals, to_camera), on_sheet, ids, sheet))
    return found


def _carried(vertices: np.ndarray, normals: np.ndarray, to_camera: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    rotation = to_camera[:3, :3].T
    return (vertices @ rotation + to_camera[:3, 3]).astype(np.float32), (normals @ rotation).astype(np.float32)


def _picture_quad(picture: Picture) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    half_w, half_h = picture.width_m / 2, picture.height_m / 2
    corners = np.array([(-half_w, 0, -half_h), (half_w, 0, -half_h), (half_w, 0, half_h), (-half_w, 0, half_h)])
    order = [0, 1, 2, 0, 2, 3]
    world = corners @ picture.frame[:3, :3].T + picture.frame[:3, 3]
    normal = np.tile(picture.frame[:3, :3] @ (0, -1, 0), (6, 1))
    return world[order], normal, np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float32)[order]


def _face_labels(part: Part, sides: np.ndarray, labels: list[str]) -> np.ndarray:
    if not part.split_faces:
        return np.full(len(sides), _label_id(part.label, labels), np.int32)
    by_side = np.array([_label_id(f"{part.label}/{side_name(side)}", labels) for side in range(6)], np.int32)
    return by_side[sides]


def _label_id(label: str, labels: list[str]) -> int:
    if label not in labels:
        labels.append(label)
    return labels.index(label)
