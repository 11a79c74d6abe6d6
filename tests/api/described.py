"""Our own description of the API, read by somebody else's validators: each answer against what is promised for it."""

from dataclasses import dataclass
from typing import Any

from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator
from referencing import Registry
from referencing.jsonschema import DRAFT202012

ADDRESS = "urn:described"


@dataclass(frozen=True)
class Described:
    """An OpenAPI 3.1 document, whose schemas are JSON Schema of 2020-12."""

    document: dict[str, Any]

    def operation(self, method: str, path: str) -> tuple[str, str] | None:
        """The method and the path template that answer such a request; None when it is not described."""
        for template, methods in self.document["paths"].items():
            parts, asked = template.split("/"), path.split("/")
            fits = len(parts) == len(asked) and all(
                part == came or part.startswith("{") for part, came in zip(parts, asked, strict=False)
            )
            if fits and method.lower() in methods:
                return method.lower(), template
        return None

    def faults(self, method: str, path: str, status: int, media_type: str, answer: Any) -> list[str]:
        """What contradicts the description in an answer of a described operation; `answer` is its JSON document."""
        method, template = self.operation(method, path)
        responses = self.document["paths"][template][method]["responses"]
        if str(status) not in responses:
            return [f"{method} {template}: {status} is not among {', '.join(responses)}"]
        content = responses[str(status)].get("content", {})
        if media_type not in content and (content or media_type):
            return [f"{method} {template}: {status} came as {media_type}, promised is {list(content)}"]
        if not media_type.endswith("json"):
            return []
        keys = ("paths", template, method, "responses", str(status), "content", media_type, "schema")
        pointer = "/".join(key.replace("~", "~0").replace("/", "~1") for key in keys)
        return [
            f"{method} {template}: {status}, {e.json_path}: {e.message[:200]}" for e in self._errors(pointer, answer)
        ]

    def watch(self, client: TestClient) -> None:
        """From now on every answer to this client fails its test when it contradicts the description."""

        def check(response: Any) -> None:
            response.read()
            media_type = response.headers.get("content-type", "").split(";")[0]
            answer = response.json() if media_type.endswith("json") else None
            if self.operation(response.request.method, response.url.path):
                asked = (response.request.method, response.url.path, response.status_code)
                assert self.faults(*asked, media_type, answer) == []
            elif media_type == "application/problem+json":
                assert self.problem_faults(answer) == []

        client.event_hooks = {"response": [check]}

    def problem_faults(self, answer: Any) -> list[str]:
        """What contradicts RFC 9457 as described, wherever the problem came from."""
        return [f"{e.json_path}: {e.message[:200]}" for e in self._errors("components/schemas/Problem", answer)]

    def _errors(self, pointer: str, answer: Any) -> list[Any]:
        registry = Registry().with_resource(ADDRESS, DRAFT202012.create_resource(self.document))
        schema = {"$ref": f"{ADDRESS}#/{pointer}"}
        checker = Draft202012Validator.FORMAT_CHECKER
        return list(Draft202012Validator(schema, registry=registry, format_checker=checker).iter_errors(answer))
