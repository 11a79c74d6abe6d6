"""Sign-in through an OpenID provider: authorization code with PKCE, as OpenID Connect Core 1.0 and RFC 7636 have it."""

import base64
import hashlib
import logging
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode, urlsplit

import httpx
from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet
from sqlalchemy import delete, insert

from api.cases.store import CaseStore, hashed
from api.cases.tables import openid_tries
from api.gate.rights import STAFF
from api.people.users import User, user_of_subject
from api.settings import Settings
from classifier.errors import SettingsError

LOG = logging.getLogger("hoistlore")

AWAY_MS = 10 * 60_000
"""How long somebody may take at the provider."""

TIMEOUT_S = 10
LEEWAY_S = 60
"""By which the provider's clock may differ from ours."""

ALGORITHMS = ["RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "Ed25519", "EdDSA"]
"""Signatures that need the provider's private key; never `none`, never one by a secret that we share."""

CALLBACK = "/openid/back"


class ProviderFailed(Exception):
    """The provider does not answer, or not as it should; the message is for the log. `error` is what it calls it."""

    def __init__(self, told: str, error: str = "") -> None:
        super().__init__(told)
        self.error = error


class SignInRefused(Exception):
    """The provider, or what came back, does not let this person in; the message is for the log."""


class NoRole(Exception):
    """The provider knows this person, and gives them no role here."""


@dataclass(frozen=True)
class Away:
    """Somebody who is sent to the provider: where to, and what their browser has to bring back."""

    url: str
    browser: str


class OpenId:
    """One provider, as the settings name it. Its document and keys are asked for at every sign-in: none is stale."""

    def __init__(self, settings: Settings) -> None:
        self._issuer, self._client_id = settings.openid_issuer, settings.openid_client_id
        self._secret, self._claim = settings.openid_client_secret, settings.openid_role_claim
        self._back = settings.public_address.rstrip("/") + CALLBACK

    def leave(self, store: CaseStore, goes_to: str) -> Away:
        """Remember who goes, and say where to. Raises `ProviderFailed`."""
        state, nonce, verifier, browser = (secrets.token_urlsafe(32) for _ in range(4))
        with httpx.Client(timeout=TIMEOUT_S) as http:
            authorize = self._document(http)["authorization_endpoint"]
        now = store.now_ms()
        row = {"nonce": nonce, "verifier": verifier, "goes_to": goes_to, "expires_ms": now + AWAY_MS}
        with store.engine.begin() as connection:
            connection.execute(delete(openid_tries).where(openid_tries.c.expires_ms < now))
            known = {"state_hash": hashed(state), "browser_hash": hashed(browser)}
            connection.execute(insert(openid_tries).values(**known, **row))
        asked = {
            "response_type": "code",
            "client_id": self._client_id,
            "redirect_uri": self._back,
            "scope": "openid profile email",
            "state": state,
            "nonce": nonce,
            "code_challenge": _challenge(verifier),
            "code_challenge_method": "S256",
        }
        return Away(f"{authorize}{'&' if '?' in authorize else '?'}{urlencode(asked)}", browser)

    def come_back(self, store: CaseStore, query: Mapping[str, str], browser: str) -> tuple[User, str]:
        """Who came back, and where they go on to. Raises `SignInRefused`, `NoRole`, `ProviderFailed`."""
        nonce, verifier, goes_to = _taken(store, query.get("state", ""), browser)
        if query.get("error") or not query.get("code"):
            raise SignInRefused(f"the provider answered {query.get('error', '')[:80]!r}")
        with httpx.Client(timeout=TIMEOUT_S) as http:
            document = self._document(http)
            if query.get("iss", self._issuer) != self._issuer:  # RFC 9207
                raise SignInRefused("another issuer answered")
            try:
                tokens = self._exchanged(http, document, query["code"], verifier)
            except ProviderFailed as error:
                if error.error == "invalid_grant":  # the code is not of this sign-in, or not any more
                    raise SignInRefused(str(error)) from error
                raise
            claims = self._proven(http, document, str(tokens.get("id_token", "")), nonce)
            if _roles(claims, self._claim) == [] and "userinfo_endpoint" in document:
                claims = self._told(http, document["userinfo_endpoint"], tokens, claims)
        roles = _roles(claims, self._claim)
        if not roles:
            raise NoRole
        name = str(claims.get("preferred_username") or claims.get("email") or claims["sub"])
        called = str(claims.get("name") or name)
        return user_of_subject(store, self._issuer, str(claims["sub"])[:255], name, called, roles[0]), goes_to

    def _document(self, http: httpx.Client) -> dict[str, Any]:
        """What the provider says of itself (OpenID Connect Discovery 1.0, 4): of the issuer that was asked for only."""
        document = _json(http, "GET", f"{self._issuer.rstrip('/')}/.well-known/openid-configuration")
        if document.get("issuer") != self._issuer:
            raise ProviderFailed(f"the document is of the issuer {document.get('issuer')!r}, not {self._issuer!r}")
        for name in ("authorization_endpoint", "token_endpoint", "jwks_uri"):
            if not safe_address(str(document.get(name, ""))):
                raise ProviderFailed(f"{name} is {document.get(name)!r}; an https address is wanted")
        return document

    def _exchanged(self, http: httpx.Client, document: dict[str, Any], code: str, verifier: str) -> dict[str, Any]:
        form = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": self._back,
            "code_verifier": verifier,
        }
        ways = document.get("token_endpoint_auth_methods_supported", ["client_secret_basic"])
        if not self._secret:
            return _json(http, "POST", document["token_endpoint"], data={**form, "client_id": self._client_id})
        if "client_secret_basic" in ways or "client_secret_post" not in ways:
            auth = (quote(self._client_id, safe=""), quote(self._secret, safe=""))  # RFC 6749, 2.3.1
            return _json(http, "POST", document["token_endpoint"], data=form, auth=auth)
        ours = {"client_id": self._client_id, "client_secret": self._secret}
        return _json(http, "POST", document["token_endpoint"], data={**form, **ours})

    def _proven(self, http: httpx.Client, document: dict[str, Any], id_token: str, nonce: str) -> dict[str, Any]:
        """The claims of an ID token that is the provider's, for us, of now and of this sign-in (Core 1.0, 3.1.3.7)."""
        keys = _json(http, "GET", document["jwks_uri"])
        wanted = jwt.JWTClaimsRegistry(
            leeway=LEEWAY_S,
            iss={"essential": True, "value": self._issuer},
            sub={"essential": True},
            aud={"essential": True, "value": self._client_id},
            exp={"essential": True},
            iat={"essential": True},
            nonce={"essential": True, "value": nonce},
        )
        try:
            claims = jwt.decode(id_token, KeySet.import_key_set(keys), algorithms=ALGORITHMS).claims
            wanted.validate(claims)
        except (JoseError, ValueError) as error:
            raise SignInRefused(f"the ID token does not hold: {error}") from error
        if claims.get("azp", self._client_id) != self._client_id:
            raise SignInRefused("the ID token was given out to another program")
        return claims

    def _told(self, http: httpx.Client, address: str, tokens: dict[str, Any], claims: dict[str, Any]) -> dict[str, Any]:
        """The claims with what the provider says when it is asked; of the same person only (Core 1.0, 5.3.2)."""
        bearer = {"authorization": f"Bearer {tokens.get('access_token', '')}"}
        more = _json(http, "GET", address, headers=bearer)
        if more.get("sub") != claims["sub"]:
            raise SignInRefused("the provider speaks of another person")
        return {**more, **claims}


