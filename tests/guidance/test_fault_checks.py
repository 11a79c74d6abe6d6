"""A fault model that does not hold together is refused: file, row and reason."""

import re
import shutil

import pytest

from classifier.errors import CatalogueError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load


@pytest.fixture
def broken(tmp_path):
    """Copy the demo catalogue with one text replaced in one file, load it, and give what is said."""

    def change(file: str, old: str, new: str) -> str:
        target = tmp_path / "pool"
        shutil.copytree(DEMO_CATALOGUE, target)
        text = (target / file).read_text(encoding="utf-8")
        assert old in text, f"{old!r} is not in {file}"
        (target / file).write_text(text.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(CatalogueError) as caught:
            load(target)
        return str(caught.value)

    return change


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("faults.toml", 'component = "charger"', 'component = "chargr"', "'chargr' is no component; did you mean"),
        ("faults.toml", "in_service = 180", "in_servce = 180", "'in_servce' is no setting"),
        ("faults.toml", "last_night = 0.25", "last_knight = 0.25", "'last_knight' is no answer of it"),
        ("faults.toml", 'generations = ["sealed-top",', 'generations = ["sealed-topp",', "no generation"),
        ("faults.toml", "shares = { in_service = 0.9,", "shares = { in_service = 0.8,", "adding up to 1"),
        ("faults.toml", "weeks_ago = 3.1", "weeks_ago = 310", "rate 0.1 with its factors reaches"),
        ("faults.toml", "in_service = 180", "in_service = inf", "came inf, wanted a number that is finite"),
        ("faults.toml", "capacity_ah = 4.5", "capacity_ah = nan", "came nan, wanted a number that is finite"),
        ("faults.toml", 'setting = "setting"', 'setting = "seting"', "'seting' is no context"),
        ("faults.toml", "faults_at_once = 3", "faults_at_once = 9", "faults_at_once"),
        ("findings.toml", "fuse_blown = [0.01, 0.99]", "fuse_blown = [0.02, 0.99]", "add up to 1"),
        ("findings.toml", "fuse_blown = [0.01, 0.99]", "fuse_blown = [0.01, 0.49, 0.5]", "2 probabilities"),
        ("findings.toml", "stop_pressed = [0.05, 0.95]", "stop_presed = [0.05, 0.95]", "did you mean 'stop_pressed'"),
        ("checks.toml", 'finding = "stop"', 'finding = "stopp"', "'stopp' is no finding"),
        ("checks.toml", 'area = "housing"', 'area = "hosing"', "'hosing' is no area"),
        ("checks.toml", "technician = 4.0 }\naccess", "agent = 4.0 }\naccess", "is a technician's alone; got agent"),
        ("checks.toml", 'source = "common practice, no source"', 'source = ""', "source"),
        ("checks.toml", "minutes = { caregiver = 0.5, agent = 0.7, technician = 0.2 }", "minutes = {}", "minutes"),
        ("repairs.toml", "stop_pressed = 0.98", "stop_presed = 0.98", "'stop_presed' is no fault"),
        ("repairs.toml", 'kind = "last_resort"', 'kind = "adjust"', "no last_resort for the role caregiver"),
        ("symptoms.toml", 'gone = "moves"', 'gone = "beeps"', "'beeps' is no finding of this symptom"),
        ("symptoms.toml", '{ moves = "dead" }', '{ moves = "deaad" }', "'deaad' is no outcome of it"),
        ("symptoms.toml", 'repair = "release_stop"', 'repair = "releas_stop"', "did you mean 'release_stop'"),
        ("parts.toml", 'superseded_by = "pack-stacked"', 'superseded_by = "pack-stacked-old"', "cycle: pack-"),
        ("parts.toml", 'order_with = ["fuse-any"]', 'order_with = ["fuse-none"]', "'fuse-none' is no other part"),
        ("parts.toml", 'mechanisms = ["twist_knob"]', 'mechanisms = ["lever"]', "'lever' is no mechanism"),
        ("safety.toml", 'moment = "occupied"', 'moment = "ocupied"', "occupied"),
        ("parts.toml", 'id = "pack-hung"', 'id = "pack-stacked"', "is also the id of parts["),
    ],
)
def test_a_typo_is_named_with_file_and_row(broken, file, old, new, says):
    told = broken(file, old, new)
    assert says in told
    assert file in told


def test_a_fault_that_no_symptom_shows_is_named(broken, tmp_path):
    text = (DEMO_CATALOGUE / "findings.toml").read_text(encoding="utf-8")
    start = text.index('id = "moves"')
    end = text.index("[[findings]]", start)
    block = text[start:end]
    hidden = re.sub(r"hand_plug_loose = .*", "hand_plug_loose = [1.0, 0.0, 0.0, 0.0]", block)
    assert "can never be found" in broken("findings.toml", block, hidden)


def test_a_fault_that_is_never_the_cause_is_named(broken):
    told = broken("faults.toml", "calls_per_1000 = { in_service = 14, newly_installed = 6 }", "calls_per_1000 = {}")
    assert "zero in every setting" in told and "fuse_blown" in told


def test_a_fault_that_nothing_mends_is_named(broken):
    told = broken("repairs.toml", "charger_faulty = 0.97", "charger_not_powered = 0.97")
    assert "no repair of the component 'charger' mends it" in told


def test_a_check_that_tells_nothing_apart_is_named(broken):
    told = broken("findings.toml", "stop_pressed = [0.05, 0.95]", "stop_pressed = [1.0, 0.0]")
    assert "'stop' comes out alike" in told and "look_stop" in told


def test_half_a_fault_model_is_named(tmp_path):
    target = tmp_path / "pool"
    shutil.copytree(DEMO_CATALOGUE, target)
    (target / "symptoms.toml").unlink()
    with pytest.raises(CatalogueError, match="symptoms"):
        load(target)
