"""Labels measured from the object numbers of each pixel: boxes, evidence, what stays open, what is cut off."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw

from classifier.taxonomy import (
    ACTUATOR_CONCEPTS,
    ACTUATOR_HEAD,
    CONTROL_BOX,
    CONTROL_BOX_CONCEPTS,
    EVIDENCE_WIDTH_PX,
    SMALLEST_EVIDENCE_PX,
    SMALLEST_SUBJECT_FRACTION,
)

from .cycles import Passes
from .scene import Camera, Scene

FACE_FOR_ABSENCE = 60
"""How many times the smallest evidence a face must cover before an absence on it can be read: buttons and lamps of
this kit cover about a sixtieth of the face that they stand on, so on a smaller face they would not be seen either."""

FACE_FOR_SHAPE = 15
"""The same for `built_in`: a parting line runs across the whole face and needs fewer pixels than a button."""

KNOB_VIEW_DEG = (38.0, 142.0)
"""Angles between the view and the axis within which a bare neck of 13 mm would show beside a knob of this kit."""


def measured(scene: Scene, camera: Camera, passes: Passes) -> tuple[list[dict], list[dict]]:
    """Manifest entries of the subjects and of the look-alikes that the photo shows."""
    owner = np.full(len(scene.pieces) + 1, -1)
    for number, piece in enumerate(scene.pieces):
        owner[number] = piece.subject
    shown = owner[passes.numbers]  # (H, W): world pixels have number -1 and take the last entry, -1
    subjects = []
    for index, subject in enumerate(scene.subjects):
        mask = shown == index
        if mask.sum() < SMALLEST_SUBJECT_FRACTION * mask.size:
            continue
        whole = silhouette_px(scene, camera, index)
        entry = {
            "kind": subject.kind,
            "box": box_of(mask),
            "visible_px": int(mask.sum()),
            "visible_fraction": round(min(1.0, float(mask.sum()) / max(whole, 1)), 3),
            "cut_off": _touches_edge(mask),
            "in_focus": index == scene.focus,
        }
        entry["concepts"] = concepts(scene, camera, passes, index)
        subjects.append(entry)
    strangers = [
        {"kind": kind, "box": box_of(shown == 100 + place)}
        for place, kind in enumerate(scene.look_alikes)
        if (shown == 100 + place).sum() >= SMALLEST_SUBJECT_FRACTION * shown.size
    ]
    return subjects, strangers


def concepts(scene: Scene, camera: Camera, passes: Passes, index: int) -> dict[str, dict]:
    """Values with the pixels that are evidence of them, for one subject."""
    subject = scene.subjects[index]
    least = smallest_evidence_px(camera.width, camera.height)
    pixels = _evidence(scene, passes, index)
    if subject.kind == CONTROL_BOX:
        faces = _faces(scene, passes, index)
        return {
            concept: _box_concept(concept, subject.values[concept], pixels, faces, least)
            for concept in CONTROL_BOX_CONCEPTS
        }
    if subject.kind == ACTUATOR_HEAD:
        angle = axis_angle_deg(subject.matrix, camera)
        return {concept: _lowering(subject.values[concept], pixels, angle, least) for concept in ACTUATOR_CONCEPTS}
    return {}


def smallest_evidence_px(width: int, height: int) -> float:
    """The taxonomy's smallest evidence, given for photos of 500 x 375 px, scaled by area to this photo."""
    return SMALLEST_EVIDENCE_PX * width * height / (EVIDENCE_WIDTH_PX * EVIDENCE_WIDTH_PX * 0.75)


def _box_concept(concept: str, value: str, pixels: dict[str, int], faces: dict[str, int], least: float) -> dict:
    if concept == "stop_position":
        px, need = pixels.get("stop", 0), least
    elif value in ("stacked_pack", "hung_pack"):
        px, need = min(pixels.get("pack", 0), pixels.get("unit", 0)), 3 * least
    elif value == "built_in":
        px, need = min(faces["front"] / FACE_FOR_SHAPE, 4 * faces["beside"] / FACE_FOR_SHAPE), least
    elif value in ("side", "front"):
        px, need = pixels.get("button", 0), least
    elif value == "none" and concept == "service_buttons":
        px, need = min(faces["front"], 2 * faces["side"]) / FACE_FOR_ABSENCE, least
    elif value == "none":
        px, need = faces["front"] / FACE_FOR_ABSENCE, least
    else:
        px, need = pixels.get({"lamp_row": "lamp", "gauge": "gauge"}[value], 0), least
    return {"value": value, "visible": bool(px >= need), "evidence_px": int(px)}


