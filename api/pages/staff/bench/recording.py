"""How something that is said at the bench is recorded, or refused beside the field that it came from."""

from fastapi import Request, Response

from api.cases.store import Conflict, Said
from api.http.sessions import Session
from api.pages.forms import version_of
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import CHANGED, back_to, staff_language, staff_view
from api.state import state_of


def record(
    request: Request, session: Session, case_id: str, kind: str, said: dict, form: dict[str, str], typed: dict[str, str]
) -> Response:
    """Record it, or show the case as it stands with what was `typed` when somebody else was faster."""
    store = state_of(request).cases
    known = staff_view(request, session, store.by_id(case_id)).summary()
    try:
        store.say(case_id, version_of(form), Said(kind, said, known), session.who(request))
    except Conflict:
        changed = staff_language(request).say(CHANGED)
        return show_case(request, session, case_id, 409, changed=changed, typed=typed)
    return back_to(case_id, form)


def refuse(
    request: Request, session: Session, case_id: str, field: str, why: str, typed: dict[str, str] | None = None
) -> Response:
    """The case with the reason beside the field, and what was typed still in it. Nothing changed."""
    words = staff_language(request).said(why)
    return show_case(request, session, case_id, 422, errors={field: words}, typed=typed or {})
