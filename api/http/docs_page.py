"""The API described on one page, made from the OpenAPI document; needs no script and nothing from elsewhere."""

from html import escape
from typing import Any

STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 50rem; margin: 2rem auto; padding: 0 1rem; color: #14181f;
       background: #fff; }
h2 { margin-top: 2.5rem; border-top: 1px solid #949494; padding-top: 1rem; }
code, pre { font: 0.95em/1.5 ui-monospace, monospace; background: #f2f3f5; }
pre { padding: 0.75rem; overflow-x: auto; }
table { border-collapse: collapse; } th, td { text-align: left; vertical-align: top; padding: 0.2rem 1rem 0.2rem 0; }
@media (prefers-color-scheme: dark) {
  body { color: #eceff3; background: #14181f; } code, pre { background: #232a35; } a { color: #9ecbff; } }
"""
EXAMPLE_ADDRESS = "https://lifts.example.org"
EXAMPLE = """curl -F photos=@front.jpg -F photos=@side.heic \\
     -F 'observations=[{"id": "battery_comes_off", "answer": "yes"}]' \\
     %sv1/identifications"""


def docs_page(openapi: dict[str, Any], base_url: str) -> str:
    """The page as HTML. `base_url` ends in a slash."""
    routes = "".join(
        _route(method, path, operation, openapi)
        for path, methods in openapi["paths"].items()
        for method, operation in methods.items()
    )
    title, about = escape(openapi["info"]["title"]), escape(openapi["info"]["description"])
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title} API</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head><body>'
        f"<h1>{title} API</h1><p>{about}</p><pre>{escape(EXAMPLE % base_url)}</pre>"
        f'<p>For programs: <a href="openapi.json">openapi.json</a>.</p>{routes}</body></html>'
    )


def _route(method: str, path: str, operation: dict[str, Any], openapi: dict[str, Any]) -> str:
    fields = _fields(operation, openapi)
    form = _table(("field", "type", "meaning"), fields) if fields else ""
    answers = _table(
        ("status", "meaning", "as"),
        [(code, r["description"], _content(r, openapi)) for code, r in operation["responses"].items()],
    )
    return (
        f"<h2><code>{method.upper()} {escape(path)}</code></h2><p>{escape(operation.get('description', ''))}</p>"
        f"{form}{answers}"
    )


def _fields(operation: dict[str, Any], openapi: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Name, type and meaning of everything that the request body may have, a form's or a JSON document's."""
    content = operation.get("requestBody", {}).get("content", {})
    schema = next(iter(content.values()), {}).get("schema", {})
    properties = _resolved(schema, openapi).get("properties", {})
    return [
        (name, field.get("type", ""), field.get("description") or field.get("items", {}).get("description", ""))
        for name, field in properties.items()
    ]


def _resolved(schema: dict[str, Any], openapi: dict[str, Any]) -> dict[str, Any]:
    name = schema.get("$ref", "").rsplit("/", 1)[-1]
    return openapi["components"]["schemas"][name] if name else schema


def _content(response: dict[str, Any], openapi: dict[str, Any]) -> str:
    told = []
    for media_type, content in response.get("content", {}).items():
        properties = _resolved(content.get("schema", {}), openapi).get("properties", {})
        told.append(media_type + (f": {', '.join(properties)}" if properties else ""))
    return "; ".join(told)


def _table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    head = "".join(f"<th>{escape(h)}</th>" for h in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
