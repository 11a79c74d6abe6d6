"""Under which address this server is reached: what a Host header says is believed only where we know it ourselves."""

import ipaddress
import re
from collections.abc import Iterable

from fastapi import Request

from api.settings import Settings

ONWARD = re.compile(r"/([A-Za-z-]{2,20})/staff/([A-Za-z0-9_-]+/)*[A-Za-z0-9_.-]+(\?[A-Za-z0-9=&%._+-]*)?")
"""Pages that somebody may be led to after signing in: of our staff, and nothing that a browser reads otherwise."""


def own_address(request: Request) -> str | None:
    """Where others reach this server, without a slash at its end; None when nobody said so and the asker may lie.

    Without `HOISTLORE_PUBLIC_ADDRESS` the Host header counts when it names this machine: the address that the
    request came in at, the one that the settings listen on, or the loopback.
    """
    settings: Settings = request.app.state.settings
    if settings.public_address:
        return settings.public_address.rstrip("/")
    host, port = request.url.hostname or "", request.url.port
    here = {settings.host, (request.scope.get("server") or ("",))[0], "localhost"}
    if host not in here and not _is_loopback(host):
        return None
    named = f"[{host}]" if ":" in host else host
    return f"{request.url.scheme}://{named}" + (f":{port}" if port else "")


def behind_tls(request: Request) -> bool:
    """Whether the browser reaches us through TLS: the proxy says so, or it asked for our public https address."""
    public = request.app.state.settings.public_address
    same = public.rstrip("/").removeprefix("https://") == request.headers.get("host", "")
    return request.url.scheme == "https" or (public.startswith("https://") and same)


def way_back(request: Request, tags: Iterable[str]) -> str:
    """The page to come back to once signed in; of a form the page that it stands on."""
    parts = request.url.path.split("/")
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    if request.method != "GET":
        here = "/".join(parts[:5]) if parts[3:4] == ["cases"] else ""
    return onward(here, tags, "")


def onward(came: str, tags: Iterable[str], otherwise: str) -> str:
    """An address to go on to, if it is a page of our staff in one of these languages."""
    found = ONWARD.fullmatch(came) if len(came) <= 400 else None
    if found is None or found[1] not in tags or ".." in came or "/staff/sign-" in came:
        return otherwise
    return came


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
