"""Pictures with labels: the same seed gives the same bytes, an interrupted run resumes."""

import colorsys
import itertools
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from classifier.taxonomy import CONCEPTS_OF, CONTROL_BOX, SMALLEST_SUBJECT_FRACTION
from synthetic_samples.annotate.labels import without_number
from synthetic_samples.generate import main
from synthetic_samples.geometry import Picture
from synthetic_samples.render.contact_sheet import contact_sheet
from synthetic_samples.render.denoise import denoise
from synthetic_samples.render.flatten import TEXTURE_SLOTS, flatten
from synthetic_samples.render.part_maps import PARTS, part_map, part_of
from synthetic_samples.render.render import render, use_variant
from synthetic_samples.scene.camera import MOST_VIEWS, SIDES_APART_DEG
from synthetic_samples.scene.layout import Brief
from synthetic_samples.scene.scene import ENVIRONMENTS, FRAMINGS, STYLES, draw_scene


@pytest.fixture(scope="module", autouse=True)
def _renderer() -> None:
    use_variant("scalar_rgb")


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three pictures drawn by one worker."""
    out = tmp_path_factory.mktemp("one")
    assert main(_arguments(out, "--workers", "1")) == 0
    return out


def _arguments(out: Path, *more: str) -> list[str]:
    return ["--count", "3", "--seed", "5", "--style", "heldout", "--samples", "1", "--out", str(out), *more]


def _records(folder: Path) -> list[dict]:
    return [json.loads(line) for line in (folder / "manifest.jsonl").read_text("utf-8").splitlines()]


def test_the_same_seed_gives_the_same_files_whatever_the_number_of_workers(pictures: Path, tmp_path: Path) -> None:
    """And a run that may take no time leaves what the next one goes on from."""
    assert main(_arguments(tmp_path, "--workers", "1", "--minutes", "1e-6")) == 0
    assert not _records(tmp_path)[2:]
    assert main(_arguments(tmp_path, "--workers", "2")) == 0
    assert _records(tmp_path) == _records(pictures)
    for path in sorted(path for path in pictures.rglob("*") if path.is_file()):
        assert path.read_bytes() == (tmp_path / path.relative_to(pictures)).read_bytes(), path.name


def test_an_interrupted_run_resumes_without_a_torn_line(pictures: Path, tmp_path: Path) -> None:
    whole = (pictures / "manifest.jsonl").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "manifest.jsonl").write_text("".join(whole[:2]) + whole[2][:40], "utf-8")
    assert main(_arguments(tmp_path, "--workers", "1")) == 0
    assert _records(tmp_path) == _records(pictures)
    assert sorted(path.name for path in (tmp_path / "images").iterdir()) == ["000002.jpg"]


def test_a_record_fits_its_picture(pictures: Path) -> None:
    for record in _records(pictures):
        with Image.open(pictures / record["file"]) as image:
            assert ImageOps.exif_transpose(image).size == (record["width"], record["height"])
        with Image.open(pictures / record["parts_file"]) as parts:
            assert parts.size == (-(-record["width"] // 4), -(-record["height"] // 4))
        for subject in record["subjects"]:
            left, top, right, bottom = subject["box"]
            assert 0 <= left < right <= 1 and 0 <= top < bottom <= 1
            assert (right - left) * (bottom - top) >= SMALLEST_SUBJECT_FRACTION
            assert set(subject["concepts"]) == set(CONCEPTS_OF[subject["kind"]])


def test_a_contact_sheet_shows_every_picture(pictures: Path) -> None:
    sheet = contact_sheet(pictures, _records(pictures), columns=2)
    assert sheet.size == (512, 2 * 292)
    assert len(np.unique(np.asarray(sheet).reshape(-1, 3), axis=0)) > 1000


def test_styles_share_no_light() -> None:
    names = [name for style in STYLES for name in ENVIRONMENTS[style]]
    assert len(names) == len(set(names)) == 12


def test_a_scene_is_drawn_from_its_numbers_alone() -> None:
    first, again, other = draw_scene(7, 3, "train"), draw_scene(7, 3, "train"), draw_scene(7, 4, "train")
    assert first.camera == again.camera and first.phone == again.phone and first.families == again.families
    assert other.camera != first.camera
    with pytest.raises(ValueError, match="style 'test' came; wanted one of train, calibration, heldout"):
        draw_scene(7, 3, "test")


def test_views_of_one_lift_show_the_same_things_from_sides_that_lie_apart() -> None:
    for lift in range(8):
        views = [draw_scene(5, MOST_VIEWS * lift + view, "train", views=MOST_VIEWS) for view in range(MOST_VIEWS)]
        assert [view.index for view in views] == [MOST_VIEWS * lift + number for number in range(MOST_VIEWS)]
        assert {view.lift for view in views} == {lift}
        assert len({view.seed for view in views}) == MOST_VIEWS and len({view.camera for view in views}) == MOST_VIEWS
        for one, other in itertools.combinations(views, 2):
            gap = abs((one.camera.azimuth_deg - other.camera.azimuth_deg + 180) % 360 - 180)
            assert gap >= SIDES_APART_DEG
            assert one.families == other.families and one.framing == other.framing
            assert [truth.values for truth in one.truths] == [truth.values for truth in other.truths]
            for ours, theirs in zip(one.truths, other.truths, strict=True):
                assert np.array_equal(ours.outline, theirs.outline)
        assert views[0].camera == draw_scene(5, lift, "train").camera
        assert views[0].phone == draw_scene(5, lift, "train").phone
    with pytest.raises(ValueError, match="4 views of one lift came; wanted 1 to 3"):
        draw_scene(5, 0, "train", views=4)


def test_the_first_view_is_the_picture_that_one_view_gives(pictures: Path, tmp_path: Path) -> None:
    arguments = _arguments(tmp_path, "--workers", "1", "--views", "2")
    assert main(arguments) == 0
    records = _records(tmp_path)
    assert [record["lift"] for record in records] == [0, 0, 1]
    assert [record["lift"] for record in _records(pictures)] == [0, 1, 2]
    for lift in (0, 1):
        first, alone = (
            folder / "images" / f"{number:06d}.jpg" for folder, number in ((tmp_path, 2 * lift), (pictures, lift))
        )
        assert first.read_bytes() == alone.read_bytes()
    assert (tmp_path / "images" / "000001.jpg").read_bytes() != (pictures / "images" / "000000.jpg").read_bytes()


def test_a_folder_keeps_to_one_number_of_views(pictures: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (pictures / "manifest.jsonl").read_bytes()
    assert main(_arguments(pictures, "--views", "2")) == 1
    assert "another --views than 2" in capsys.readouterr().err
    assert (pictures / "manifest.jsonl").read_bytes() == before


def test_enough_pictures_hold_no_lift_part() -> None:
    assert FRAMINGS["none"] >= 0.15
    assert sum(FRAMINGS.values()) == pytest.approx(1)
    scenes = [draw_scene(1, index, "train") for index in range(24)]
    assert all(bool(scene.truths) == (scene.framing != "none") for scene in scenes)


def test_the_rendered_stop_is_red_on_yellow() -> None:
    """Red actuator, yellow behind: ISO 13850 §4.3.6, IEC 60204-1 §10.7 (from memory); measured as hue, in daylight.

    Of a dozen stops, each counted alike: one in ten or so has another colour behind, which readers must bear.
    """
    red, yellow = [], []
    for index in range(120):
        scene = draw_scene(3, index, "train")
        if CONTROL_BOX not in [truth.kind for truth in scene.truths] or scene.framing != "close":
            continue
        rendered = render(replace(flatten(scene), samples=1, width=160, height=120))
        stop = np.array([without_number(label)[0] == "control_box/stop" for label in rendered.labels])[
            rendered.label_ids
        ]
        # The surface colour, not the light on it: what the camera makes of it is the phone's business.
        hsv = np.array([colorsys.rgb_to_hsv(*np.clip(rgb, 0, 1)) for rgb in rendered.albedo[stop]]).reshape(-1, 3)
        hues = 360 * hsv[(hsv[:, 1] > 0.5) & (hsv[:, 2] > 0.1), 0]
        if len(hues) >= 40:
            red.append(((hues < 20) | (hues > 345)).mean())
            yellow.append(((hues > 30) & (hues < 65)).mean())
        if len(red) == 12:
            break
    assert len(red) == 12
    assert np.mean(red) > 0.3 and np.mean(yellow) > 0.08 and np.mean(red) + np.mean(yellow) > 0.75


def test_a_part_map_keeps_what_is_small_and_names_what_is_big() -> None:
    labels = ["", "control_box/unit/front", "control_box/stop", "actuator_head/mechanism"]
    ids = np.ones((8, 10), int)
    ids[0:2, 0:3] = 2  # six of the sixteen pixels of a spot
    ids[4, 4] = 3  # one of sixteen: too little
    parts = part_map(ids, labels, {None: {"lowering": "twist_knob"}})
    names = [[PARTS[part] for part in row] for row in parts]
    assert parts.shape == (2, 3)
    assert names[0][:2] == ["stop", "unit_front"]
    assert names[1][1] == "unit_front"
    assert part_of("actuator_head/mechanism/1", {"lowering": "squeeze_tabs"}) == "tabs"
    assert part_of("control_box/charge_display", {"charge_display": "none"}) == "lamp_row"
    assert part_of("control_box/pack/left", {}) == "pack_side"


# Rendering ------------------------------------------------------------------------------------------------------------


def test_a_flat_scene_has_no_more_textures_than_slots() -> None:
    for index in range(4):
        flat = flatten(draw_scene(2, index, "train"))
        assert len(flat.textured) <= TEXTURE_SLOTS
        assert not any(isinstance(t.material.base_color, np.ndarray) for t in flat.plain)


def test_every_sticker_and_display_keeps_its_picture_however_many_there_are() -> None:
    rng = np.random.default_rng(3)
    pictures = [
        Picture(0.1, 0.1, rng.random((int(h), int(w), 3)).astype(np.float32)) for h, w in rng.integers(9, 225, (40, 2))
    ]
    scene = draw_scene(2, 0, "train")
    flat = flatten(replace(scene, pieces=[*scene.pieces, *pictures]))
    for picture, triangles in zip(pictures, flat.pictures[-40:], strict=True):
        sheet = triangles.material.base_color
        (left, low), (right, high) = (
            edge(triangles.uv * sheet.shape[1::-1], axis=0).round().astype(int) for edge in (np.min, np.max)
        )
        assert np.array_equal(sheet[low:high, left:right][::-1], picture.pixels)
        assert np.array_equal(
            sheet[low - 1, left:right], picture.pixels[-1]
        )  # no neighbour's colour comes in at the edge


def test_no_lamp_stands_between_camera_and_subject() -> None:
    """Its back is black: a picture that it hides would be labelled with what nobody can see."""
    for index in range(150):
        scene = draw_scene(80, index, "train")
        flat = flatten(scene)
        corners = flat.panel[[0, 1, 2, 5]].astype(float)
        if (corners[:, 2] <= 0).all() or corners[:, 2].min() > scene.camera.distance_m:
            continue  # behind the camera, or farther than the subject
        along, down = corners[1] - corners[0], corners[3] - corners[0]
        spots = corners[0] + np.array(
            [a * along + d * down for a in np.linspace(0, 1, 80) for d in np.linspace(0, 1, 80)]
        )
        nearer = spots[(spots[:, 2] > 1e-3) & (spots[:, 2] < scene.camera.distance_m)]
        half_view = np.tan(np.radians(scene.camera.view_deg / 2)) / max(scene.width, scene.height)
        seen = np.abs(nearer[:, :2] / nearer[:, 2:]) < 0.9 * half_view * np.array([scene.width, scene.height])
        assert not seen.all(axis=1).any()


def test_smoothing_takes_noise_from_plain_surfaces_and_leaves_edges_and_textures() -> None:
    rng = np.random.default_rng(0)
    albedo = np.full((60, 80, 3), 0.5, np.float32)
    albedo[:, 40:] = 0.1  # two colours on one wall
    albedo[::2] *= 0.8  # and a texture of stripes
    normal = np.zeros((60, 80, 3), np.float32)
    normal[..., 2] = 1
    depth = np.full((60, 80), 2.0, np.float32)
    clean = albedo * 1.5
    noisy = (clean * rng.gamma(4, 0.25, (60, 80, 1))).astype(np.float32)
    smooth = denoise(noisy, albedo, normal, depth, 5)
    inside = (slice(8, -8), slice(8, -8))
    assert np.abs(smooth - clean)[inside].mean() < 0.35 * np.abs(noisy - clean)[inside].mean()
    step = smooth[20:40, 30:38].mean() / smooth[20:40, 42:50].mean()
    assert step == pytest.approx(5, rel=0.1)


def test_boxes_that_are_asked_for_come_oftener() -> None:
    wanted = {"stop_position": "top", "battery": "hung_pack", "service_buttons": "front", "charge_display": "gauge"}
    brief, rng = Brief("heldout", (wanted,)), np.random.default_rng(0)
    share = sum(brief.values(rng) == wanted for _ in range(2000)) / 2000
    assert share == pytest.approx(0.5 + 0.5 / 54, abs=0.04)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[{"stop_position": "side"}]', "row 1"),
        ('["top"]', "row 1"),
        ('{"stop_position": "top"}', "no list of rows"),
        ("[]", "no list of rows"),
        ("[{", "Expecting"),
        (None, "No such file"),
    ],
)
def test_impossible_combinations_are_refused(
    text: str | None, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = tmp_path / "rows.json"
    if text is not None:
        rows.write_text(text, "utf-8")
    with pytest.raises(SystemExit):
        main(_arguments(tmp_path / "out", "--combinations", str(rows)))
    message = capsys.readouterr().err
    assert told in message and "rows.json" in message and "top|front" in message
