"""The JSON Schema of a catalogue, made from its rows, by which an editor completes and checks while one types.

It knows form alone: what must hold between rows, `hoistlore catalogue check` says. JSON Schema 2020-12.
"""

from typing import Any

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.meanings import field_meaning, row_classes, row_meaning, section_meaning

SET_BY_THE_TOOL = {("Observation", "correction"), ("Check", "roles"), ("Repair", "roles")}
"""Fields that no catalogue gives: they follow from other rows."""


def catalogue_schema() -> dict[str, Any]:
    """The schema of one file of a catalogue: any section may be missing, since it may stand in another file."""
    schema = Catalogue.model_json_schema()
    del schema["required"]
    rows = {row.__name__: row for row in row_classes()}
    for name, definition in schema["$defs"].items():
        definition["description"] = row_meaning(rows[name])
        for field, what in list(definition["properties"].items()):
            if (name, field) in SET_BY_THE_TOOL:
                del definition["properties"][field]
            else:
                what["description"] = field_meaning(rows[name], field)
    for section, what in schema["properties"].items():
        what["description"] = section_meaning(Catalogue, section)
    schema["description"] = "docs/catalogue.md tells of every section and field; `hoistlore catalogue check` proves it."
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "A catalogue, or one file of it"}
    return head | {key: value for key, value in _as_toml_has_it(schema).items() if key not in head}


def _as_toml_has_it(schema: Any) -> Any:
    """Without what TOML cannot hold (null), without titles that repeat a name, and with keys that must fit."""
    if isinstance(schema, list):
        return [_as_toml_has_it(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    kinds = [kind for kind in schema.get("anyOf", ()) if kind != {"type": "null"}]
    if len(kinds) == 1:
        schema = {**kinds[0], **{key: value for key, value in schema.items() if key not in ("anyOf", "default")}}
    if "patternProperties" in schema:
        schema = {**schema, "additionalProperties": False}
    return {
        key: {name: _as_toml_has_it(value) for name, value in inner.items()}
        if key in ("properties", "$defs", "patternProperties")
        else _as_toml_has_it(inner)
        for key, inner in schema.items()
        if key != "title"
    }