def _lowering(value: str, pixels: dict[str, int], angle_deg: float, least: float) -> dict:
    mechanism, neck = pixels.get("mechanism", 0), pixels.get("neck", 0)
    if value == "none":
        px = min(
            pixels.get("fork_end", 0), pixels.get("plain_end", 0) + pixels.get("tube_end", 0), pixels.get("shell", 0)
        )
        return {"value": value, "visible": bool(px >= least), "evidence_px": int(px)}
    if value == "squeeze_tabs":  # two opposed tabs are the evidence; one alone counts half
        tabs = pixels.get("tab", 0), pixels.get("other_tab", 0)
        mechanism = max(2 * min(tabs), sum(tabs) // 2)
    entry = {"value": value, "visible": bool(mechanism >= 1.5 * least), "evidence_px": int(mechanism)}
    open_neck = value == "pull_twist_knob" and neck < 2 * least
    open_joint = value == "twist_knob" and not (
        KNOB_VIEW_DEG[0] <= angle_deg <= KNOB_VIEW_DEG[1] and pixels.get("shell", 0) >= 3 * least
    )
    if entry["visible"] and (open_neck or open_joint):
        entry["possible"] = ["twist_knob", "pull_twist_knob"]
    return entry


def _evidence(scene: Scene, passes: Passes, index: int) -> dict[str, int]:
    """Pixels of each kind of evidence within one subject."""
    counts = np.bincount(passes.numbers[passes.numbers >= 0], minlength=len(scene.pieces))
    pixels: dict[str, int] = {}
    for number, piece in enumerate(scene.pieces):
        if piece.subject == index:
            pixels[piece.evidence] = pixels.get(piece.evidence, 0) + int(counts[number])
    return pixels


def _faces(scene: Scene, passes: Passes, index: int) -> dict[str, int]:
    """Pixels of a box's front, of its better side, and of the best face beside the front, from the normals."""
    mine = np.array([piece.subject == index for piece in scene.pieces] + [False])[passes.numbers]
    normals = passes.normals[mine] @ scene.subjects[index].matrix[:3, :3]  # (N, 3) in the box's own axes
    front = int((normals[:, 1] < -0.8).sum())
    side = max(int((normals[:, 0] < -0.8).sum()), int((normals[:, 0] > 0.8).sum()))
    return {"front": front, "side": side, "beside": side}


def axis_angle_deg(matrix: np.ndarray, camera: Camera) -> float:
    """Angle between an actuator's axis and the line from the camera to it."""
    ray = matrix[:3, 3] - camera.matrix[:3, 3]
    cosine = float(np.dot(matrix[:3, 2], ray) / np.linalg.norm(ray))
    return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))


def silhouette_px(scene: Scene, camera: Camera, index: int) -> int:
    """Pixels that the subject would cover with nothing before it and no edge of the photo, counted at half size."""
    canvas = Image.new("1", (camera.width * 3 // 2, camera.height * 3 // 2))
    pen = ImageDraw.Draw(canvas)
    shift = np.array([camera.width, camera.height]) / 2
    for piece in scene.pieces:
        if piece.subject != index:
            continue
        flat = camera.project(piece.vertices)
        if (flat[:, 2] < 10).any():
            continue
        points = (flat[:, :2] + 2 * shift) / 2
        for face in piece.faces:
            pen.polygon([tuple(points[corner]) for corner in face], fill=1)
    return int(np.asarray(canvas).sum()) * 4


def box_of(mask: np.ndarray) -> list[float]:
    """[left, top, right, bottom] as fractions of the photo, round the True pixels of (H, W)."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    height, width = mask.shape
    return [
        round(float(v), 5)
        for v in (columns[0] / width, rows[0] / height, (columns[-1] + 1) / width, (rows[-1] + 1) / height)
    ]


def _touches_edge(mask: np.ndarray) -> bool:
    return bool(mask[0].any() or mask[-1].any() or mask[:, 0].any() or mask[:, -1].any())
