"""What the picture really shows, measured from its masks: boxes, evidence, visibility."""

from collections import Counter
from collections.abc import Mapping

import numpy as np

from classifier.taxonomy import (
    ACTUATOR_HEAD,
    CONTROL_BOX,
    EVIDENCE_WIDTH_PX,
    FAIR_SUBJECT_FRACTION,
    LEFT_OPEN,
    SMALLEST_EVIDENCE_PX,
    SMALLEST_SUBJECT_FRACTION,
)
from synthetic_samples.annotate.labels import without_number
from synthetic_samples.geometry import turn
from synthetic_samples.render.render import Rendered
from synthetic_samples.scene.scene import Scene
from synthetic_samples.scene.truths import Truth

_BUTTONS_SHARE, _DISPLAY_SHARE = 0.035, 0.04  # of the face that they stand on: about half of ours cover less
_EDGE_ON = 0.3
"""Cosine under which a button or display that turns away from the camera loses what tells its value."""
_WHOLE_BOX_PX = 600
_WHOLE_HEAD_PX = 400
_FAIR_EVIDENCE_PX = 2.5 * SMALLEST_EVIDENCE_PX  # ten by ten pixels: a person can name it, not only see it
_FAIR_PX = {  # more where less was not named rightly by who did not know it
    "service_buttons": 160,
    "charge_display": 160,
    "stacked_pack": 625,  # 25 by 25: a pack is named by its shape, and a sliver behind the unit has none
    "hung_pack": 625,
    "twist_knob": 400,  # 20 by 20: a smaller one is a collar, and its neck a gap
    "pull_twist_knob": 400,
}
_SHORTEST_NECK_M = 0.015
_NECK_SHARE = 0.3
"""Of the shortest neck seen from the side: a thinner sliver of it looks like the gap under a tight knob."""
_KNOB_SHARE = 0.2
"""Of the smallest knob at an end: where the head would hide more of it, nobody can say that there is none."""
_LOOKING = {"front": np.eye(4), "left": turn((0, 0, 1), -90), "right": turn((0, 0, 1), 90)}  # -y looks to that side

Concept = dict[str, object]


def annotate(scene: Scene, rendered: Rendered) -> tuple[list[dict], list[dict]]:
    """Subjects and look-alikes of a rendered scene, as the manifest lists them (boxes are fractions of the picture)."""
    scale = _evidence_scale(scene) ** 2
    used = np.bincount(rendered.label_ids.ravel(), minlength=len(rendered.labels))
    counts = Counter({label: int(n) for label, n in zip(rendered.labels, used, strict=True) if label})
    subjects = []
    for truth in scene.truths:
        mask = _mask(rendered, truth.name + "/")
        subject = _subject(scene, truth, mask)
        if subject is not None:
            subject["concepts"] = _concepts(scene, truth, _own(counts, truth, scale))
            subjects.append(subject)
    look_alikes = []
    for kind in sorted({label.split("/")[1] for label in counts if label.startswith("look_alike/")}):
        box = _box(_mask(rendered, f"look_alike/{kind}"))
        if box is not None and _area(box) >= SMALLEST_SUBJECT_FRACTION:
            look_alikes.append({"kind": kind, "box": box})
    return subjects, look_alikes


def concepts_in_window(scene: Scene, truth: Truth, label_ids: np.ndarray, labels: list[str]) -> dict[str, Concept]:
    """What a window of a photo tells of one subject; `label_ids` (S, S) index `labels`, 0 beside the photo.

    The scene's camera is the window's, its size the window's in pixels, and `photo_share` says what that is of a photo.
    """
    used = np.bincount(label_ids.ravel(), minlength=len(labels))
    counts = {label: int(n) for label, n in zip(labels, used, strict=True) if label and n}
    return _concepts(scene, truth, _own(counts, truth, _evidence_scale(scene) ** 2))


def is_fair(scene: Scene, subjects: list[dict]) -> bool:
    """A fair close photo: close, no hard condition, nothing cut off or hidden, every concept's evidence clear.

    Of a box or head in the background no evidence is asked; but one at the edge of the picture, a hand control too,
    is half a thing to find. It is of one lift: where several of a kind are shown, no answer is the right one.
    """
    kinds = [subject["kind"] for subject in subjects]
    if len(set(kinds)) < len(kinds) or any(truth.number is not None for truth in scene.truths):
        return False
    read = [
        subject
        for subject in subjects
        if subject["kind"] in (CONTROL_BOX, ACTUATOR_HEAD) and _area(subject["box"]) >= FAIR_SUBJECT_FRACTION
    ]
    if scene.framing != "close" or scene.conditions or not read:
        return False
    whole = all(not subject["cut_off"] and subject["visible_fraction"] >= 0.6 for subject in subjects)
    return whole and all(_clear(name, concept) for subject in read for name, concept in subject["concepts"].items())