def check_openid(settings: Settings) -> None:
    """Refuse a provider that cannot work. Raises `SettingsError`."""
    if not settings.openid_issuer:
        return
    if not safe_address(settings.openid_issuer):
        raise SettingsError(f"HOISTLORE_OPENID_ISSUER is {settings.openid_issuer!r}; an https address is wanted.")
    for name in ("openid_client_id", "public_address"):
        if not getattr(settings, name):
            raise SettingsError(f"HOISTLORE_OPENID_ISSUER is set; HOISTLORE_{name.upper()} is wanted with it.")


def safe_address(address: str) -> bool:
    """Whether it is an https address, or one of this machine."""
    parts = urlsplit(address)
    return parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in ("127.0.0.1", "localhost", "::1"))


def _taken(store: CaseStore, state: str, browser: str) -> tuple[str, str, str]:
    """What was remembered of whoever went, once, and for the browser that went. Raises `SignInRefused`."""
    mine = (openid_tries.c.state_hash == hashed(state)) & (openid_tries.c.browser_hash == hashed(browser))
    live = mine & (openid_tries.c.expires_ms > store.now_ms())
    kept = (openid_tries.c.nonce, openid_tries.c.verifier, openid_tries.c.goes_to)
    with store.engine.begin() as connection:
        row = connection.execute(delete(openid_tries).where(live).returning(*kept)).first()
    if row is None:
        raise SignInRefused("nobody was sent away with this state by this browser")
    return row[0], row[1], row[2]


def _challenge(verifier: str) -> str:
    """S256 of RFC 7636, 4.2."""
    return base64.urlsafe_b64encode(hashlib.sha256(verifier.encode()).digest()).decode().rstrip("=")


def _roles(claims: Mapping[str, Any], claim: str) -> list[str]:
    """Our roles in a claim, a word or a list of words, the furthest reaching first; dots lead into a claim."""
    value: Any = claims
    for part in claim.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    named = [value] if isinstance(value, str) else value if isinstance(value, list) else []
    return [role for role in reversed(STAFF) if role in named]


def _json(http: httpx.Client, method: str, address: str, **more: Any) -> dict[str, Any]:
    """A JSON object. Raises `ProviderFailed`, without a word of what was sent."""
    try:
        answer = http.request(method, address, **more)
        document = answer.json()
    except (httpx.HTTPError, ValueError) as error:
        raise ProviderFailed(f"{urlsplit(address).path}: {type(error).__name__}") from error
    if answer.status_code != 200 or not isinstance(document, dict):
        told = str(document.get("error", ""))[:80] if isinstance(document, dict) else type(document).__name__
        raise ProviderFailed(f"{urlsplit(address).path}: status {answer.status_code}, {told!r}", told)
    return document
