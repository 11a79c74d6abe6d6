"""How a page is made: templates, languages, and the headers that keep a page to itself."""

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment

from api.pages.english import Words, with_parts
from api.pages.environment import STATIC, TEMPLATES, environment
from api.pages.languages import Language, chosen, load_languages
from api.pages.look import Look
from guidance.catalogue.catalogue import Catalogue

PAGE_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "no-referrer",  # the address of a case is its key
    "X-Content-Type-Options": "nosniff",
}

PERMISSIONS = "camera={camera}, geolocation=(), microphone=()"
"""The camera only on pages whose script guides with it; a field that takes a photo needs no permission of ours."""


@dataclass(frozen=True)
class Phones:
    """The numbers that are called from a page, as they are written; empty when the operator gave none."""

    service: str = ""
    emergency: str = ""


@dataclass(frozen=True)
class Pages:
    """Templates with every language; `version` changes when anything that a browser may keep has changed.

    `signs`: the danger signs by their id, which can be reported on every page.
    """

    environment: Environment
    languages: Mapping[str, Language]
    version: str
    phones: Phones
    look: Look
    signs: Mapping[str, str]

    @classmethod
    def load(cls, catalogue: Catalogue, phones: Phones, look: Look, further: str = "") -> "Pages":
        """Pages of this catalogue and operator; `further`: a folder with more languages. Raises `SettingsError`."""
        languages = load_languages(further)
        digest = hashlib.sha256(f"{catalogue.model_dump_json()} {phones} {look}".encode())
        for path in sorted([*TEMPLATES.rglob("*.*"), *STATIC.iterdir()]):
            digest.update(path.read_bytes())
        for language in languages.values():
            digest.update(repr(sorted(language.messages.items())).encode())
        signs = {sign.id: sign.name for sign in catalogue.stop_signs}
        return cls(environment(), languages, digest.hexdigest()[:16], phones, look, signs)

    def language(self, tag: str) -> Language | None:
        """The language with this tag, if there is one."""
        return self.languages.get(tag)

    def asked(self, request: Request) -> Language:
        """The language that this browser asks for."""
        return self.languages[chosen(request.headers.get("accept-language", ""), self.languages)]

    def show(
        self, template: str, language: Language, path: str, status: int = 200, keep: bool = False, **values: Any
    ) -> HTMLResponse:
        """A page. `path` is its address without the language; `keep` when a browser may keep it.

        With a value `guide` it may use the camera.
        """
        words = Words(language)
        text = self.environment.get_template(template).render(
            language=language,
            languages=self.languages.values(),
            _=words.say,
            fill=words.fill,
            unfilled=language.unfilled,
            said=language.said,
            path=path,
            version=self.version,
            phones=self.phones,
            look=self.look,
            signs=self.signs,
            dialled=dialled,
            **values,
        )
        permissions = PERMISSIONS.format(camera="(self)" if values.get("guide") else "()")
        caching = "no-cache" if keep else "no-store"
        headers = {**PAGE_HEADERS, "Permissions-Policy": permissions, "Cache-Control": caching}
        return HTMLResponse(with_parts(text), status, headers)


def dialled(number: str) -> str:
    """A telephone number as a link dials it."""
    return "tel:" + re.sub(r"[^+0-9]", "", number)
