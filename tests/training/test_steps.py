"""Steps from own photos: shrinkage against closed forms, heads by hand, the replay set, checks before a run."""

import json
from pathlib import Path

import numpy as np
import onnxruntime
import pytest
from scipy.stats import beta, bootstrap, dirichlet, norm

from classifier.identify import WEIGHTS_DIR
from classifier.quality import Quality
from classifier.reader import FEATURES
from classifier.recipe import CLASSES, Scaling
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.support.standin_photos import as_csv, standins
from training.data.manifest import DatasetError, Reading, Record, Subject
from training.measure.collect import RawPhoto, RawSubject
from training.owned.labels import OwnedPhotoError, read_labels
from training.steps import shrink
from training.steps.curves import Draw, drawn, interval
from training.steps.heads import HEADS, body_sha256, heads_of, read_by, with_heads
from training.steps.own import Own, check_store
from training.steps.replay import HELD, TAUGHT, Replay
from training.steps.shrink import shrunk_scaling, shrunk_share, shrunk_shares
from training.steps.teach import Cases, best_hold, cases_of, fit_head, teach

SHIPPED = Scaling(temperature=1.2, offsets={"top": 0.2, "front": -0.1, "not_visible": 0.0})


def test_shares_are_the_mean_of_the_dirichlet_posterior_of_scipy():
    shipped, counts = {"a": 0.5, "b": 0.3, "c": 0.2}, {"a": 1, "b": 7, "c": 4}
    posterior = dirichlet([30 * shipped[v] + counts[v] for v in shipped])
    assert list(shrunk_shares(shipped, counts, 30).values()) == pytest.approx(posterior.mean().tolist())
    assert shrunk_share(0.2, 7, 12, 30) == pytest.approx(beta(30 * 0.2 + 7, 30 * 0.8 + 5).mean())


@pytest.mark.parametrize(("n", "most"), [(0, 1e-9), (10, 0.3), (10_000, 1.01)])
def test_the_less_is_seen_the_nearer_the_shares_stay(n: int, most: float):
    own = shrunk_shares({"a": 0.5, "b": 0.5}, {"a": n, "b": 0})
    assert abs(own["a"] - 0.5) <= 0.5 * most and sum(own.values()) == pytest.approx(1)


def test_offsets_are_those_of_the_conjugate_normal_where_the_likelihood_is_nearly_normal(monkeypatch):
    """Two classes, the temperature held: near its top the likelihood of an offset is normal with the Fisher
    information n p (1 - p) as precision, so that the mode is the conjugate mean of prior and maximum likelihood."""
    monkeypatch.setattr(shrink, "WRONG_LABELS", 0.0)
    monkeypatch.setattr(shrink, "SPREAD_OF_TEMPERATURE", 1e-6)
    n, hits = 4000, 2100
    logits, truths = np.zeros((n, 3)), np.array([0] * hits + [1] * (n - hits))
    logits[:, 2] = -40  # the third class is never in question
    for spread in (0.005, 0.02, 0.05):
        monkeypatch.setattr(shrink, "SPREAD_OF_OFFSETS", spread)
        found = shrunk_scaling(
            "stop_position", logits, truths, SHIPPED.with_(offsets=dict.fromkeys(SHIPPED.offsets, 0.0))
        )
        margin = found.offsets["top"] - found.offsets["front"]
        precision, prior = n * 0.25, 1 / (2 * spread**2)  # of the margin of two offsets of that spread
        by_hand = precision * np.log(hits / (n - hits)) / (precision + prior)
        conjugate = norm(by_hand, (precision + prior) ** -0.5)
        assert abs(margin - conjugate.mean()) < 0.02 * conjugate.std() + 0.01 * abs(by_hand)


def test_without_a_case_the_scaling_stays_as_shipped_and_one_wrong_label_bends_little():
    assert shrunk_scaling("stop_position", np.zeros((0, 3)), np.zeros(0, int), SHIPPED) is SHIPPED
    logits = np.tile([8.0, 0.0, 0.0], (40, 1))
    clean = shrunk_scaling("stop_position", logits, np.zeros(40, int), SHIPPED)
    wrong = shrunk_scaling("stop_position", logits, np.array([1] + [0] * 39), SHIPPED)
    assert wrong.temperature < 1.3 * clean.temperature


@pytest.fixture(scope="module")
def reader() -> bytes:
    return (WEIGHTS_DIR / "reader.onnx").read_bytes()