def _clear(name: str, concept: Concept) -> bool:
    """Tabs are named by being two that face each other, and that there is no mechanism by both ends."""
    both = concept.get("weaker_px", SMALLEST_EVIDENCE_PX) >= SMALLEST_EVIDENCE_PX
    enough = max(_FAIR_EVIDENCE_PX, *(_FAIR_PX.get(key, 0) for key in (name, concept["value"])))
    return both and concept["visible"] and concept["evidence_px"] >= enough and "possible" not in concept


# Boxes ---------------------------------------------------------------------------------------------------------------


def _mask(rendered: Rendered, prefix: str) -> np.ndarray:
    wanted = np.array([label.startswith(prefix) for label in rendered.labels])
    return wanted[rendered.label_ids]


def _box(mask: np.ndarray) -> list[float] | None:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return None
    height, width = mask.shape
    box = (columns[0] / width, rows[0] / height, (columns[-1] + 1) / width, (rows[-1] + 1) / height)
    return [round(float(edge), 5) for edge in box]


def _area(box: list[float]) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])


def _subject(scene: Scene, truth: Truth, mask: np.ndarray) -> dict | None:
    box = _box(mask)
    visible = int(mask.sum())
    if box is None or _area(box) < SMALLEST_SUBJECT_FRACTION or visible < 12:
        return None
    points = project(scene, truth.outline)
    outside = (points < 0).any(axis=1) | (points > (scene.width, scene.height)).any(axis=1)
    whole = _hull_area(points)
    return {
        "kind": truth.kind,
        "box": box,
        "visible_px": visible,
        "visible_fraction": round(min(1.0, visible / max(whole, 1.0)), 3),
        "cut_off": bool(outside.mean() > 0.02),
    }


def project(scene: Scene, points: np.ndarray) -> np.ndarray:
    """Pixel positions (N, 2) of world points (N, 3); points behind the camera land far outside."""
    right, above, forward = scene.camera.axes
    local = points - np.asarray(scene.camera.position)
    depth = local @ forward
    depth = np.where(depth < 1e-3, 1e-3, depth)
    focal_px = pixels_per_tangent(scene)
    x = scene.width / 2 + focal_px * (local @ right) / depth
    y = scene.height / 2 - focal_px * (local @ above) / depth
    return np.column_stack([x, y])


def pixels_per_tangent(scene: Scene) -> float:
    """Focal length in pixels."""
    return max(scene.width, scene.height) / 2 / float(np.tan(np.radians(scene.camera.view_deg) / 2))


def _hull_area(points: np.ndarray) -> float:
    """Area of the convex hull of (N, 2) points."""
    x, y = _hull(points).T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def _within(points: np.ndarray, hull: np.ndarray) -> np.ndarray:
    """Which of the points (N, 2) lie inside a convex outline (M, 2), as `_hull` gives it; (N,) bool."""
    edges, to_points = np.roll(hull, -1, axis=0) - hull, points[:, None] - hull
    sides = edges[:, 0] * to_points[..., 1] - edges[:, 1] * to_points[..., 0]
    return (sides >= 0).all(axis=1)


def _hull(points: np.ndarray) -> np.ndarray:
    """Corners (M, 2) of the convex hull of (N, 2) points, from x towards y."""
    order = np.lexsort((points[:, 1], points[:, 0]))
    chains = []
    for sequence in (points[order], points[order][::-1]):
        chain: list[np.ndarray] = []
        for point in sequence:
            while len(chain) > 1 and _cross(chain[-1] - chain[-2], point - chain[-1]) <= 0:
                chain.pop()
            chain.append(point)
        chains += chain[:-1]
    return np.array(chains)


def _cross(a: np.ndarray, b: np.ndarray) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _evidence_scale(scene: Scene) -> float:
    """Length in a photo 500 pixels wide, at which evidence is counted, of a pixel of this picture."""
    return EVIDENCE_WIDTH_PX * scene.photo_share / max(scene.width, scene.height)


def _own(counts: Mapping[str, int], truth: Truth, scale: float) -> dict[str, float]:
    """Pixels by label of the thing of this number, at the scale at which evidence is counted."""
    own = {}
    for label, count in counts.items():
        plain, number = without_number(label)
        if number == truth.number:
            own[plain] = count * scale
    return own


# Evidence ------------------------------------------------------------------------------------------------------------


def _concepts(scene: Scene, truth: Truth, px: Mapping[str, float]) -> dict[str, Concept]:
    if truth.kind == CONTROL_BOX:
        return _control_box_concepts(scene, truth, px)
    if truth.kind == ACTUATOR_HEAD:
        return {"lowering": _lowering(scene, truth, px)}
    return {}


