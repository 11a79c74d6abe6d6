"""The JSON Schema for editors: valid as such, true to the rows, and it takes what the check takes.

`jsonschema` is the outside reference for JSON Schema 2020-12.
"""

import json
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from guidance.catalogue.catalogue import DEMO_CATALOGUE
from guidance.catalogue.new_pool import SCAFFOLD
from guidance.catalogue.schema import catalogue_schema

SCHEMA = catalogue_schema()
CHECKED = Draft202012Validator(SCHEMA)
FILES = sorted((*DEMO_CATALOGUE.glob("*.toml"), *SCAFFOLD.glob("*.toml")))


def complaints(text: str) -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in CHECKED.iter_errors(tomllib.loads(text))]


def test_it_is_a_schema_of_that_draft():
    Draft202012Validator.check_schema(json.loads(json.dumps(SCHEMA)))


@pytest.mark.parametrize("file", FILES, ids=lambda file: f"{file.parent.name}/{file.name}")
def test_every_file_of_the_demo_pool_and_of_the_scaffold_fits(file: Path):
    assert complaints(file.read_text(encoding="utf-8")) == []


def test_every_section_and_field_says_what_it_means():
    """One that lacks a sentence gets it in its row's docstring, with its name in backticks."""
    rows = {**SCHEMA["$defs"], "a catalogue": SCHEMA}
    silent = [f"{row}.{field}" for row, what in rows.items() for field, is_a in what["properties"].items()
              if not is_a.get("description")]  # fmt: skip
    assert silent == []


@pytest.mark.parametrize(
    ("file", "old", "new", "at"),
    [
        ("generations.toml", 'battery = "built_in"', 'battery = "buildin"', "$.generations[0].battery"),
        ("generations.toml", "fleet_share = 0.6", 'fleet_share = "0.6"', "$.generations[0].fleet_share"),
        ("generations.toml", "fleet_share = 0.6", "fleet_shar = 0.6", "$.generations[0]"),
        ("generations.toml", "[[generations]]", "[[generation]]", "$"),
        ("faults.toml", 'id = "battery"', 'id = "The battery"', "$.components[0].id"),
        ("faults.toml", "in_service = 300", "In_Service = 300", "$.faults[0].calls_per_1000"),
        ("faults.toml", "faults_at_once = 2", "faults_at_once = 4", "$.fault_settings.faults_at_once"),
        ("checks.toml", 'source = "common practice, no source"', "", "$.checks[0]"),
        ("checks.toml", 'acts = ["plug:charger"]', 'acts = ["plug:in"]', "$.checks[2].acts[0]"),
        ("checks.toml", 'kind = "look"', 'kind = "look"\nroles = ["agent"]', "$.checks[0]"),
        ("checks.toml", "technician = 0.2", "nurse = 0.2", "$.checks[0].minutes"),
        ("repairs.toml", "stop_pressed = 0.98", "stop_pressed = 98", "$.repairs[0].mends.stop_pressed"),
    ],
)
def test_a_mistake_of_form_is_found_where_it_stands(file, old, new, at):
    text = (SCAFFOLD / file).read_text(encoding="utf-8")
    assert old in text
    found = complaints(text.replace(old, new, 1))
    assert [message for message in found if message.startswith(f"{at}:")], found