def test_heads_give_what_the_served_reader_gives(reader: bytes):
    session = onnxruntime.InferenceSession(reader)
    window = np.random.default_rng(0).normal(0, 0.5, (1, 3, 352, 352)).astype(np.float32)
    served = dict(
        zip([*HEADS, FEATURES], session.run([*HEADS, FEATURES], {session.get_inputs()[0].name: window}), strict=True)
    )
    by_hand = read_by(heads_of(reader), served[FEATURES][0])
    for name in HEADS:
        np.testing.assert_allclose(by_hand[name], served[name][0], atol=1e-4)


def test_other_heads_are_served_on_the_same_body(reader: bytes):
    heads = heads_of(reader)
    weights, bias = heads["lowering"]
    changed = with_heads(reader, {"lowering": (weights * 0.5, bias + 1)})
    np.testing.assert_allclose(heads_of(changed)["lowering"][1], bias + 1, atol=1e-3)
    np.testing.assert_array_equal(heads_of(changed)["battery"][0], heads["battery"][0])
    assert changed != reader and body_sha256(changed, b"f") == body_sha256(reader, b"f") != body_sha256(reader, b"g")


def test_a_head_moves_to_the_data_and_a_tight_hold_keeps_it():
    rng = np.random.default_rng(1)
    features = rng.normal(size=(400, 6))
    truths = (features[:, 0] > 0).astype(int)
    cases = Cases(features, truths, np.array([str(n) for n in range(400)]), np.ones(400))
    shipped = np.zeros((2, 6)), np.zeros(2)
    loose, tight = fit_head(shipped, cases, 1.0), fit_head(shipped, cases, 1e6)
    assert ((features @ loose[0].T + loose[1]).argmax(axis=1) == truths).mean() > 0.97
    assert np.abs(tight[0]).max() < 1e-3
    nothing = Cases(np.zeros((0, 6)), np.zeros(0, int), np.zeros(0, str), np.zeros(0))
    assert best_hold(shipped, cases, nothing) < 100
    against = Cases(features, 1 - truths, cases.groups, np.ones(400))
    assert best_hold(shipped, cases, against) == 1000, "what the renders lose by is held tightest"


def test_a_concept_that_no_picture_shows_leaves_its_head_as_it_is(reader: bytes):
    heads = heads_of(reader)
    pairs = [seen(n, TAUGHT, heads) for n in range(12)]
    own, nothing = ([p for _, p in pairs], [r for r, _ in pairs]), ((), ())
    taught, held = teach(heads, own, nothing, nothing)
    assert set(held) == {"lowering"} and taught["battery"] is heads["battery"]
    assert not len(cases_of("battery", *own).truths)


