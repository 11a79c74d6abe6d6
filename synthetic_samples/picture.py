"""One scene to a labelled picture: rendered, photographed, labelled; its files and its row of the manifest."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image

from synthetic_samples.annotate.annotate import annotate, is_fair
from synthetic_samples.phone.phone import develop, encode_jpeg
from synthetic_samples.render.denoise import denoise
from synthetic_samples.render.flatten import FlatScene, flatten
from synthetic_samples.render.part_maps import encode as encode_parts
from synthetic_samples.render.part_maps import part_map
from synthetic_samples.render.render import Rendered
from synthetic_samples.scene.scene import Scene
from synthetic_samples.scene.truths import values_by_number
from workers.places import code_of

_DENOISE_SHARES = (0, 0, 0, 0.05, 0.2, 0.75)  # passes 0 to 5: after fewer, grain hides what is small


@dataclass(frozen=True)
class Drawn:
    """`record`: the picture's row of the manifest; `files`: what lies in the folder, by its path there."""

    record: dict
    files: dict[str, bytes]

    def keep(self, out: Path) -> dict:
        """Write the files, each whole or not at all, so that an interrupted run leaves no half picture; the record."""
        for name, data in self.files.items():
            path = out / name
            path.parent.mkdir(parents=True, exist_ok=True)
            partial = path.with_suffix(".part")
            partial.write_bytes(data)
            partial.replace(path)
        return self.record


def draw_picture(scene: Scene, keep_clean: bool, render: Callable[[FlatScene], Rendered]) -> Drawn:
    """Render, photograph and label one scene; `keep_clean`: also the picture without the phone's processing."""
    rendered = render(flatten(scene))
    subjects, look_alikes = annotate(scene, rendered)
    rng = np.random.default_rng(scene.seed)
    passes = int(rng.choice(len(_DENOISE_SHARES), p=_DENOISE_SHARES))
    radiance = denoise(rendered.radiance, rendered.albedo, rendered.normal, rendered.depth, passes)
    photo = develop(radiance, scene.phone, rng)
    name = f"{scene.index:06d}.jpg"
    files = {f"images/{name}": encode_jpeg(photo, scene.phone, rng)}
    record = _record(scene, f"images/{name}", subjects, look_alikes)
    parts = part_map(rendered.label_ids, rendered.labels, values_by_number(scene.truths))
    record["parts_file"] = f"parts/{scene.index:06d}.png"
    files[record["parts_file"]] = encode_parts(parts)
    if keep_clean:
        record["clean_file"] = f"clean/{name}"
        files[record["clean_file"]] = _clean_jpeg(radiance)
    return Drawn(record, files)


def _record(scene: Scene, file: str, subjects: list[dict], look_alikes: list[dict]) -> dict:
    camera = scene.camera
    return {
        "schema": "1",
        "index": scene.index,
        "lift": scene.lift,
        "seed": scene.seed,
        "file": file,
        "width": scene.width,
        "height": scene.height,
        "style": scene.style,
        "families": scene.families,
        "framing": scene.framing,
        "conditions": list(scene.conditions),
        "fair": is_fair(scene, subjects),
        "camera": {
            "focal_mm": round(camera.focal_mm, 1),
            "distance_m": round(camera.distance_m, 3),
            "roll_deg": round(camera.roll_deg, 1),
            "azimuth_deg": round(camera.azimuth_deg, 1),
            "exposure_ev": round(scene.phone.exposure_ev, 2),
        },
        "look_alikes": look_alikes,
        "subjects": subjects,
        "code_version": code_version(),
    }


@cache
def code_version() -> str:
    """Hash of this package's source: two records with the same version and seed show the same picture."""
    return code_of([Path(__file__).parent])[:12]


def _clean_jpeg(radiance: np.ndarray) -> bytes:
    """The bare render: exposed by its mean, gamma 2.2, nothing else."""
    level = 0.18 / max(float(np.exp(np.log(radiance.mean(axis=2) + 1e-4).mean())), 1e-6)
    pixels = np.clip(radiance * level, 0, 1) ** (1 / 2.2)
    buffer = io.BytesIO()
    Image.fromarray((pixels * 255 + 0.5).astype(np.uint8)).save(buffer, "JPEG", quality=95)
    return buffer.getvalue()
