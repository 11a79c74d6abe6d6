"""How a page is made: templates, languages, and the headers that keep a page to itself."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from api.pages.languages import Language, chosen, load_languages
from guidance.catalogue.catalogue import Catalogue

HERE = Path(__file__).parent
TEMPLATES, STATIC = HERE / "templates", HERE / "static"

PAGE_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "no-referrer",  # the address of a case is its key
    "X-Content-Type-Options": "nosniff",
    "Permissions-Policy": "geolocation=(), microphone=()",
}


@dataclass(frozen=True)
class Pages:
    """Templates with every language; `version` changes when anything that a browser may keep has changed."""

    environment: Environment
    languages: Mapping[str, Language]
    version: str

    @classmethod
    def load(cls, catalogue: Catalogue) -> "Pages":
        """Read templates and languages once."""
        environment = Environment(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        languages = load_languages()
        digest = hashlib.sha256(catalogue.model_dump_json().encode())
        for path in sorted([*TEMPLATES.rglob("*.*"), *STATIC.iterdir()]):
            digest.update(path.read_bytes())
        for language in languages.values():
            digest.update(repr(sorted(language.messages.items())).encode())
        return cls(environment, languages, digest.hexdigest()[:16])

    def language(self, tag: str) -> Language | None:
        """The language with this tag, if there is one."""
        return self.languages.get(tag)

    def asked(self, request: Request) -> Language:
        """The language that this browser asks for."""
        return self.languages[chosen(request.headers.get("accept-language", ""), self.languages)]

    def show(
        self, template: str, language: Language, path: str, status: int = 200, keep: bool = False, **values: Any
    ) -> HTMLResponse:
        """A page. `path` is its address without the language; `keep` when a browser may keep it."""
        text = self.environment.get_template(template).render(
            language=language,
            languages=self.languages.values(),
            _=language.say,
            fill=language.fill,
            said=language.said,
            path=path,
            version=self.version,
            **values,
        )
        headers = {**PAGE_HEADERS, "Cache-Control": "no-cache" if keep else "no-store"}
        return HTMLResponse(text, status, headers)
