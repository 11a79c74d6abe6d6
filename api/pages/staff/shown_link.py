"""A link for a caller's telephone as a page of the staff shows it while it is open: an address, a text, a QR code."""

import re
from urllib.parse import quote

import segno
from fastapi import Request
from markupsafe import Markup

from api.cases.line import about_of
from api.cases.links import is_open, token_for
from api.cases.view import CaseView
from api.gate.address import own_address
from api.http.sessions import COOKIE
from api.pages.staff.screens import staff_language
from api.state import state_of


def link_shown(request: Request, seen: CaseView) -> dict[str, str]:
    """The open link that this agent made into a case, by the names of the templates; empty ones without any."""
    token = own_token(request, seen.row.id)
    if not token or own_address(request) is None or not is_open(state_of(request).cases, token):
        return {"link": "", "qr": "", "sms": ""}
    return shown(request, token, seen.row.language, about_of(seen.live)["phone"])


def shown(request: Request, token: str, tag: str, phone: str) -> dict[str, str]:
    """A link by the names of the templates; `phone`: the caller's number, if it is known."""
    address = f"{own_address(request)}/{tag}/u/{token}"
    language = state_of(request).pages.languages.get(tag) or staff_language(request)
    # an isolate's end behind an address would be taken for a part of it
    words = language.say("Please take a photo of the lift here: {address}").format(address=address)
    # RFC 5724: sms:NUMBER?body=TEXT; without a number the telephone asks for one.
    sms = f"sms:{re.sub(r'[^+0-9]', '', phone)}?body={quote(words)}"
    return {"link": address, "qr": code_of(address), "sms": sms}


def code_of(address: str) -> Markup:
    """An address as a QR code, drawn into the page: black on white, also in the dark theme."""
    return Markup(segno.make(address, error="m").svg_inline(scale=3, border=4, dark="#000000", light="#ffffff"))


def own_token(request: Request, case_id: str) -> str:
    """The token of this session's link into a case. Empty for a program, which has no session."""
    cookie = request.cookies.get(COOKIE, "")
    return token_for(cookie, case_id) if cookie else ""