def seen(index: int, style: str, heads: dict) -> tuple[Record, RawPhoto]:
    rng = np.random.default_rng(index)
    truth = Reading("twist_knob", True, ("twist_knob",), 50.0)
    subject = Subject("actuator_head", (0.1, 0.1, 0.6, 0.7), False, {"lowering": truth})
    views = {"lift": (Path("x"), str(index // 2)), "look_alikes": ((0.7, 0.7, 0.9, 0.9),)}
    record = Record(Path(f"{index}.jpg"), None, 400, 300, style, "close", (), True, None, (subject,), **views)
    features = rng.uniform(0, 2, 256).astype(np.float16).astype(np.float32)
    found = RawSubject("actuator_head", (0.1, 0.1, 0.6, 0.7), 0.9, 0, 1.0, read_by(heads, features))
    strange = RawSubject(None, (0.7, 0.7, 0.9, 0.9), 0.0, -1, 0.0, read_by(heads, features))
    return record, RawPhoto(Quality(True, ()), (found,), (strange,))


def test_the_replay_set_comes_back_as_it_was_kept(reader: bytes, tmp_path: Path):
    heads = heads_of(reader)
    pairs = [seen(n, TAUGHT if n < 4 else HELD, heads) for n in range(12)]
    kept = Replay("body", tuple(r for r, _ in pairs), tuple(p for _, p in pairs))
    kept.save(tmp_path / "replay.npz")
    back = Replay.load(tmp_path / "replay.npz", "body", heads)
    assert [r.subjects for r in back.records] == [r.subjects for r in kept.records]
    assert len(back.of_style(TAUGHT).records) == 4
    watched, compared = ({r.lift for r in part.records} for part in (back.watched(), back.compared()))
    assert watched and compared and not watched & compared, "photos of one lift lie on one side"
    np.testing.assert_allclose(
        back.raw[3].found[0].logits["lowering"], kept.raw[3].found[0].logits["lowering"], atol=1e-6
    )
    with pytest.raises(DatasetError, match="other networks"):
        Replay.load(tmp_path / "replay.npz", "another", heads)
    (tmp_path / "replay.npz").write_bytes(b"PK half")
    with pytest.raises(DatasetError, match="can be read"):
        Replay.load(tmp_path / "replay.npz", "body", heads)
    with pytest.raises(DatasetError, match="no replay set there"):
        Replay.load(tmp_path / "none.npz", "body", heads)


def manifest(store: Path, count: int, styles: tuple[str, ...] = ("train", "heldout")) -> list[dict]:
    (store / "images").mkdir(parents=True)
    entries = [{"file": f"images/{n}.jpg", "style": styles[n % len(styles)]} for n in range(count)]
    for entry in entries:
        (store / entry["file"]).write_bytes(b"x")
    (store / "manifest.jsonl").write_text("".join(json.dumps(entry) + "\n" for entry in entries))
    return entries


def test_what_a_step_needs_is_said_before_it_starts(tmp_path: Path):
    with pytest.raises(DatasetError, match="0 photos; recalibrate wants 30"):
        check_store(tmp_path, "recalibrate")
    manifest(tmp_path / "a", 40)
    assert len(check_store(tmp_path / "a", "recalibrate")) == 40
    with pytest.raises(DatasetError, match="40 photos; heads wants 100"):
        check_store(tmp_path / "a", "heads")
    (tmp_path / "a/images/7.jpg").unlink()
    with pytest.raises(DatasetError, match=r"1 of 40 pictures are gone, the first images/7.jpg"):
        check_store(tmp_path / "a", "recalibrate")
    manifest(tmp_path / "b", 40, ("train",))
    with pytest.raises(DatasetError, match="no photo for heldout"):
        check_store(tmp_path / "b", "recalibrate")


def test_two_labels_for_one_photo_are_refused_before_anything_is_stored(tmp_path: Path):
    folder = as_csv(tmp_path / "photos", standins(2))
    rows = (folder / "labels.csv").read_text().splitlines()
    (folder / "labels.csv").write_text("\n".join([*rows, rows[1].replace("lift-0", "lift-9")]) + "\n")
    with pytest.raises(OwnedPhotoError, match="lift-0, lift-9; name one"):
        read_labels(folder, None, load(DEMO_CATALOGUE), "x", "y")


def test_classes_of_the_heads_are_those_of_the_recipe(reader: bytes):
    assert {name: len(bias) for name, (_, bias) in heads_of(reader).items() if name != "kind"} == {
        concept: len(values) for concept, values in CLASSES.items()
    }


def test_the_interval_over_lifts_is_that_of_scipy():
    """A ratio of sums over lifts of unequal size, by the percentile bootstrap of SciPy."""
    rng = np.random.default_rng(3)
    cases = [(f"lift {n}", bool(rng.random() < 0.3 + 0.4 * (n % 2))) for n in range(40) for _ in range(1 + n % 4)]
    found = interval(cases)
    names = sorted({lift for lift, _ in cases})
    hits = np.array([sum(right for lift, right in cases if lift == name) for name in names])
    counts = np.array([sum(lift == name for lift, _ in cases) for name in names])

    def ratio(hits, counts, axis):
        return hits.sum(axis=axis) / counts.sum(axis=axis)

    wanted = bootstrap((hits, counts), ratio, paired=True, method="percentile", n_resamples=5000, rng=1)
    assert found["hits"] == hits.sum() and found["n"] == counts.sum()
    assert found["interval_95"] == pytest.approx(list(wanted.confidence_interval), abs=0.015)
    assert interval([]) == {"hits": 0, "n": 0, "interval_95": [0.0, 1.0]}


def test_a_draw_takes_whole_lifts_and_makes_so_many_labels_wrong():
    pairs = [seen(n, "pool-learn", {}) for n in range(200)]
    own = Own(tuple(map(str, range(200))), tuple(r for r, _ in pairs), tuple(p for _, p in pairs))
    taken = drawn(own, Draw("heads", 100, 0.15, 1))
    assert len(taken.ids) == 100
    styles: dict = {}
    for record in taken.records:
        styles.setdefault(record.lift, set()).add(record.style)
    assert all(len(each) == 1 for each in styles.values()), "photos of one lift teach or judge, never both"
    wrong = sum(record.subjects[0].concepts["lowering"].value != "twist_knob" for record in taken.records)
    assert 5 <= wrong <= 27
    again, clean = drawn(own, Draw("heads", 100, 0.15, 1)), drawn(own, Draw("heads", 100, 0.0, 1))
    assert again == taken and {r.subjects[0].concepts["lowering"].value for r in clean.records} == {"twist_knob"}
