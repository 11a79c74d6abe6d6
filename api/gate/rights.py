"""Who may do what: one table of every route and the roles with a right to it. A route without a row is shut."""

from collections.abc import Mapping

from fastapi import Request

STAFF = ("agent", "technician", "administrator")
ANYONE = ("anyone", *STAFF)
"""Caregivers have no role; what is theirs is opened by an address that cannot be guessed."""

METRICS = "metrics"
"""Whoever reads the figures of the server, and nothing else."""

WORKSHOP = ("technician",)
ANSWERABLE = ("administrator",)

RIGHTS: Mapping[str, tuple[str, ...]] = {
    "GET /openapi.json": ANYONE,
    "HEAD /openapi.json": ANYONE,
    "GET /docs": ANYONE,
    "GET /healthz": ANYONE,
    "GET /readyz": ANYONE,
    "GET /metrics": ("administrator", METRICS),
    "GET /v1/catalogue": ANYONE,
    "POST /v1/identifications": ANYONE,
    "POST /v1/overlays": ANYONE,
    "POST /v1/troubleshooting": ANYONE,
    "GET /v1/cases": STAFF,
    "GET /v1/cases/{case_id}": STAFF,
    "GET /v1/cases/{case_id}/changes": STAFF,
    "DELETE /v1/cases/{case_id}": ANSWERABLE,
    "GET /v1/audit": ANSWERABLE,
    # What a browser keeps, and a caregiver's pages.
    "GET /": ANYONE,
    "GET /static/{name}": ANYONE,
    "GET /worker.js": ANYONE,
    "GET /offline": ANYONE,
    "GET /manifest.webmanifest": ANYONE,
    "GET /down": ANYONE,
    "POST /now": ANYONE,
    "GET /c/{token}": ANYONE,
    "GET /c/{token}/ask": ANYONE,
    "GET /c/{token}/result": ANYONE,
    "GET /c/{token}/at/{version}": ANYONE,
    "GET /c/{token}/photo": ANYONE,
    "GET /c/{token}/code": ANYONE,
    "POST /c/{token}/answers": ANYONE,
    "POST /c/{token}/photos": ANYONE,
    "POST /c/{token}/look": ANYONE,
    "GET /c/{token}/photos/{photo_id}": ANYONE,
    "GET /c/{token}/changes": ANYONE,
    "GET /c/{token}/down": ANYONE,
    "GET /c/{token}/down/{number}": ANYONE,
    "POST /c/{token}/now": ANYONE,
    "GET /c/{token}/learning": ANYONE,
    "POST /c/{token}/learning": ANYONE,
    "GET /u/{token}": ANYONE,
    "POST /u/{token}/photos": ANYONE,
    "POST /u/{token}/look": ANYONE,
    "GET /u/{token}/changes": ANYONE,
    "GET /u/{token}/down": ANYONE,
    "GET /u/{token}/down/{number}": ANYONE,
    "POST /u/{token}/now": ANYONE,
    "GET /u/{token}/learning": ANYONE,
    "POST /u/{token}/learning": ANYONE,
    # The staff's pages.
    "GET /staff/{rest:path}": ANYONE,  # leads to the same page in a language
    "GET /staff/sign-in": ANYONE,
    "POST /staff/sign-in": ANYONE,
    "GET /staff/openid": ANYONE,
    "GET /openid/back": ANYONE,
    "POST /staff/sign-out": STAFF,
    "GET /staff/password": STAFF,
    "POST /staff/password": STAFF,
    "GET /staff/cases": STAFF,
    "POST /staff/cases": STAFF,
    "GET /staff/changes": STAFF,
    "GET /staff/cases/{case_id}": STAFF,
    "GET /staff/cases/{case_id}/changes": STAFF,
    "GET /staff/cases/{case_id}/history": STAFF,
    "GET /staff/cases/{case_id}/photos/{photo_id}": STAFF,
    "GET /staff/cases/{case_id}/photos/{photo_id}/parts/{number}": STAFF,
    "GET /staff/cases/{case_id}/photos/{photo_id}/label": WORKSHOP,
    "POST /staff/cases/{case_id}/photos/{photo_id}/label": WORKSHOP,
    "GET /staff/cases/{case_id}/parts.csv": STAFF,
    "GET /staff/cases/{case_id}/basket.csv": STAFF,
    "GET /staff/cases/{case_id}/sheet": STAFF,
    "GET /staff/cases/{case_id}/sheet.json": STAFF,
    "POST /staff/cases/{case_id}/answers": STAFF,
    "POST /staff/cases/{case_id}/link": STAFF,
    "POST /staff/cases/{case_id}/about": STAFF,
    "POST /staff/cases/{case_id}/learning": STAFF,
    "POST /staff/cases/{case_id}/plate": STAFF,  # on an agent's screen, too
    "POST /staff/cases/{case_id}/plate-text": STAFF,
    "GET /staff/cases/{case_id}/plate/{picture}": STAFF,
    "POST /staff/cases/{case_id}/readings": STAFF,  # a caller may read a meter out; nothing is bought by it
    "POST /staff/cases/{case_id}/photos": WORKSHOP,
    "POST /staff/cases/{case_id}/accepted": WORKSHOP,
    "POST /staff/cases/{case_id}/basket": WORKSHOP,  # what is ordered is a technician's to answer for
    "POST /staff/cases/{case_id}/checked": WORKSHOP,
    "POST /staff/cases/{case_id}/returned": WORKSHOP,
    "GET /staff/survey": WORKSHOP,  # whoever surveys stands at the lift, and says what it is
    "POST /staff/survey": WORKSHOP,
    "GET /staff/survey/{survey_id}": WORKSHOP,
    "GET /staff/survey/{survey_id}/missing": WORKSHOP,
    "POST /staff/survey/{survey_id}/learning": WORKSHOP,
    "POST /staff/survey/{survey_id}/lifts": WORKSHOP,
    "GET /staff/survey/{survey_id}/lifts/{lift}": WORKSHOP,
    "POST /staff/survey/{survey_id}/lifts/{lift}/views": WORKSHOP,
    "POST /staff/survey/{survey_id}/lifts/{lift}/number": WORKSHOP,
    "POST /staff/survey/{survey_id}/lifts/{lift}/readings": WORKSHOP,
    "GET /staff/audit": ANSWERABLE,
    "GET /staff/monitor": STAFF,
    "POST /staff/monitor": ANSWERABLE,
}
"""Method and template of each route, without the language in front of a page's, and who has a right to it."""


def roles_of(request: Request) -> tuple[str, ...]:
    """The roles that have a right to the route that a request came to; none for one without a row."""
    return RIGHTS.get(f"{request.method} {template_of(request.scope, request.app.state.pages.languages)}", ())


def template_of(scope: Mapping, languages: Mapping[str, object]) -> str:
    """The template of the route that was taken, such as `/staff/cases/{case_id}`; empty when none fits."""
    template = getattr(scope.get("route"), "path", "")
    return without_language(template, languages)


def without_language(template: str, languages: Mapping[str, object]) -> str:
    """A page's template is the same in each language."""
    first, slash, rest = template.removeprefix("/").partition("/")
    return slash + rest if first in languages else template
