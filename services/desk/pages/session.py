"""Who is signed in: a key, sealed in a cookie that its browser cannot read and that every process of the desk can open.

The secret is made from the key of the suite, which all processes share, so that a session outlives a restart and needs no store.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from dataclasses import dataclass

from joserfc import jwe
from joserfc.errors import JoseError
from joserfc.jwk import OctKey

IDLE_S = 8 * 3600.0
"""A session ends when nothing was asked for so long: a working day."""
REMEMBERED_S = 7 * 24 * 3600
"""So long a browser keeps the cookie: with one that has ended, what is typed in a form is still read and kept over the signing in."""
RENEWED_AFTER_S = 600.0
COOKIE = "blankwright"
SECURE_COOKIE = f"__Host-{COOKIE}"
PURPOSE = b"blankwright: sessions of pages\0"


@dataclass(frozen=True)
class Session:
    """A person's key, the name that the session goes by in forms, and when it was last used [s since 1970]."""

    key: str
    name: str
    used_at: float

    @property
    def key_id(self) -> str:
        """The part of the key that is no secret."""
        return ([*self.key.split("_"), ""])[1]

    def is_over(self, now: float) -> bool:
        """Whether it was idle for too long."""
        return not 0 <= now - self.used_at + RENEWED_AFTER_S < IDLE_S + RENEWED_AFTER_S


class Seal:
    """Seals sessions and signs forms with a secret that only the suite has."""

    def __init__(self, service_key: str) -> None:
        self._secret = hashlib.sha256(PURPOSE + service_key.encode()).digest()
        self._key = OctKey.import_key(self._secret)

    def begun(self, key: str, now: float) -> Session:
        """A new session."""
        return Session(key, secrets.token_hex(16), now)

    def sealed(self, session: Session) -> str:
        """The session as the text of a cookie."""
        told = json.dumps([session.key, session.name, session.used_at]).encode()
        return jwe.encrypt_compact({"alg": "dir", "enc": "A256GCM"}, told, self._key)

    def opened(self, cookie: str) -> Session | None:
        """The session in a cookie, over or not; `None` for a cookie that is none of ours."""
        try:
            content = jwe.decrypt_compact(cookie, self._key, algorithms=["dir", "A256GCM"]).plaintext
            key, name, used_at = json.loads(content or b"")
        except (JoseError, ValueError, TypeError):
            return None
        return Session(key, name, used_at)

    def form_token(self, session: Session) -> str:
        """What a form of this session carries and no other site knows."""
        return hmac.new(self._secret, f"form {session.name}".encode(), hashlib.sha256).hexdigest()

    def is_of(self, session: Session, token: str) -> bool:
        """Whether a form was made for this session."""
        return hmac.compare_digest(self.form_token(session).encode(), token.encode())
