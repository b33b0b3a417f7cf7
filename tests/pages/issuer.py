"""A small identity provider of the tests' own: it authorises whoever asks, and can be told to go wrong in one way."""

import base64
import hashlib
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "tinebook-pages", "a secret: with % and +"


class Issuer:
    """What the provider answers. `wrong` are claims of its ID token that differ from what they should be."""

    def __init__(self) -> None:
        self.key = RSAKey.generate_key(2048, {"kid": "one"})
        self.signs_with = self.key
        self.groups: Any = ["tinebook-planner", "crew"]
        self.wrong: dict[str, Any] = {}
        self.calls_itself: str | None = None
        self.address = ""
        self.codes: dict[str, dict[str, str]] = {}
        self.last_asked: dict[str, str] = {}

    def authorised(self, asked: dict[str, str]) -> str:
        """Where the browser is sent after somebody agreed."""
        assert asked["response_type"] == "code"
        assert asked["code_challenge_method"] == "S256"
        assert "openid" in asked["scope"].split()
        code = f"code-{len(self.codes)}"
        self.codes[code] = self.last_asked = asked
        return f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state'], 'iss': self.address})}"

    def tokens(self, form: dict[str, str], authorization: str) -> dict[str, str] | None:
        """The ID token for a code, once, to whoever has the secret and began it (RFC 7636, 4.6)."""
        name, _, secret = base64.b64decode(authorization.removeprefix("Basic ")).decode().partition(":")
        asked = self.codes.pop(form.get("code", ""), None)
        challenge = base64.urlsafe_b64encode(hashlib.sha256(form["code_verifier"].encode()).digest()).decode()
        known = parse_qs(f"name={name}&secret={secret}") == {"name": [CLIENT], "secret": [SECRET]}
        if asked is None or not known or challenge.rstrip("=") != asked["code_challenge"]:
            return None
        now = int(time.time())
        claims = {
            "iss": self.address,
            "aud": CLIENT,
            "sub": "7",
            "preferred_username": "r.example",
            "groups": self.groups,
            "iat": now,
            "exp": now + 300,
            "nonce": asked["nonce"],
            # Core 1.0, 2: stated where a greatest age was asked for. This provider asks anew then.
            "auth_time": now if "max_age" in asked else None,
        } | self.wrong
        claims = {name: value for name, value in claims.items() if value is not None}
        return {"id_token": jwt.encode({"alg": "RS256", "kid": "one"}, claims, self.signs_with), "token_type": "Bearer"}

    def described(self) -> dict[str, str]:
        """What it says of itself."""
        return {
            "issuer": self.calls_itself or self.address,
            "authorization_endpoint": f"{self.address}/authorize",
            "token_endpoint": f"{self.address}/token",
            "jwks_uri": f"{self.address}/keys",
        }


@contextmanager
def running() -> Iterator[Issuer]:
    """A provider on a port of this machine."""
    issuer = Issuer()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            path, query = urlsplit(self.path).path, dict(parse_qs(urlsplit(self.path).query))
            if path == "/authorize":
                self.send_response(302)
                self.send_header("location", issuer.authorised({name: each[0] for name, each in query.items()}))
                self.end_headers()
            elif path == "/keys":
                self._say({"keys": [issuer.key.as_dict(private=False)]})
            else:
                self._say(issuer.described())

        def do_POST(self) -> None:
            length = int(self.headers["content-length"])
            form = {name: each[0] for name, each in parse_qs(self.rfile.read(length).decode()).items()}
            answer = issuer.tokens(form, self.headers.get("authorization", ""))
            self._say(answer or {"error": "invalid_grant"}, 200 if answer else 400)

        def _say(self, told: Any, status: int = 200) -> None:
            data = json.dumps(told).encode()
            self.send_response(status)
            self.send_header("content-type", "application/json")
            self.send_header("content-length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    issuer.address = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield issuer
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=10)
