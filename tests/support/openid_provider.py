"""OpenID providers for the tests: a certified one in Node (npm's `oidc-provider`), and one that lies as told."""

import json
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
from joserfc import jwt
from joserfc.jwk import ECKey, OctKey

MODULES = Path(sys.prefix) / "npm" / "node_modules"
"""`make test` fetches the provider with npm."""

SCRIPT = Path(__file__).with_name("oidc_provider.mjs")


@dataclass(frozen=True)
class Provider:
    """A running provider."""

    issuer: str

    def walk(self, address: str, login: str) -> str:
        """From where our server sends a browser to where the provider sends it back: sign in there, and agree."""
        with httpx.Client(timeout=20) as browser:
            answer = browser.get(address)
            for _ in range(12):
                if answer.is_redirect:
                    goes_to = str(answer.next_request.url)
                    if not goes_to.startswith(self.issuer):
                        return goes_to
                    answer = browser.get(goes_to)
                    continue
                form = re.search(r'<form[^>]* action="([^"]+)" method="post">(.*?)</form>', answer.text, re.DOTALL)
                assert form, f"{answer.status_code}: {answer.text}"
                prompt = re.search(r'name="prompt" value="(\w+)"', form[2])[1]
                answer = browser.post(form[1], data={"prompt": prompt, "login": login, "password": "any"})
        raise AssertionError("the provider goes round in a circle")


@contextmanager
def certified_provider(clients: list[dict], people: dict[str, dict], token_in_id: bool = True) -> Iterator[Provider]:
    """Start it. `token_in_id`: claims come in the ID token, too, and not only when they are asked for."""
    node = shutil.which("node")
    assert node and (MODULES / "oidc-provider").is_dir(), "node or oidc-provider is missing; `make test` fetches it"
    given = json.dumps({"clients": clients, "people": people, "tokenInId": token_in_id})
    process = subprocess.Popen(
        [node, "--no-warnings", str(SCRIPT), str(MODULES)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    try:
        process.stdin.write(given)
        process.stdin.close()
        yield Provider(process.stdout.readline().strip())
    finally:
        process.terminate()
        process.wait(10)


@dataclass
class Liar:
    """A provider that signs what it is told to: `claims` and `header` change the ID token, `document` the discovery."""

    issuer: str = ""
    nonce: str = ""
    key: ECKey = field(default_factory=lambda: ECKey.generate_key("P-256", {"kid": "one", "use": "sig"}))
    signs_with: ECKey | OctKey | None = None
    header: dict[str, Any] = field(default_factory=lambda: {"alg": "ES256", "kid": "one"})
    claims: dict[str, Any] = field(default_factory=dict)
    document: dict[str, Any] = field(default_factory=dict)
    token: str = ""
    token_by: Callable[[dict[str, Any]], str] | None = None
    status: int = 200

    def answer(self, path: str) -> dict[str, Any]:
        """What is said at this address."""
        if path == "/.well-known/openid-configuration":
            named = {"authorization_endpoint": "authorize", "token_endpoint": "token", "jwks_uri": "keys"}
            return {"issuer": self.issuer, **{k: f"{self.issuer}/{v}" for k, v in named.items()}, **self.document}
        if path == "/keys":
            return {"keys": [self.key.as_dict(private=False)]}
        now = int(time.time())
        said = {"iss": self.issuer, "sub": "7", "aud": "hoistlore", "exp": now + 60, "iat": now, "nonce": self.nonce}
        said = {name: value for name, value in {**said, "role": "agent", **self.claims}.items() if value is not None}
        if self.token_by is not None:
            return {"id_token": self.token_by(said), "access_token": "a", "token_type": "Bearer"}
        signed = jwt.encode(self.header, said, self.signs_with or self.key, algorithms=["ES256", "HS256"])
        return {"id_token": self.token or signed, "access_token": "a", "token_type": "Bearer"}


@contextmanager
def lying_provider() -> Iterator[Liar]:
    """Start it."""
    liar = Liar()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = json.dumps(liar.answer(self.path)).encode()
            self.send_response(liar.status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def do_POST(self) -> None:
            self.rfile.read(int(self.headers["Content-Length"]))
            self.do_GET()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    liar.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield liar
    server.shutdown()
    server.server_close()
    thread.join(10)