def _control_box_concepts(scene: Scene, truth: Truth, px: Mapping[str, float]) -> dict[str, Concept]:
    """That there is none is seen as clearly as one would be: by the pixels that it would cover on a face in view."""
    values = truth.values

    def face(*sides: str) -> float:
        return sum(px.get(f"control_box/{piece}/{side}", 0) for piece in ("unit", "pack") for side in sides)

    def nameable(side: str) -> float:
        return _readable(scene, truth.frame @ _LOOKING[side])

    front, top = face("front"), face("top")
    side_seen = max(("left", "right"), key=face)
    side = face(side_seen)
    unit = sum(count for label, count in px.items() if label.startswith("control_box/unit/"))
    pack = sum(count for label, count in px.items() if label.startswith("control_box/pack/"))
    buttons, display = px.get("control_box/service_buttons", 0), px.get("control_box/charge_display", 0)
    if values["service_buttons"] == "none":
        buttons = _BUTTONS_SHARE * min(front * nameable("front"), side * nameable(side_seen))
    else:
        buttons *= _readable(scene, truth.mounts["service_buttons"])
    if values["charge_display"] == "none":
        display = _DISPLAY_SHARE * front * nameable("front")
    else:
        display *= _readable(scene, truth.mounts["charge_display"])
    battery = min(unit, pack)
    if values["battery"] == "built_in":
        battery = min(front, max(side, top)) if front + side + top >= _WHOLE_BOX_PX else 0
    evidence = {
        "stop_position": px.get("control_box/stop", 0),
        "battery": battery,
        "service_buttons": buttons,
        "charge_display": display,
    }
    return {concept: _entry(values[concept], amount) for concept, amount in evidence.items()}


def _readable(scene: Scene, mount: np.ndarray) -> float:
    """Share of its pixels that still tell what stands on this mount: less than 1 where it is seen nearly edge-on."""
    to_camera, _ = _to_camera(scene, mount[:3, 3])
    facing = float(-mount[:3, 1] @ to_camera)
    return float(np.clip(facing / _EDGE_ON, 0, 1)) ** 2


def _to_camera(scene: Scene, point: np.ndarray) -> tuple[np.ndarray, float]:
    """Direction from a point to the camera, a unit vector, and the distance in metres."""
    ray = np.asarray(scene.camera.position) - point
    distance = float(np.linalg.norm(ray))
    return ray / distance, distance


def _entry(value: str, evidence_px: float) -> Concept:
    return {"value": value, "visible": bool(evidence_px >= SMALLEST_EVIDENCE_PX), "evidence_px": int(evidence_px)}


def _lowering(scene: Scene, truth: Truth, px: Mapping[str, float]) -> Concept:
    value = truth.values["lowering"]
    if value == "none":  # said of the ends that show: a mechanism may sit at either, and the head may hide it
        ends = {
            "fork": px.get("actuator_head/fork", 0) + px.get("actuator_head/plain_end", 0),
            "tube": 2 * px.get("actuator_tube/root", 0) + px.get("actuator_head/collar", 0),
        }
        whole = sum(count for label, count in px.items() if label.startswith("actuator_head/"))
        told = [min(seen, _knob_would_show(scene, truth, truth.knob_places[end])) for end, seen in ends.items()]
        if whole < _WHOLE_HEAD_PX:
            return _entry(value, 0)
        return _entry(value, max(told)) | {"weaker_px": int(min(told))}
    grip = sum(count for label, count in px.items() if label.startswith("actuator_head/mechanism"))
    entry = _entry(value, grip)
    if value == "squeeze_tabs":
        entry["weaker_px"] = int(min(px.get(f"actuator_head/mechanism/{tab}", 0) for tab in (0, 1)))
    if value in LEFT_OPEN["lowering"] and entry["visible"]:
        side_on, would_show = _shortest_neck(scene, truth)
        neck = px.get("actuator_head/neck", 0) if value == "pull_twist_knob" else would_show
        if neck < max(SMALLEST_EVIDENCE_PX, _NECK_SHARE * side_on):
            entry["possible"] = list(LEFT_OPEN["lowering"])
    return entry


def _knob_would_show(scene: Scene, truth: Truth, place: np.ndarray) -> float:
    """Pixels (500 px photo) of the smallest knob at this place (N, 3) that motor and gear would not hide."""
    looking, points = scene.camera.axes[2], project(scene, place)
    hidden = np.zeros(len(place), bool)
    for solid in truth.housing:
        if (solid.mean(axis=0) - place.mean(axis=0)) @ looking < 0:  # nearer than the knob would be
            hidden |= _within(points, _hull(project(scene, solid)))
    share = 1 - float(hidden.mean())
    area = _hull_area(points) * _evidence_scale(scene) ** 2
    return share * area if share >= _KNOB_SHARE else 0.0


def _shortest_neck(scene: Scene, truth: Truth) -> tuple[float, float]:
    """Pixels (500 px photo) of the shortest bare neck that this knob could have: from the side, and as it is seen."""
    to_camera, distance = _to_camera(scene, truth.end_point)
    along = abs(float(to_camera @ truth.axis))
    across = float(np.sqrt(max(0.0, 1 - along**2)))
    length = _SHORTEST_NECK_M * across - 0.45 * truth.knob_radius_m * along
    px_per_m = _evidence_scale(scene) * pixels_per_tangent(scene) / distance
    px_per_length = px_per_m * 1.1 * truth.knob_radius_m * px_per_m
    return _SHORTEST_NECK_M * px_per_length, max(0.0, length) * px_per_length
